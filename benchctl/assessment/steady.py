"""Steady quantities: width, deviation, regulation, droop, unbalance; each with the denominator that its rule states.

What breaks a limit anywhere makes it not met. Where nothing does but part of the steady time is not known, it is not
demonstrated. A mean never stands for its samples: what hunts is found by its envelope, whatever its mean.
"""

import math
from array import array
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from benchctl.assessment.calm import UNITS, Calm, Piece, calm, column, rated, steady_spans
from benchctl.assessment.case import Case
from benchctl.assessment.levels import loads
from benchctl.assessment.spans import EPSILON_S
from benchctl.assessment.verdict import Input, Outcome, Verdict, Working
from benchctl.assessment.words import apart, clock, length, percent
from benchctl.core.ruleset import Measure, Quantity, Steady
from benchctl.electrical.droop import droop_percent, regulation_percent
from benchctl.electrical.unbalance import METHODS, army_percent, nema_percent

WHAT = {Quantity.HERTZ: "frequency", Quantity.VOLTS: "voltage", Quantity.POWER: "kW", Quantity.AMPS: "amps"}


@dataclass(frozen=True, slots=True)
class Figure:
    """A measured percentage with its working, or, where value is None, why there is none."""

    value: float | None
    working: Working | None
    why: str
    from_s: float | None = None
    to_s: float | None = None
    unknown: str = ""


def steady(case: Case, rule: Steady) -> Verdict:
    """One steady quantity within so many percent."""
    what = f"{WHAT[rule.quantity]}: {rule.measure.value} within {percent(rule.limit_percent)}"
    text = f"{rule.text}: {what}" if rule.text else what
    if rule.during and rule.during not in case.placed:
        return _nothing(rule, text, f"it is asked of the time of {rule.during}, which is not shown")
    found = MEASURES[rule.measure](case, rule)
    working = (found.working,) if found.working else ()
    if found.value is None:
        return Verdict(
            rule.key, text, Outcome.NOT_DEMONSTRATED, found.why, rule.origin, found.from_s, found.to_s, working
        )
    inside = abs(found.value) <= rule.limit_percent * (1.0 + 1e-9)
    limit = math.copysign(rule.limit_percent, found.value)
    why = f"{apart(found.value, limit, 2)} % {found.why}; {percent(rule.limit_percent)} are allowed"
    outcome = Outcome.SHOWN if inside else Outcome.NOT_MET
    if inside and found.unknown:
        outcome, why = Outcome.NOT_DEMONSTRATED, f"{why}; {found.unknown}"
    return Verdict(rule.key, text, outcome, why, rule.origin, found.from_s, found.to_s, working)


def _nothing(rule: Steady, text: str, why: str) -> Verdict:
    return Verdict(rule.key, text, Outcome.NOT_DEMONSTRATED, why, rule.origin)


def _calm(case: Case, rule: Steady, values: "array[float]") -> Calm:
    return calm(case.trail, steady_spans(case, rule.during), values, case.rules.gap_s)


def _unknown(found: Calm) -> str:
    told = [f"{clock(h.from_s)} to {clock(h.to_s)} ({h.why})" for h in found.unknown]
    return "not known: " + ", ".join(told[:5]) + (f" and {len(told) - 5} more" if len(told) > 5 else "") if told else ""


