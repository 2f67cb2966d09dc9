"""Rest: after the last load the source runs on at no load, and the record shows it.

The time counts from the last sample with load to the last sample that shows the source running without. A record that
ends before the time is over shows nothing of what came later; a source that stopped before has not met it.
"""

from array import array
from bisect import bisect_left
from math import isnan

from benchctl.assessment.case import Case
from benchctl.assessment.spans import BAD, GOOD, UNKNOWN, Run, Samples, doubt, mark, strict
from benchctl.assessment.trail import Trail
from benchctl.assessment.verdict import Input, Outcome, Verdict, Working
from benchctl.assessment.words import clock, length, percent
from benchctl.core.ruleset import Rest

RUNNING = 0.8  # share of rated hertz or volts above which the source counts as running, common practice
BANKS = "units cool"


def rest(case: Case, rule: Rest) -> Verdict:
    """The source's cool-down at no load; the banks' own cool-down is told beside it."""
    trail = case.trail
    what = f"the source runs on at no load (at most {percent(rule.no_load_percent)}) for {length(rule.for_s)}"
    text = f"{rule.text}: {what}" if rule.text else what
    least_kw = rule.no_load_percent * trail.nameplate_kw / 100.0
    begin = bisect_left(trail.t_s, trail.begins_s)
    loaded = [k for k in range(begin, len(trail.t_s)) if trail.power_kw[k] > least_kw]
    if not loaded:
        why = "no load is seen that the source could rest from"
        return Verdict(rule.key, text, Outcome.NOT_DEMONSTRATED, why, rule.origin)
    last = loaded[-1]
    samples = _resting(trail, last + 1, least_kw)
    runs = strict(samples, trail.holes, case.rules.gap_s)
    run = max(runs, key=lambda r: r.length_s, default=None)
    shown_s = run.length_s if run else 0.0
    stopped_s = next((t for t, how in zip(samples.begins_s, samples.marks, strict=True) if how == BAD), None)
    possible_s = _possible_s(trail, samples, last)
    if run is not None and shown_s >= rule.for_s - 1e-6:
        outcome = Outcome.SHOWN
    elif stopped_s is not None and possible_s < rule.for_s - 1e-6:
        outcome = Outcome.NOT_MET
    else:
        outcome = Outcome.NOT_DEMONSTRATED
    working = _working(trail, last, run, possible_s, least_kw)
    why = _why(trail, rule, last, run, stopped_s)
    to_s = run.to_s if run else None
    return Verdict(rule.key, text, outcome, why, rule.origin, trail.t_s[last], to_s, (working,))


def _resting(trail: Trail, first: int, least_kw: float) -> Samples:
    """Samples after the last load: good = no load and running, bad = stopped, else not known."""
    t_s, marks = trail.t_s[first:], mark(trail.power_kw[first:], None, least_kw)
    doubt(marks, t_s, trail.doubts)
    for k in range(len(marks)):
        running = _running(trail, first + k)
        if running is False:
            marks[k] = BAD
        elif running is None and marks[k] == GOOD:
            marks[k] = UNKNOWN
    return Samples(t_s, t_s, array("d", trail.power_kw[first:]), marks)


def _running(trail: Trail, k: int) -> bool | None:
    hertz, volts_v = trail.hertz[k], trail.volts_v[k]
    if not isnan(hertz) and hertz >= RUNNING * trail.rated_hz:
        return True
    if not isnan(volts_v):
        return volts_v >= RUNNING * trail.rated_v
    return False if not isnan(hertz) else None


def _possible_s(trail: Trail, samples: Samples, last: int) -> float:
    """The longest that the rest may have been: up to the first sample that shows the source stopped, or open."""
    begin_s = trail.t_s[last]
    stops = [t for t, how in zip(samples.begins_s, samples.marks, strict=True) if how == BAD]
    return stops[0] - begin_s if stops else float("inf")


def _why(trail: Trail, rule: Rest, last: int, run: Run | None, stopped_s: float | None) -> str:
    end_kw = trail.power_kw[last]
    if last == len(trail.t_s) - 1:
        share = percent(100.0 * end_kw / trail.nameplate_kw)
        return f"the record ends with {end_kw:g} kW ({share}) still on the source: nothing of a cool-down is in it"
    said = f"last load {end_kw:g} kW at {clock(trail.t_s[last])}; "
    if run is None:
        said += "no sample after it shows the source running without load"
    else:
        said += f"at no load and running {clock(run.from_s)} to {clock(run.to_s)}, {length(run.length_s)}"
        said += f"; tolerated gaps: {len(run.bridged)}" if run.bridged else ""
    if stopped_s is not None:
        said += f"; stopped at {clock(stopped_s)}"
    elif run is None or run.length_s < rule.for_s - 1e-6:
        said += f"; the record ends at {clock(trail.t_s[-1])}"
    banks = trail.papers.get("cool_down_end", "")
    return said + (f"; {BANKS}: {banks}" if banks else f"; that the {BANKS} down is not in the record")


def _working(trail: Trail, last: int, run: Run | None, possible_s: float, least_kw: float) -> Working:
    inputs = [
        Input("no load is at most", least_kw, "kW"),
        Input("last sample with load", trail.power_kw[last], "kW", trail.t_s[last]),
    ]
    if run is not None:
        hertz = trail.hertz[last + 1 + run.last]
        inputs.append(Input("first sample at no load", trail.power_kw[last + 1 + run.first], "kW", run.from_s))
        inputs.append(Input("last sample at no load", trail.power_kw[last + 1 + run.last], "kW", run.to_s))
        inputs.append(Input("hertz then", None if isnan(hertz) else hertz, "Hz", run.to_s))
    shown_s = run.length_s if run else 0.0
    high_s = possible_s if possible_s < float("inf") else None
    formula = "time of the last less time of the first sample at no load with the source running"
    return Working("rest", shown_s, "s", formula, tuple(inputs), shown_s, high_s)
