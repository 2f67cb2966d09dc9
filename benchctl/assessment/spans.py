"""Unbroken times: how long samples stayed in limits at least, and how long they may have stayed at most.

`strict` counts from the first sample in limits to the last one before a sample that is not, or that nobody knows.
`lenient` lets everything count that is not known to be out of limits, up to the neighbours that are: the truth lies
between the two. A hole, or samples that are not known, break a strict time unless they are no longer than the gap that
the rule set tolerates and both their sides are in limits; those are listed.
"""

import math
from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isnan

from benchctl.assessment.trail import NAN, Hole

BAD, GOOD, UNKNOWN = 0, 1, 2
EPSILON_S = 1e-6


@dataclass(slots=True)
class Samples:
    """What a requirement is asked of: sample k stands for begins_s[k] to ends_s[k], which are equal for an instant."""

    begins_s: "array[float]"
    ends_s: "array[float]"
    values: "array[float]"
    marks: bytearray

    def __len__(self) -> int:
        return len(self.marks)


@dataclass(frozen=True, slots=True)
class Run:
    """An unbroken time. first, last: indices of its samples. bridged: what was tolerated inside."""

    from_s: float
    to_s: float
    first: int
    last: int
    bridged: tuple[Hole, ...] = ()

    @property
    def length_s(self) -> float:
        """How long."""
        return self.to_s - self.from_s

    def after(self, start_s: float) -> "Run":
        """What is left of it from a time on."""
        return self if start_s <= self.from_s else replace(self, from_s=min(start_s, self.to_s))


def mark(values: Sequence[float], low: float | None, high: float | None) -> bytearray:
    """Each value good (in limits, both included), bad, or not known (NaN)."""
    least = -math.inf if low is None else low - 1e-9 * abs(low)
    most = math.inf if high is None else high + 1e-9 * abs(high)
    return bytearray([UNKNOWN if isnan(v) else GOOD if least <= v <= most else BAD for v in values])


def doubt(marks: bytearray, t_s: Sequence[float], doubts: Sequence[Hole]) -> None:
    """What was measured in these times is not known."""
    for told in doubts:
        for k in range(bisect_left(t_s, told.from_s), bisect_right(t_s, told.to_s)):
            marks[k] = UNKNOWN


class Breaks:
    """Holes by time, for the question whether one lies between two samples."""

    def __init__(self, holes: Sequence[Hole]) -> None:
        self._holes = sorted(holes, key=lambda h: h.from_s)
        self._ends_s = [h.to_s for h in self._holes]

    def between(self, from_s: float, to_s: float) -> Hole | None:
        """The first hole that takes time between two instants."""
        k = bisect_right(self._ends_s, from_s + EPSILON_S)
        found = self._holes[k] if k < len(self._holes) else None
        return found if found is not None and found.from_s < to_s - EPSILON_S else None


def strict(samples: Samples, holes: Sequence[Hole], gap_s: float) -> list[Run]:
    """The times that are proven, in their order."""
    breaks = Breaks(holes)
    runs: list[Run] = []
    first = last = -1
    bridged: list[Hole] = []

    def close() -> None:
        if first >= 0:
            runs.append(Run(samples.begins_s[first], samples.ends_s[last], first, last, tuple(bridged)))

    for k, how in enumerate(samples.marks):
        if how == BAD:
            close()
            first = -1
        elif how == GOOD:
            if first >= 0:
                before_s, now_s = samples.ends_s[last], samples.begins_s[k]
                hole = breaks.between(before_s, now_s) if holes else None
                if hole is not None or k > last + 1:
                    if now_s - before_s <= gap_s + EPSILON_S:
                        bridged.append(Hole(before_s, now_s, hole.why if hole else "not known"))
                    else:
                        close()
                        first = -1
            if first < 0:
                first, bridged = k, []
            last = k
    close()
    return runs


def lenient(samples: Samples, complete: bool) -> list[Run]:
    """The times that nothing speaks against, in their order. complete: nothing is unknown after the last sample."""
    runs: list[Run] = []
    first = -1
    count = len(samples)
    for k in range(count + 1):
        if k < count and samples.marks[k] != BAD:
            first = k if first < 0 else first
        elif first >= 0:
            instant = samples.begins_s[first] == samples.ends_s[first]
            from_s = samples.ends_s[first - 1] if first and instant else samples.begins_s[first]
            to_s = samples.ends_s[k - 1]
            if k < count:
                to_s = max(to_s, samples.begins_s[k])
            elif not complete:
                to_s = math.inf
            runs.append(Run(from_s, to_s, first, k - 1))
            first = -1
    return runs


def earliest(runs: Sequence[Run], after_s: float, need_s: float) -> Run | None:
    """Of the runs long enough after a time the first, without what of it was before."""
    left = (run.after(after_s) for run in runs if run.to_s - max(run.from_s, after_s) >= need_s - EPSILON_S)
    return next(left, None)


def longest(runs: Sequence[Run], after_s: float = -math.inf) -> Run | None:
    """The longest after a time; of equal ones the first."""
    left = [run.after(after_s) for run in runs if run.to_s > after_s or run.from_s >= after_s]
    return max(left, key=lambda run: run.length_s, default=None)


def unknown(samples: Samples, holes: Sequence[Hole], from_s: float, to_s: float) -> list[Hole]:
    """What is not known between two times, in their order: stretches of samples without a value, and holes."""
    found: list[Hole] = [h for h in holes if h.to_s > from_s and h.from_s < to_s]
    begins = samples.begins_s
    k, stop = bisect_left(begins, from_s), bisect_right(begins, to_s)
    while k < stop:
        if samples.marks[k] == UNKNOWN:
            first = k
            while k < stop and samples.marks[k] == UNKNOWN:
                k += 1
            before_s = samples.ends_s[first - 1] if first else begins[first]
            found.append(Hole(before_s, begins[k] if k < len(begins) else samples.ends_s[k - 1], "not known"))
        k += 1
    return sorted(found, key=lambda h: h.from_s)


def lowest(t_s: Sequence[float], values: Sequence[float], from_s: float, to_s: float) -> tuple[float, float]:
    """(value, time) of the smallest known value between two times; NaN where none is known."""
    found = (NAN, from_s)
    for k in range(bisect_left(t_s, from_s - EPSILON_S), bisect_right(t_s, to_s + EPSILON_S)):
        if values[k] < found[0] or (isnan(found[0]) and not isnan(values[k])):
            found = (values[k], t_s[k])
    return found
