"""Sudden changes of load: how far volts and hertz went, and how long until they were back for good.

What is slower than the thing itself proves nothing: a deviation is shown only by values refreshed each cycle (the
half-cycle rms and the per-cycle frequency of a capture), and a recovery only by values refreshed within its limit.
What is seen beyond a limit is not met, however coarse. Volts are judged line by line, the worst counts.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.assessment.seen import BEFORE_S, ENDS, Seen, seen_of
from benchctl.assessment.trail import Change, Trail
from benchctl.assessment.verdict import Input, Outcome, Verdict, Working, worst
from benchctl.assessment.words import clock, percent
from benchctl.core.ruleset import Centre, Direction, Quantity, Transient
from benchctl.electrical.transients import Instant, Response, respond

CYCLE = 1.05  # cycles: values at most so far apart are refreshed each cycle, the meter's own frequency included
UNITS = {Quantity.HERTZ: "Hz", Quantity.VOLTS: "V", Quantity.POWER: "kW", Quantity.AMPS: "A"}
NAMES = {Quantity.HERTZ: "frequency", Quantity.VOLTS: "voltage", Quantity.POWER: "power", Quantity.AMPS: "current"}
SHOWN, OPEN, NOT_MET = Outcome.SHOWN, Outcome.NOT_DEMONSTRATED, Outcome.NOT_MET


@dataclass(frozen=True, slots=True)
class Found:
    """What one trace says of one rule."""

    outcome: Outcome
    why: str
    working: tuple[Working, ...] = ()
    to_s: float | None = None


def transients(trail: Trail, rules: Sequence[Transient]) -> list[Verdict]:
    """A verdict for each rule and each change of load that it is about; one for the rule where there was none."""
    verdicts: list[Verdict] = []
    for rule in rules:
        changes = [change for change in trail.changes if _is_about(rule, change, trail.nameplate_kw)]
        verdicts += [_judged(trail, rule, change) for change in changes] or [_none(rule)]
    return verdicts


def criterion(rule: Transient) -> str:
    """The rule in a sentence."""
    clock_from = "the switching" if rule.exit_percent is None else f"leaving ± {percent(rule.exit_percent)}"
    said = (
        f"{NAMES[rule.quantity]} after {rule.direction.value}: at most {percent(rule.deviation_percent)} off, and "
        f"within {rule.recovery_s:g} s from {clock_from} back for good within ± {percent(rule.band_percent)} of rated "
        f"about {rule.centre.value}"
    )
    return f"{rule.text}: {said}" if rule.text else said


def _is_about(rule: Transient, change: Change, nameplate_kw: float) -> bool:
    step_kw = change.to_kw - change.from_kw
    least_kw = rule.step_percent / 100.0 * nameplate_kw
    return (step_kw > 0.0) == (rule.direction is Direction.UP) and abs(step_kw) >= least_kw * (1.0 - 1e-9) > 0.0


def _none(rule: Transient) -> Verdict:
    why = f"the run has no sudden {rule.direction.value} of {percent(rule.step_percent)} of nameplate or more"
    return Verdict(rule.key, criterion(rule), OPEN, why, rule.origin)


def _judged(trail: Trail, rule: Transient, change: Change) -> Verdict:
    """One rule, one change: the worst of the traces that show it, those of captures before the run's own meter."""
    label = f"{change.from_kw:.1f} to {change.to_kw:.1f} kW at {clock(change.at_s)}"
    rated = {Quantity.HERTZ: trail.rated_hz, Quantity.VOLTS: trail.rated_v, Quantity.POWER: trail.nameplate_kw}.get(
        rule.quantity
    )
    text = f"{criterion(rule)} ({label})"
    if rated is None or not rated > 0.0:
        why = f"no rated {NAMES[rule.quantity]} is known to judge by"
        return Verdict(rule.key, text, OPEN, why, rule.origin, change.at_s)
    seen = seen_of(trail, rule, change, rated)
    if not seen:
        why = f"no {NAMES[rule.quantity]} is known about the change"
        return Verdict(rule.key, text, OPEN, why, rule.origin, change.at_s)
    found = [_found(rule, cut, trail.rated_hz) for cut in seen]
    outcome = worst(tuple(f.outcome for f in found))
    first = next(f for f in found if f.outcome is outcome)
    working = tuple(w for f in found for w in f.working)
    return Verdict(rule.key, text, outcome, first.why, rule.origin, change.at_s, first.to_s, working)


