"""Stability: so many readings in a row, at their interval, that do not differ by more than so much."""

from benchctl.assessment.case import Case
from benchctl.assessment.gauged import Gauged, gauged, loaded_span, within
from benchctl.assessment.verdict import Input, Outcome, Verdict, Working
from benchctl.assessment.words import clock, length
from benchctl.core.readings import BY_NAME
from benchctl.core.ruleset import MEASURED, Stability

LATE = 0.5  # share of the interval by which two readings may be nearer or farther, common practice


def stability(case: Case, rule: Stability) -> Verdict:
    """The first such row under load, or in the time of the duty that the rule names."""
    name, unit = _called(rule.reading)
    apart, spread = length(rule.interval_s), f"{rule.within:g} {unit}".rstrip()
    what = f"{rule.count} readings of {name} in a row, {apart} apart, within {spread}"
    text = f"{rule.text}: {what}" if rule.text else what
    span = _span(case, rule)
    if span is None:
        why = f"the time of {rule.during} is not shown" if rule.during else "there was no load"
        return Verdict(rule.key, text, Outcome.NOT_DEMONSTRATED, why, rule.origin)
    rows = _rows(within(gauged(case.trail, rule.reading), *span), rule)
    best = min(rows, key=_spread, default=None)
    if best is None:
        count = len(within(gauged(case.trail, rule.reading), *span))
        why = (
            f"{count} readings of {name} in {length(span[1] - span[0])} under load, never {rule.count} at the interval"
        )
        return Verdict(rule.key, text, Outcome.NOT_DEMONSTRATED, why, rule.origin, *span)
    stable = next((row for row in rows if _spread(row) <= rule.within * (1.0 + 1e-9)), None)
    row = stable or best
    inputs = tuple(Input(f"{name}" + (f", reading {g.number}" if g.number else ""), g.value, unit, g.at_s) for g in row)
    working = Working("spread", _spread(row), unit, "largest − smallest of the readings", inputs)
    said = "stable" if stable else "steadiest"
    why = (
        f"{said} from {clock(row[0].at_s)} to {clock(row[-1].at_s)}: {_spread(row):g} {unit} between readings".rstrip()
    )
    outcome = Outcome.SHOWN if stable else Outcome.NOT_MET
    return Verdict(rule.key, text, outcome, why, rule.origin, row[0].at_s, row[-1].at_s, (working,))


def _called(name: str) -> tuple[str, str]:
    gauge = BY_NAME.get(name)
    if gauge is not None:
        return gauge.text, gauge.unit
    units = {"hertz": "Hz", "volts_v": "V", "power_kw": "kW", "amps": "A"}
    return MEASURED.get(name, name), units.get(name, "")


def _span(case: Case, rule: Stability) -> tuple[float, float] | None:
    if rule.during:
        run = case.placed.get(rule.during)
        return None if run is None else (run.from_s, run.to_s)
    return loaded_span(case.trail)


def _rows(values: list[Gauged], rule: Stability) -> list[list[Gauged]]:
    """All rows of `count` values at the interval; of values that come faster the next one that is due is taken."""
    rows = []
    for first in range(len(values)):
        row = [values[first]]
        for value in values[first + 1 :]:
            since_s = value.at_s - row[-1].at_s
            if since_s > rule.interval_s * (1.0 + LATE):
                break
            fine = value.typed and since_s >= rule.interval_s * (1.0 - LATE)
            if fine or since_s >= rule.interval_s * (1.0 - 1e-6):
                row.append(value)
                if len(row) == rule.count:
                    rows.append(row)
                    break
    return rows


def _spread(row: list[Gauged]) -> float:
    return max(g.value for g in row) - min(g.value for g in row)
