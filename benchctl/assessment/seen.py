"""What belongs to one sudden change of load: the stretch of each trace about it, until something else happens."""

import math
from array import array
from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from itertools import pairwise

from benchctl.assessment.trail import Change, Trace, Trail
from benchctl.core.ruleset import Quantity, Transient
from benchctl.electrical.transients import Instant

BEFORE_S = 10.0  # over which the value before the change is taken; as long as the window after a block, CPNS
WINDOW_S = 10.0  # looked at after a change at least, longer where the limit is: three times the recovery
LATE_S = 5.0  # within which the kW must have moved after the order
HOLE = "the record has a hole"
AGAIN = "the load changes again"
ENDS = "the recording ends"


@dataclass(frozen=True, slots=True)
class Seen:
    """A trace cut to what belongs to one change. rated: in its own unit. ends: why it ends early, or empty."""

    trace: Trace
    t_s: "array[float]"
    values: "array[float]"
    switched: Instant
    rated: float
    ends: str

    @property
    def each_s(self) -> float:
        """Longest time without a new value: what the instrument refreshes, or how far apart it was asked."""
        return max(self.trace.refresh_s, *(after - before for before, after in pairwise(self.t_s)))


def seen_of(trail: Trail, rule: Transient, change: Change, rated: float) -> list[Seen]:
    """The traces that show the change: those of captures, else those of the run's own meter at the source."""
    end_s, ends = _until(trail, rule, change)
    captured = [t for t in trail.traces if t.quantity is rule.quantity]
    for traces in (captured, _own(trail, rule)):
        cuts = [_cut(trail, trace, change, rated, end_s, ends) for trace in traces]
        if any(cuts):
            return [cut for cut in cuts if cut]
    return []


def _until(trail: Trail, rule: Transient, change: Change) -> tuple[float, str]:
    """How long what happens belongs to this change."""
    end_s = change.at_s + max(WINDOW_S, 3.0 * rule.recovery_s)
    moves = [c.at_s for c in trail.changes]
    moves += [s.from_s for s in trail.stretches if s.kind == "ramp"]  # blocks are among the changes
    nexts = [at for at in moves if change.at_s + 1e-3 < at < end_s]
    return (min(nexts), AGAIN) if nexts else (end_s, "")


def _own(trail: Trail, rule: Transient) -> list[Trace]:
    """What the run's own meter at the source says: line by line where it tells lines."""
    named = {
        Quantity.HERTZ: [("frequency", trail.hertz)],
        Quantity.POWER: [("kW", trail.power_kw)],
        Quantity.VOLTS: [("volts AB", trail.pair_ab), ("volts BC", trail.pair_bc), ("volts CA", trail.pair_ca)],
    }.get(rule.quantity, [])
    known = [(name, column) for name, column in named if any(not math.isnan(v) for v in column)]
    if not known and rule.quantity is Quantity.VOLTS:
        known = [("volts, mean", trail.volts_v)]
    told = "the meter at the source, as recorded in the run"
    return [Trace(name, rule.quantity, trail.t_s, column, trail.refresh_s, told=told) for name, column in known]


def _cut(trail: Trail, trace: Trace, change: Change, rated: float, end_s: float, ends: str) -> Seen | None:
    """The trace from before the change to the end of its window, or to the first thing that is not known."""
    t_s, own = trace.t_s, trace.t_s is trail.t_s
    switched = _switched(trail, trace, change)
    first, stop = bisect_right(t_s, switched.low_s), bisect_right(t_s, end_s)
    if first == 0 or len(trace.values) != len(t_s) or switched.low_s - t_s[first - 1] > max(2.0, 2.0 * trace.refresh_s):
        return None
    holes = [(h.from_s, h.to_s) for h in trail.holes] if own else []
    begin = first - 1
    earliest = bisect_left(t_s, switched.low_s - BEFORE_S)
    while begin > earliest and not _broken(trace, begin - 1, holes):
        begin -= 1
    last = first - 1
    while last + 1 < stop and not _broken(trace, last, holes):
        last += 1
    if math.isnan(trace.values[first - 1]) or last - first < 1:
        return None
    if last + 1 < stop:
        ends = HOLE
    elif not ends and t_s[last] < end_s - max(1.0, 2.0 * trace.refresh_s):
        ends = ENDS
    return Seen(trace, t_s[begin : last + 1], trace.values[begin : last + 1], switched, rated, ends)


def _broken(trace: Trace, k: int, holes: list[tuple[float, float]]) -> bool:
    """Whether the line from sample k to the next is not known."""
    t0, t1 = trace.t_s[k], trace.t_s[k + 1]
    missing = math.isnan(trace.values[k]) or math.isnan(trace.values[k + 1])
    return missing or any(from_s < t1 and to_s > t0 for from_s, to_s in holes)


def _switched(trail: Trail, trace: Trace, change: Change) -> Instant:
    """When the load really moved: as the capture itself shows it, else from the order until the kW were half way."""
    near = [s for s in trace.switched_s if abs(s - change.at_s) <= LATE_S + trace.doubt_s]
    half_s = trace.window_s / 2.0
    if near:
        at_s = min(near, key=lambda s: abs(s - change.at_s))
        return Instant(at_s, at_s - half_s - trace.refresh_s, at_s + half_s + trace.refresh_s)
    half_kw = (change.from_kw + change.to_kw) / 2.0
    up, moved_s = change.to_kw > change.from_kw, change.at_s
    for k in range(bisect_left(trail.t_s, change.at_s), bisect_right(trail.t_s, change.at_s + LATE_S)):
        kw = trail.power_kw[k] if k < len(trail.power_kw) else math.nan
        if not math.isnan(kw) and (kw >= half_kw) == up:
            moved_s = trail.t_s[k]
            break
    far_s = half_s + trace.doubt_s
    return Instant(change.at_s, change.at_s - far_s, max(change.at_s, moved_s) + far_s)
