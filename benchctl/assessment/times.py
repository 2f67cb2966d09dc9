"""Time in limits: the unbroken time for which every sample met the requirement. The minimum counts, never the mean.

Duties are placed one after the other, each as early as it can be, so that no minute counts for two of them; what lies
between counts for neither. `low` of the working is what is proven, `high` what coarse samples, holes and unknown values
leave possible: shown when the proven time is enough, not met when even the possible one is not.
"""

import itertools
import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isnan

from benchctl.assessment.case import NAMEPLATE, Case
from benchctl.assessment.sampled import sampled
from benchctl.assessment.spans import BAD, EPSILON_S, GOOD, Run, Samples, earliest, longest, lowest, unknown
from benchctl.assessment.verdict import Input, Outcome, Verdict, Working
from benchctl.assessment.words import apart, clock, length, percent
from benchctl.core.ruleset import Duty, SampleBase, Unbroken

LISTED = 5  # tolerated or unknown times told in words


@dataclass(slots=True)
class Placed:
    """A requirement over the samples of a run: what is proven and what is possible of it."""

    rule: Duty | Unbroken
    samples: Samples
    proven: Run | None
    possible: Run | None
    outcome: Outcome


def duties(case: Case, rules: Sequence[Duty]) -> list[Verdict]:
    """All duties of a rule set, in its order."""
    proven_s = possible_s = -math.inf
    placed: list[Placed] = []
    for rule in rules:
        found = place(case, rule, rule.at_least_percent, rule.at_most_percent, proven_s, possible_s)
        placed.append(found)
        if found.proven is not None:
            proven_s = min(found.proven.from_s + rule.for_s, found.proven.to_s)
        if found.possible is not None:
            possible_s = min(found.possible.from_s + rule.for_s, found.possible.to_s)
    for before, now in itertools.pairwise(placed):
        if before.outcome is Outcome.SHOWN and before.proven and now.proven:
            before.proven = _until(before.samples, before.proven, now.proven.from_s)
            if before.possible and now.possible:
                before.possible = _until(before.samples, before.possible, now.possible.from_s)
    case.placed |= {p.rule.key: p.proven for p in placed if p.proven is not None and p.outcome is Outcome.SHOWN}
    return [
        _verdict(case, p, rule.at_least_percent, rule.at_most_percent) for p, rule in zip(placed, rules, strict=True)
    ]


def _until(samples: Samples, run: Run, to_s: float) -> Run:
    """What of a time lies before another begins; its last sample is then that one's first, or the one before."""
    if to_s >= run.to_s:
        return run
    last = bisect_right(samples.begins_s, to_s + EPSILON_S, run.first, run.last + 1) - 1
    return replace(run, to_s=to_s, last=max(run.first, last))


def unbroken(case: Case, rules: Sequence[Unbroken]) -> list[Verdict]:
    """The whole time without a break at or above a level, wherever it lies."""
    found = []
    for rule in rules:
        placed = place(case, rule, rule.at_least_percent, None, -math.inf, -math.inf)
        if placed.outcome is Outcome.SHOWN and placed.proven is not None:
            case.placed.setdefault(rule.key, placed.proven)
        found.append(_verdict(case, placed, rule.at_least_percent, None))
    return found


def place(
    case: Case, rule: Duty | Unbroken, low: float | None, high: float | None, proven_s: float, possible_s: float
) -> Placed:
    """Find its time after what the duties before it have used."""
    found = sampled(case, _kw(case, low), _kw(case, high))
    samples, sure, perhaps = found.samples, found.proven, found.possible
    if case.rules.sample_base is SampleBase.MINUTE:  # a time from every scan: none is cut within its minute
        sure = [run for run in sure if run.from_s >= proven_s - EPSILON_S]
    proven = earliest(sure, proven_s, rule.for_s)
    possible = earliest(perhaps, possible_s, rule.for_s)
    if proven is not None:
        outcome = Outcome.SHOWN
    elif possible is not None:
        outcome = Outcome.NOT_DEMONSTRATED
    else:
        outcome = Outcome.NOT_MET
    proven = proven or longest(sure, proven_s)
    possible = possible or longest(perhaps, possible_s)
    return Placed(rule, samples, proven, possible, outcome)