def _found(rule: Transient, seen: Seen, rated_hz: float) -> Found:
    trace, rated = seen.trace, seen.rated
    leave = rule.exit_percent if rule.exit_percent is not None else rule.band_percent
    response = respond(
        seen.t_s,
        seen.values,
        switched=seen.switched,
        rated=rated,
        falls=rule.direction is Direction.UP,
        leave_half=leave / 100.0 * rated,
        band_half=rule.band_percent / 100.0 * rated,
        centre=rated if rule.centre is Centre.RATED else None,
        before_s=BEFORE_S,
    )
    fine = rated_hz > 0.0 and seen.each_s <= CYCLE / rated_hz
    far = _far(rule, seen, response, fine)
    back = _back(rule, seen, response)
    outcome = worst((far.outcome, back.outcome))
    whys = [f.why for f in (far, back) if f.outcome is outcome] if outcome is not SHOWN else [far.why, back.why]
    working = (*far.working, *back.working)
    return Found(outcome, f"{trace.name}: {'; '.join(whys)}", working, back.to_s)


def _far(rule: Transient, seen: Seen, found: Response, fine: bool) -> Found:
    """How far: hertz from the value before, volts from rated (the definitions of ISO 8528-5, from memory)."""
    trace, of_rated = seen.trace, rule.quantity is Quantity.VOLTS
    value = found.difference_percent if of_rated else found.deviation_percent
    off = max(0.0, -value if rule.direction is Direction.UP else value)
    unit, limit = UNITS[rule.quantity], percent(rule.deviation_percent)
    working = Working(
        f"{trace.name}: deviation",
        value,
        "%",
        "100 × (extreme − rated) ÷ rated" if of_rated else "100 × (extreme − value before) ÷ rated",
        (
            Input("extreme", found.extreme, unit, found.extreme_s),
            Input("value before", found.initial, unit),
            Input("rated", seen.rated, unit),
            Input("final value", found.final, unit),
            Input("overshoot of rated", found.overshoot_percent, "%"),
            Input("taken from", trace.told),
        ),
        note="" if fine else f"a value each {seen.each_s:.3g} s: what is between two of them is not seen",
    )
    if off > rule.deviation_percent * (1.0 + 1e-9):
        return Found(NOT_MET, f"{percent(value)} at {clock(found.extreme_s)}, {limit} allowed", (working,))
    if fine:
        return Found(SHOWN, f"{percent(value)} at {clock(found.extreme_s)}, {limit} allowed", (working,))
    why = (
        f"{percent(value)} is the most that was seen, {limit} allowed, but a meter with a value each "
        f"{seen.each_s:.3g} s cannot show how far it went: that needs a capture with a value each cycle"
    )
    return Found(OPEN, why, (working,))


