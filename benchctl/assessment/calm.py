"""Steady time: where load is meant to be constant, and what a column said in it.

A program's holds, each from ten seconds after its begin or after a sudden change of load in it, ordered or measured
(electrical settling, common practice); of a run without a program all of it. Values that are not known break a piece
like everywhere else.
"""

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import isnan

from benchctl.assessment.case import Case
from benchctl.assessment.spans import EPSILON_S, Breaks
from benchctl.assessment.trail import NAN, Hole, Trail
from benchctl.core.ruleset import Quantity

SETTLE_S = 10.0
SUDDEN = 0.05  # share of nameplate by which load must change from one sample to the next to be no constant load
HOLD = "hold"


@dataclass(slots=True)
class Piece:
    """Known values of one column in one unbroken steady time."""

    t_s: "array[float]" = field(default_factory=lambda: array("d"))
    values: "array[float]" = field(default_factory=lambda: array("d"))

    @property
    def length_s(self) -> float:
        """From its first value to its last."""
        return self.t_s[-1] - self.t_s[0] if self.t_s else 0.0


@dataclass(slots=True)
class Calm:
    """All pieces of the steady times, and what of these is not known."""

    spans: list[tuple[float, float]]
    pieces: list[Piece]
    unknown: list[Hole]


def steady_spans(case: Case, during: str) -> list[tuple[float, float]]:
    """Begin and end of the times in which load is meant to be constant; during: only in that duty's time."""
    trail = case.trail
    if not trail.t_s:
        return []
    holds = [(s.from_s, s.to_s) for s in trail.stretches if s.kind == HOLD]
    spans = [(a + SETTLE_S, b) for a, b in holds] if trail.stretches else [(trail.t_s[0], trail.t_s[-1])]
    for at_s in sorted({change.at_s for change in trail.changes} | set(measured_changes(trail))):
        spans = [part for span in spans for part in _cut(span, at_s)]
    if during:
        run = case.placed.get(during)
        if run is None:
            return []
        spans = [(max(a, run.from_s), min(b, run.to_s)) for a, b in spans]
    return [(a, b) for a, b in spans if b - a > EPSILON_S]


def measured_changes(trail: Trail) -> list[float]:
    """The last samples before the source's load changed by itself: the site's own load came or went.

    kW and kW ÷ V² must both change from one sample to the next by more than 5 % of nameplate (common practice): volts
    that hunt move kW but not kW ÷ V², and a single wrong value of volts moves that but not kW.
    """
    least_kw = SUDDEN * trail.nameplate_kw
    found, before, at_s = [], NAN, 0.0
    volts_before = NAN
    for t_s, kw, volts_v in zip(trail.t_s, trail.power_kw, trail.volts_v, strict=True):
        if isnan(kw):
            continue
        if abs(kw - before) > least_kw:
            share = (volts_before / volts_v) ** 2 if volts_v > 0.0 else NAN
            if isnan(share) or abs(kw * share - before) > least_kw:
                found.append(at_s)
        before, volts_before, at_s = kw, volts_v, t_s
    return found


def _cut(span: tuple[float, float], at_s: float) -> list[tuple[float, float]]:
    begin_s, end_s = span
    if at_s + SETTLE_S <= begin_s or at_s >= end_s:
        return [span]
    return [(begin_s, min(at_s, end_s)), (at_s + SETTLE_S, end_s)]


def calm(trail: Trail, spans: Sequence[tuple[float, float]], values: "array[float]", gap_s: float) -> Calm:
    """The pieces of a column in these times. A gap up to gap_s between two known values breaks nothing."""
    breaks = Breaks(trail.holes)
    found = Calm(list(spans), [], [])
    for begin_s, end_s in spans:
        piece, before_s = Piece(), begin_s
        first, stop = bisect_left(trail.t_s, begin_s - EPSILON_S), _stop(trail, end_s)
        if first < stop and breaks.between(begin_s, end_s) is None and not any(map(isnan, values[first:stop])):
            found.pieces.append(Piece(trail.t_s[first:stop], values[first:stop]))  # nearly always: all is known
            continue
        for k in range(first, stop):
            value, t_s = values[k], trail.t_s[k]
            if isnan(value):
                continue
            hole = breaks.between(before_s, t_s)
            skipped = hole is not None or (k > 0 and isnan(values[k - 1]))
            if skipped and t_s - before_s > gap_s + EPSILON_S:
                found.unknown.append(Hole(before_s, t_s, hole.why if hole else "not known"))
                found.pieces += [piece] if piece.t_s else []
                piece = Piece()
            piece.t_s.append(t_s)
            piece.values.append(value)
            before_s = t_s
        unseen = (stop > 0 and isnan(values[stop - 1])) or breaks.between(before_s, end_s) is not None
        if not piece.t_s or (unseen and end_s - before_s > gap_s + EPSILON_S):
            found.unknown.append(Hole(before_s, end_s, "not known"))
        found.pieces += [piece] if piece.t_s else []
    return found


def _stop(trail: Trail, end_s: float) -> int:
    """The first sample that does not belong to a time any more: an end belongs to what follows, but for the last."""
    return bisect_right(trail.t_s, end_s) if end_s >= trail.t_s[-1] else bisect_left(trail.t_s, end_s - EPSILON_S)


def column(trail: Trail, quantity: Quantity) -> "array[float]":
    """The column of a quantity; of amps the highest phase that is known in a sample where all three are."""
    if quantity is Quantity.HERTZ:
        return trail.hertz
    if quantity is Quantity.VOLTS:
        return trail.volts_v
    if quantity is Quantity.POWER:
        return trail.power_kw
    phases = zip(trail.amps_a, trail.amps_b, trail.amps_c, strict=True)
    return array("d", [NAN if isnan(a + b + c) else max(a, b, c) for a, b, c in phases])


def rated(trail: Trail, quantity: Quantity) -> float | None:
    """What percents of a quantity are of; None where the nameplate does not tell it."""
    if quantity is Quantity.HERTZ:
        return trail.rated_hz or None
    if quantity is Quantity.VOLTS:
        return trail.rated_v or None
    if quantity is Quantity.POWER:
        return trail.nameplate_kw or None
    kva = _number(trail.papers.get("nameplate_kva", ""))
    return None if kva is None or not trail.rated_v else 1000.0 * kva / (3.0**0.5 * trail.rated_v)


def _number(text: str) -> float | None:
    try:
        return float(text.split(maxsplit=1)[0])
    except (ValueError, IndexError):
        return None


UNITS = {Quantity.HERTZ: "Hz", Quantity.VOLTS: "V", Quantity.POWER: "kW", Quantity.AMPS: "A"}