def _kw(case: Case, share: float | None) -> float | None:
    return None if share is None else share * case.base_kw / 100.0


def criterion(case: Case, low: float | None, high: float | None, for_s: float) -> str:
    """What a duty asks, in words."""
    least = "" if low is None else f"at least {percent(low)}"
    most = "" if high is None else f"at most {percent(high)}"
    return f"{' and '.join(filter(None, (least, most))) or 'any load'} of {case.base_name} for {length(for_s)}"


def _verdict(case: Case, placed: Placed, low: float | None, high: float | None) -> Verdict:
    rule, run = placed.rule, placed.proven
    asked = criterion(case, low, high, rule.for_s)
    if isinstance(rule, Unbroken):
        asked += " without a break"
    text = f"{rule.text}: {asked}" if rule.text else asked
    working = _working(case, placed, low, high)
    why = _why(case, placed, low, high)
    span = run or placed.possible
    from_s, to_s = (span.from_s, min(span.to_s, case.trail.t_s[-1])) if span else (None, None)
    return Verdict(rule.key, text, placed.outcome, why, rule.origin, from_s, to_s, working)


def _why(case: Case, placed: Placed, low: float | None, high: float | None) -> str:
    rule, run, trail = placed.rule, placed.proven, case.trail
    if not len(placed.samples):
        return "the record holds no sample of the source's kW"
    if not case.base_kw > 0.0:
        return "percent of nameplate is not demonstrated: the nameplate kW is not recorded"
    if run is None or (run.length_s <= 0.0 and placed.outcome is not Outcome.SHOWN):
        said = f"never {_limits(case, low, high)} for longer than one sample"
    else:
        said = f"{length(run.length_s)} unbroken {_limits(case, low, high)}, {clock(run.from_s)} to {clock(run.to_s)}"
        said += _extremes(case, run, rule)
    if run is not None and run.bridged:
        told = ", ".join(f"{clock(h.from_s)} to {clock(h.to_s)} ({h.why})" for h in run.bridged[:LISTED])
        said += f"; tolerated gaps: {len(run.bridged)}: {told}"
    if placed.outcome is Outcome.SHOWN:
        return said
    said += f"; {length(rule.for_s)} are asked"
    said += _broken_by(case, placed)
    if placed.outcome is Outcome.NOT_DEMONSTRATED:
        said += _not_known(case, placed)
        if not trail.complete:
            said += "; the record is not complete"
    return said


def _limits(case: Case, low: float | None, high: float | None) -> str:
    least = "" if low is None else f"at or above {_kw(case, low):.6g} kW"
    most = "" if high is None else f"at or below {_kw(case, high):.6g} kW"
    return " and ".join(filter(None, (least, most))) or "at any load"


def _load(case: Case, kw: float, rule: Duty | Unbroken) -> str:
    """kW and percent, never rounded to a limit that they are not."""
    share = 100.0 * kw / case.base_kw
    limits = (rule.at_least_percent, rule.at_most_percent if isinstance(rule, Duty) else None)
    nearest = min((x for x in limits if x is not None), key=lambda x: abs(x - share), default=None)
    return f"{apart(kw, _kw(case, nearest), 1)} kW ({apart(share, nearest, 2)} %)"


def _extremes(case: Case, run: Run, rule: Duty | Unbroken) -> str:
    trail = case.trail
    value, at_s = lowest(trail.t_s, trail.power_kw, run.from_s, run.to_s)
    said = f"; lowest sample {_load(case, value, rule)} at {clock(at_s)}"
    if isinstance(rule, Duty) and rule.at_most_percent is not None:
        value, at_s = _highest(case, run)
        said += f", highest {_load(case, value, rule)} at {clock(at_s)}"
    return said


def _highest(case: Case, run: Run) -> tuple[float, float]:
    trail = case.trail
    value, at_s = lowest(trail.t_s, [-kw for kw in trail.power_kw], run.from_s, run.to_s)
    return -value, at_s