def _width(case: Case, rule: Steady) -> Figure:
    """100 (max - min) / rated in the window of over_s in which it is widest."""
    whole = rated(case.trail, rule.quantity)
    found = _calm(case, rule, column(case.trail, rule.quantity))
    if whole is None:
        return Figure(None, None, f"rated {UNITS[rule.quantity]} are not recorded")
    widest, longest_s = None, 0.0
    for piece in found.pieces:
        spacing_s = piece.length_s / (len(piece.t_s) - 1) if len(piece.t_s) > 1 else 0.0
        longest_s = max(longest_s, piece.length_s + spacing_s)
        window = _widest(piece, rule.over_s)
        if window is not None and (widest is None or window[1] - window[3] > widest[1] - widest[3]):
            widest = window
    if widest is None:
        return Figure(None, None, "no steady time in which it is known", unknown=_unknown(found))
    high_s, high, low_s, low = widest
    value = 100.0 * (high - low) / whole
    unit = UNITS[rule.quantity]
    inputs = (
        Input("largest", high, unit, high_s),
        Input("smallest", low, unit, low_s),
        Input("rated", whole, unit),
        *_spread(found, unit),
    )
    formula = f"100 × (largest − smallest) ÷ rated, both within {length(rule.over_s)}"
    note = f"samples each {_spacing(case):g} s; the meter has a new value each {case.trail.refresh_s:g} s"
    note += ": what is faster is not seen"
    working = Working("width", value, "%", formula, inputs, note=note)
    why = f"of {whole:g} {unit}: {low:g} to {high:g} {unit} at {clock(low_s)} and {clock(high_s)}"
    unknown = _unknown(found)
    if longest_s < rule.over_s - EPSILON_S:
        unknown = f"the longest steady known time is {length(longest_s)}, {length(rule.over_s)} are asked"
    return Figure(value, working, why, min(low_s, high_s), max(low_s, high_s), unknown)


def _widest(piece: Piece, over_s: float) -> tuple[float, float, float, float] | None:
    """(t of max, max, t of min, min) of the window in which a piece varies most. Each value is looked at once."""
    t_s, values = piece.t_s, piece.values
    highs: deque[int] = deque()
    lows: deque[int] = deque()
    best: tuple[float, float, float, float] | None = None
    for k, value in enumerate(values):
        while highs and values[highs[-1]] <= value:
            highs.pop()
        while lows and values[lows[-1]] >= value:
            lows.pop()
        highs.append(k)
        lows.append(k)
        while t_s[highs[0]] < t_s[k] - over_s - EPSILON_S:
            highs.popleft()
        while t_s[lows[0]] < t_s[k] - over_s - EPSILON_S:
            lows.popleft()
        i, j = highs[0], lows[0]
        if best is None or values[i] - values[j] > best[1] - best[3]:
            best = (t_s[i], values[i], t_s[j], values[j])
    return best


def _spread(found: Calm, unit: str) -> tuple[Input, ...]:
    """Mean and standard deviation of all steady values: for information, they decide nothing."""
    values = [v for piece in found.pieces for v in piece.values]
    mean = math.fsum(values) / len(values)
    sigma = math.sqrt(math.fsum((v - mean) ** 2 for v in values) / len(values))
    return (Input("mean (decides nothing)", mean, unit), Input("standard deviation (population)", sigma, unit))


def _spacing(case: Case) -> float:
    t_s = case.trail.t_s
    return round((t_s[-1] - t_s[0]) / (len(t_s) - 1), 3) if len(t_s) > 1 else 0.0


def _deviation(case: Case, rule: Steady) -> Figure:
    """The largest 100 (value - rated) / rated by magnitude, with its sign."""
    whole, unit = rated(case.trail, rule.quantity), UNITS[rule.quantity]
    if whole is None:
        return Figure(None, None, f"rated {unit} are not recorded")
    found = _calm(case, rule, column(case.trail, rule.quantity))
    worst = _extreme(found.pieces, lambda value: abs(value - whole))
    if worst is None:
        return Figure(None, None, "no steady time in which it is known", unknown=_unknown(found))
    at_s, value = worst
    share = 100.0 * (value - whole) / whole
    inputs = (Input("farthest from rated", value, unit, at_s), Input("rated", whole, unit), *_spread(found, unit))
    working = Working("deviation", share, "%", "100 × (value − rated) ÷ rated", inputs)
    why = f"of {whole:g} {unit}: {value:g} {unit} at {clock(at_s)}"
    return Figure(share, working, why, found.spans[0][0], found.spans[-1][1], _unknown(found))


def _extreme(pieces: Sequence[Piece], size: Callable[[float], float]) -> tuple[float, float] | None:
    """(time, value) of the value that is largest by a measure."""
    best: tuple[float, float] | None = None
    most = -math.inf
    for piece in pieces:
        for t_s, value in zip(piece.t_s, piece.values, strict=True):
            if size(value) > most:
                most, best = size(value), (t_s, value)
    return best


