"""Autonomy of a UPS or battery: constant kW to an end, by time or by volts, which must not come too early."""

from benchctl.assessment.case import Case
from benchctl.assessment.gauged import gauged
from benchctl.assessment.spans import Run, Samples, doubt, earliest, lenient, longest, mark, strict
from benchctl.assessment.verdict import Input, Outcome, Verdict, Working
from benchctl.assessment.words import clock, length, percent
from benchctl.core.ruleset import Autonomy


def autonomies(case: Case, rule: Autonomy) -> Verdict:
    """The unbroken time at the constant load, before the battery reached its end voltage."""
    trail = case.trail
    target_kw = rule.load_percent * case.base_kw / 100.0
    low_kw, high_kw = (target_kw * (1.0 + sign * rule.tolerance_percent / 100.0) for sign in (-1.0, 1.0))
    tolerance = f"± {percent(rule.tolerance_percent)} of it"
    what = f"{percent(rule.load_percent)} of {case.base_name} ({tolerance}) for {length(rule.for_s)}"
    what += f" before {rule.end_volts_v:g} V" if rule.end_volts_v is not None else ""
    text = f"{rule.text}: {what}" if rule.text else what
    marks = mark(trail.power_kw, low_kw, high_kw)
    doubt(marks, trail.t_s, trail.doubts)
    end = _end(case, rule)
    if end is not None:
        for k, t_s in enumerate(trail.t_s):
            marks[k] = marks[k] if t_s < end[0] else 0
    samples = Samples(trail.t_s, trail.t_s, trail.power_kw, marks)
    sure, perhaps = strict(samples, trail.holes, case.rules.gap_s), lenient(samples, trail.complete)
    run = earliest(sure, trail.t_s[0], rule.for_s) or longest(sure)
    possible = longest(perhaps)
    shown = run is not None and run.length_s >= rule.for_s - 1e-6
    unseen = rule.end_volts_v is not None and not gauged(trail, "battery_v")
    if shown and not unseen:
        outcome = Outcome.SHOWN
    elif shown or (possible is not None and possible.length_s >= rule.for_s - 1e-6):
        outcome = Outcome.NOT_DEMONSTRATED
    else:
        outcome = Outcome.NOT_MET
    why = _why(run, end, rule) + ("; no reading of the battery's volts shows that they were above it" if unseen else "")
    from_s, to_s = (run.from_s, run.to_s) if run else (None, None)
    working = (_working(case, run, possible, low_kw, high_kw),)
    return Verdict(rule.key, text, outcome, why, rule.origin, from_s, to_s, working)


def _end(case: Case, rule: Autonomy) -> tuple[float, float] | None:
    """(time, volts) at which the battery is first seen below its end voltage."""
    if rule.end_volts_v is None:
        return None
    return next(((g.at_s, g.value) for g in gauged(case.trail, "battery_v") if g.value < rule.end_volts_v), None)


def _why(run: Run | None, end: tuple[float, float] | None, rule: Autonomy) -> str:
    said = "never at the load" if run is None else f"{length(run.length_s)}, {clock(run.from_s)} to {clock(run.to_s)}"
    said += f"; {end[1]:g} V read at {clock(end[0])}" if end else ""
    return f"{said}; {length(rule.for_s)} are asked"


def _working(case: Case, run: Run | None, possible: Run | None, low_kw: float, high_kw: float) -> Working:
    inputs = [*case.base, Input("least", low_kw, "kW"), Input("most", high_kw, "kW")]
    if run is not None:
        power_kw = case.trail.power_kw
        inputs.append(Input("first sample in it", power_kw[run.first], "kW", run.from_s))
        inputs.append(Input("last sample in it", power_kw[run.last], "kW", run.to_s))
    shown_s = run.length_s if run else 0.0
    high_s = possible.length_s if possible and possible.length_s < float("inf") else None
    formula = "time of the last less time of the first of an unbroken row at the load"
    return Working("autonomy", shown_s, "s", formula, tuple(inputs), shown_s, high_s)