def _broken_by(case: Case, placed: Placed) -> str:
    """The samples out of limits before and after the longest time, where there are some."""
    run, samples = placed.proven, placed.samples
    if run is None:
        return ""
    said, after = "", run.last + 1
    if run.first > 0 and samples.marks[run.first - 1] == BAD:
        said += f"; begun after {_load(case, samples.values[run.first - 1], placed.rule)}"
        said += f" at {clock(samples.begins_s[run.first - 1])}"
    if after < len(samples) and samples.marks[after] == BAD:
        said += f"; ended by {_load(case, samples.values[after], placed.rule)} at {clock(samples.begins_s[after])}"
    return said


def _not_known(case: Case, placed: Placed) -> str:
    run = placed.possible
    if run is None:
        return ""
    trail = case.trail
    told = [f"{clock(d.from_s)} to {clock(d.to_s)} ({d.why})" for d in trail.doubts if d.to_s >= run.from_s]
    if not told:
        holes = unknown(placed.samples, trail.holes, run.from_s, min(run.to_s, trail.t_s[-1]))
        told = [f"{clock(h.from_s)} to {clock(h.to_s)} ({h.why})" for h in holes if h.to_s - h.from_s > 0.0]
    if told:
        more = f" and {len(told) - LISTED} more" if len(told) > LISTED else ""
        return f"; kW not known: {', '.join(told[:LISTED])}{more}"
    return f"; the samples are too coarse to say: between {length(run.length_s)} at most and what is proven"


def _working(case: Case, placed: Placed, low: float | None, high: float | None) -> tuple[Working, ...]:
    run, samples, trail = placed.proven, placed.samples, case.trail
    base = case.rules.sample_base
    inputs = list(case.base)
    if low is not None:
        inputs.append(Input(f"least: {low:g} % × {case.base_kw:g} kW ÷ 100", _kw(case, low), "kW"))
    if high is not None:
        inputs.append(Input(f"most: {high:g} % × {case.base_kw:g} kW ÷ 100", _kw(case, high), "kW"))
    if run is not None:
        inputs += _ends(samples, run, base)
        value, at_s = lowest(trail.t_s, trail.power_kw, run.from_s, run.to_s)
        if not isnan(value):
            inputs.append(Input("lowest sample", value, "kW", at_s))
        if high is not None and not isnan(value):
            value, at_s = _highest(case, run)
            inputs.append(Input("highest sample", value, "kW", at_s))
    formula = f"time of the last less time of the first of an unbroken row in limits; asked of {base.value}"
    length_s = run.length_s if run else 0.0
    most_s = placed.possible.length_s if placed.possible else length_s
    timed = Working(
        "time in limits",
        length_s,
        "s",
        formula,
        tuple(inputs),
        length_s,
        most_s if math.isfinite(most_s) else None,
        f"gaps up to {case.rules.gap_s:g} s are tolerated where both sides are in limits",
    )
    return (timed, *_percents(case, run))


def _ends(samples: Samples, run: Run, base: SampleBase) -> list[Input]:
    """What a time begins and ends with, and how many samples are in it."""
    first = Input("first sample in limits", samples.values[run.first], "kW", samples.begins_s[run.first])
    if base is SampleBase.MINUTE:
        return [replace(first, name="mean of the first minute"), Input("minutes in it", run.length_s / 60.0, "")]
    last = Input("last sample in limits", samples.values[run.last], "kW", samples.ends_s[run.last])
    return [first, last, Input("samples in it", float(samples.marks.count(GOOD, run.first, run.last + 1)), "")]


def _percents(case: Case, run: Run | None) -> tuple[Working, ...]:
    """The lowest and, as information only, the mean load of the time that counts."""
    if run is None or not case.base_kw > 0.0:
        return ()
    trail = case.trail
    value, at_s = lowest(trail.t_s, trail.power_kw, run.from_s, run.to_s)
    if isnan(value):
        return ()
    sample = Input("lowest sample", value, "kW", at_s)
    bases = {case.base_name: case.base_kw, NAMEPLATE: trail.nameplate_kw}
    return tuple(
        Working(
            f"lowest load, of {name}", 100.0 * value / kw, "%", f"100 × kW ÷ {name}", (sample, Input(name, kw, "kW"))
        )
        for name, kw in bases.items()
        if kw > 0.0
    )