def _back(rule: Transient, seen: Seen, found: Response) -> Found:
    """How long, from the instant that the rule says; both origins are in the working."""
    from_leaving = _widened(seen, found, found.from_leaving)
    from_switching = _widened(seen, found, found.from_switching)
    asked = from_switching if rule.exit_percent is None else from_leaving
    working = (
        *((_working(rule, seen, found, from_leaving, "leaving the band"),) if rule.exit_percent is not None else ()),
        _working(rule, seen, found, from_switching, "the switching"),
    )
    limit = f"{rule.recovery_s:g} s allowed"
    until_s = found.back.high_s if found.back else seen.t_s[-1]
    if asked is None:
        start = seen.switched if rule.exit_percent is None or found.left is None else found.left
        out_s = (found.outside_until_s or 0.0) - start.high_s
        stops = f" ({seen.ends} then)" if seen.ends else ""
        why = f"not recovered in the window of {seen.t_s[-1] - seen.switched.at_s:.1f} s{stops}, {limit}"
        return Found(NOT_MET if out_s > rule.recovery_s else OPEN, why, working, seen.t_s[-1])
    said = f"back {_said(asked)}, {limit}"
    if asked.low_s > rule.recovery_s * (1.0 + 1e-9):
        return Found(NOT_MET, said, working, until_s)
    if seen.each_s > rule.recovery_s:
        why = f"a meter with a value each {seen.each_s:.3g} s cannot show a recovery within {rule.recovery_s:g} s"
        return Found(OPEN, why, working, until_s)
    if asked.high_s > rule.recovery_s * (1.0 + 1e-9):
        return Found(OPEN, f"{said}: the samples are too coarse to tell", working, until_s)
    if not _long_enough(rule, seen, from_switching or asked):
        why = f"{said}, but {seen.ends} at {clock(seen.t_s[-1])}, before {rule.recovery_s:g} s are over"
        return Found(OPEN, why, working, until_s)
    return Found(SHOWN, said, working, until_s)


def _long_enough(rule: Transient, seen: Seen, recovery: Instant) -> bool:
    """Whether what it settles at is known: nothing ended the window within the limit.

    Of a recording that merely ends, half the limit is enough if that is three times as long as it took (common
    practice, no source).
    """
    length_s = seen.t_s[-1] - seen.switched.high_s
    if not seen.ends or length_s >= rule.recovery_s:
        return True
    return seen.ends == ENDS and length_s >= max(rule.recovery_s / 2.0, 3.0 * recovery.high_s)


def _widened(seen: Seen, found: Response, time: Instant | None) -> Instant | None:
    """The bounds of a time, with what the values' own slowness adds: window, values repeated between refreshes."""
    if time is None:
        return None
    trace, count = seen.trace, len(seen.t_s)
    spacing_s = (seen.t_s[-1] - seen.t_s[0]) / (count - 1)
    if found.outside_until_s is None:  # nobody saw it leave: what happened between two values is open
        return Instant(0.0, 0.0, seen.each_s)
    older_s = max(0.0, trace.refresh_s - spacing_s)
    return Instant(time.at_s, max(0.0, time.low_s - trace.window_s - older_s), time.high_s + trace.window_s)


def _working(rule: Transient, seen: Seen, found: Response, time: Instant | None, origin: str) -> Working:
    start = seen.switched if origin == "the switching" else found.left
    unit = UNITS[rule.quantity]
    half = rule.band_percent
    inputs = (
        _at("start of the clock", start, "the band was not seen left"),
        _at("last entry", found.back, "never seen outside" if found.recovered else "not back for good"),
        Input("centre of the band", found.centre, unit),
        Input("band, half width, of rated", half, "%"),
        *((Input("band left, half width, of rated", rule.exit_percent, "%"),) if start is found.left else ()),
    )
    note = "" if time else "not recovered in the window"
    if time and time.high_s - time.low_s > 1e-9:
        note = _said(time)
    return Working(
        f"{seen.trace.name}: recovery from {origin}",
        time.at_s if time else None,
        "s",
        "last entry into the tolerance band − start of the clock, on the line between samples",
        inputs,
        low=time.low_s if time else None,
        high=time.high_s if time else None,
        note=note,
    )


def _at(name: str, time: Instant | None, otherwise: str) -> Input:
    return Input(name, time.at_s, "s", time.at_s) if time else Input(name, otherwise)


def _said(time: Instant) -> str:
    low, high = f"{time.low_s:.2f}", f"{time.high_s:.2f}"
    if time.high_s - time.low_s < 1e-9:
        return f"after {time.at_s:.3f} s"
    return f"within {high} s" if time.low_s <= 0.0 else f"between {low} and {high} s later"