def _no_load_to_load(case: Case, rule: Steady) -> Figure:
    """Droop or regulation: what a quantity is at no load and at rated load, over the value the rule says."""
    trail, unit = case.trail, UNITS[rule.quantity]
    whole = rated(trail, rule.quantity)
    if whole is None:
        return Figure(None, None, f"rated {unit} are not recorded")
    ends = loads(case, column(trail, rule.quantity))
    if isinstance(ends, str):
        return Figure(None, None, ends)
    idle, loaded = ends
    of_load = rule.measure is Measure.REGULATION
    if of_load:
        value, name = droop_percent(idle.value, loaded.value), "the value at rated load"
    else:
        size = regulation_percent(idle.value, (loaded.value,), whole)
        value, name = math.copysign(size, idle.value - loaded.value), "rated"
    inputs = (
        Input(f"at no load ({idle.power_kw:.1f} kW), mean of {length(idle.length_s)}", idle.value, unit, idle.to_s),
        Input(
            f"at rated load ({loaded.power_kw:.1f} kW), mean of {length(loaded.length_s)}",
            loaded.value,
            unit,
            loaded.to_s,
        ),
        Input(f"denominator: {name}", loaded.value if of_load else whole, unit),
    )
    formula = f"100 × (no load − rated load) ÷ {name}"
    working = Working("regulation" if of_load else "droop", value, "%", formula, inputs)
    why = f"of {name}: {idle.value:g} {unit} at no load, {loaded.value:g} {unit} at rated load"
    span = sorted((idle.to_s, loaded.to_s))
    return Figure(value, working, why, span[0], span[1])


def _unbalance(case: Case, rule: Steady) -> Figure:
    """The largest unbalance of any sample by the method that the rule names."""
    trail = case.trail
    if rule.quantity is Quantity.VOLTS:
        three, of = (trail.pair_ab, trail.pair_bc, trail.pair_ca), "line-to-line volts"
    elif rule.quantity is Quantity.AMPS:
        three, of = (trail.amps_a, trail.amps_b, trail.amps_c), "amps"
    else:
        return Figure(None, None, f"unbalance of {WHAT[rule.quantity]} is not defined here: volts or amps are expected")
    whole = rated(trail, rule.quantity)
    if rule.measure is Measure.UNBALANCE_RATED and whole is None:
        return Figure(None, None, f"rated {UNITS[rule.quantity]} are not recorded")
    by_rated = rule.measure is Measure.UNBALANCE_RATED
    values = array("d", [_share(v, whole if by_rated else None) for v in zip(*three, strict=True)])
    found = _calm(case, rule, values)
    worst = _extreme(found.pieces, abs)
    if worst is None:
        return Figure(None, None, f"{of} of all three phases are not known in any steady time")
    at_s, value = worst
    k = next(k for k, t_s in enumerate(trail.t_s) if t_s == at_s)
    unit = UNITS[rule.quantity]
    names = ("AB", "BC", "CA") if rule.quantity is Quantity.VOLTS else ("A", "B", "C")
    inputs = [Input(name, phase[k], unit, at_s) for name, phase in zip(names, three, strict=True)]
    if by_rated:
        inputs.append(Input("rated", whole, unit))
    method = METHODS["army" if by_rated else "nema"]
    formula = "100 × (largest − smallest) ÷ rated" if by_rated else "100 × largest deviation from the mean ÷ mean"
    working = Working("unbalance", value, "%", formula, tuple(inputs), note=f"method: {method}; of {of}")
    why = f"of {of} at {clock(at_s)}, by: {method}"
    return Figure(value, working, why, at_s, at_s, _unknown(found))


def _share(values: tuple[float, float, float], whole: float | None) -> float:
    """Unbalance of one sample; NaN where a phase is not known, or all are nothing."""
    if not all(v >= 0.0 and v < math.inf for v in values):
        return math.nan
    found = nema_percent(values) if whole is None else army_percent(values, whole)
    return math.nan if found is None else found


MEASURES: dict[Measure, Callable[[Case, Steady], Figure]] = {
    Measure.WIDTH: _width,
    Measure.DEVIATION: _deviation,
    Measure.REGULATION: _no_load_to_load,
    Measure.DROOP: _no_load_to_load,
    Measure.UNBALANCE_MEAN: _unbalance,
    Measure.UNBALANCE_RATED: _unbalance,
}
