"""A rule as the sentence that it asks: the same words in a plan, on a screen and in a report."""

from benchctl.core.papers import PAPERS
from benchctl.core.readings import BY_NAME
from benchctl.core.ruleset import (
    MEASURED,
    Autonomy,
    Centre,
    Duty,
    Fields,
    Readings,
    Rest,
    Rule,
    Stability,
    Steady,
    Step,
    Transient,
    Unbroken,
)


def criterion(rule: Rule) -> str:
    """What the rule asks, in words: its own text where the file gives one, else made from its figures."""
    return rule.text or _made(rule)


def span(seconds: float) -> str:
    """A length of time as a file would write it: 1 h 30 min, 90 s, 0.5 s. 0 s for none."""
    whole = int(seconds)
    parts = [(whole // 3600, "h"), (whole // 60 % 60, "min"), (whole % 60 + (seconds - whole), "s")]
    return " ".join(f"{count:g} {unit}" for count, unit in parts if round(count, 6)) or "0 s"


def _made(rule: Rule) -> str:
    match rule:
        case Duty():
            return f"{_levels(rule)} for {span(rule.for_s)}"
        case Unbroken():
            return f"{span(rule.for_s)} without a break at {rule.at_least_percent:g} % of nameplate or more"
        case Steady():
            during = f" during {rule.during}" if rule.during else ""
            return (
                f"{rule.quantity.value}: {rule.measure.value}, at most {rule.limit_percent:g} % over "
                f"{span(rule.over_s)}{during}"
            )
        case Transient():
            return _sudden(rule)
        case Stability():
            return (
                f"{rule.count} readings of {called(rule.reading)} in a row, {span(rule.interval_s)} apart, within "
                f"{rule.within:g} of each other"
            )
        case Rest():
            return f"the source runs on at no load (at most {rule.no_load_percent:g} %) for {span(rule.for_s)}"
        case Readings():
            return f"readings at least every {span(rule.interval_s)}: {', '.join(called(n) for n in rule.names)}"
        case Fields():
            return "the record says: " + ", ".join(PAPERS.get(name, name) for name in rule.names)
        case Step():
            return rule.key
        case Autonomy():
            volts = f", volts at {rule.end_volts_v:g} V or more" if rule.end_volts_v is not None else ""
            return (
                f"{rule.load_percent:g} % of nameplate, constant within {rule.tolerance_percent:g} %, for "
                f"{span(rule.for_s)}{volts}"
            )


def _levels(rule: Duty) -> str:
    parts = []
    if rule.at_least_percent is not None:
        parts.append(f"at least {rule.at_least_percent:g} %")
    if rule.at_most_percent is not None:
        parts.append(f"at most {rule.at_most_percent:g} %")
    return (" and ".join(parts) or "any load") + (" of nameplate" if parts else "")


def _sudden(rule: Transient) -> str:
    since = "the switching" if rule.exit_percent is None else f"leaving ±{rule.exit_percent:g} %"
    around = "the settled value" if rule.centre is Centre.FINAL else "the rated value"
    return (
        f"{rule.quantity.value} after {rule.direction.value} of {rule.step_percent:g} % or more: at most "
        f"{rule.deviation_percent:g} % away, back within ±{rule.band_percent:g} % of {around} for good "
        f"{span(rule.recovery_s)} after {since}"
    )


def called(name: str) -> str:
    """What people call a reading."""
    return BY_NAME[name].text if name in BY_NAME else MEASURED.get(name, name)
