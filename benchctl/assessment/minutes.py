"""One-minute means as a sample base: minutes that follow each other, from whichever value in limits serves best.

The mean is of the known values of a minute. A minute of which more than the tolerated gap is not known, is not known.
A sample that stands alone in its minute, as in a log of one value a minute, stands for that minute.
"""

from array import array
from bisect import bisect_left
from dataclasses import dataclass

from benchctl.assessment.spans import BAD, EPSILON_S, GOOD, UNKNOWN, Breaks, Run, Samples, mark
from benchctl.assessment.trail import NAN, Trail

MINUTE_S = 60.0


@dataclass(slots=True)
class Minutes:
    """samples: of each scan the minute that begins with it; next: the scan that begins the minute after it."""

    samples: Samples
    ends_s: "array[float]"
    next: "array[int]"
    scans: bytearray  # marks of the scans themselves


def minutes(trail: Trail, scans: Samples, low: float | None, high: float | None, gap_s: float) -> Minutes:
    """The minute from every scan on: its mean, its end, and whether it is in limits."""
    t_s, count = scans.begins_s, len(scans)
    sums, known = [0.0], [0]
    for value, how in zip(scans.values, scans.marks, strict=True):
        sums.append(sums[-1] + (0.0 if how == UNKNOWN else value))
        known.append(known[-1] + (how != UNKNOWN))
    means, ends_s, following = array("d"), array("d"), array("l")
    for k in range(count):
        stop = max(k + 1, bisect_left(t_s, t_s[k] + MINUTE_S - EPSILON_S, k))
        whole = stop < count or _apart_s(t_s, k) >= MINUTE_S - EPSILON_S
        there = known[stop] - known[k]
        means.append((sums[stop] - sums[k]) / there if there else NAN)
        ends_s.append(t_s[k] + MINUTE_S if whole else t_s[stop - 1])
        following.append(stop)
    marks = mark(means, low, high)
    for k in range(count):
        part = known[following[k]] - known[k] < following[k] - k or len(trail.holes) > 0
        if part and _hidden_s(trail, scans, k, following[k], ends_s[k]) > gap_s + EPSILON_S:
            marks[k] = UNKNOWN
    return Minutes(Samples(t_s, t_s, means, marks), ends_s, following, scans.marks)


def runs(made: Minutes, trail: Trail, gap_s: float, *, proven: bool) -> list[Run]:
    """For each scan that a time may begin with, how long minutes in limits follow each other from there.

    proven: only minutes that are known to be; else all that are not known to be out of limits.
    """
    breaks, samples, count = Breaks(trail.holes), made.samples, len(made.samples)
    last, to_s = array("l", [-1] * count), array("d", [0.0] * count)
    for k in range(count - 1, -1, -1):
        how = samples.marks[k]
        if how == BAD or (proven and how != GOOD):
            continue
        following = made.next[k]
        last[k], to_s[k] = following - 1, made.ends_s[k]
        if following < count and last[following] >= 0:
            hole = breaks.between(made.ends_s[k], samples.begins_s[following]) if proven else None
            if hole is None or hole.to_s - hole.from_s <= gap_s + EPSILON_S:
                last[k], to_s[k] = last[following], to_s[following]
    endless = not proven and not trail.complete
    found = []
    for k in range(count):
        begins = made.scans[k] == GOOD or (not proven and made.scans[k] == UNKNOWN)
        if last[k] >= 0 and begins:
            open_end = endless and last[k] == count - 1
            found.append(Run(samples.begins_s[k], float("inf") if open_end else to_s[k], k, last[k]))
    return found


def _apart_s(t_s: "array[float]", k: int) -> float:
    """How far apart samples lie at the k-th: one a minute stands for its minute, one of many for its instant."""
    if len(t_s) < 2:
        return 0.0
    return t_s[k] - t_s[k - 1] if k else t_s[1] - t_s[0]


def _hidden_s(trail: Trail, scans: Samples, first: int, stop: int, end_s: float) -> float:
    """The longest time within a minute in which nothing is known."""
    begin_s = before_s = scans.begins_s[first]
    hidden_s = max((min(h.to_s, end_s) - max(h.from_s, begin_s) for h in trail.holes), default=0.0)
    for k in range(first, stop):
        if scans.marks[k] != UNKNOWN:
            if k > first and scans.marks[k - 1] == UNKNOWN:
                hidden_s = max(hidden_s, scans.begins_s[k] - before_s)
            before_s = scans.begins_s[k]
    if scans.marks[stop - 1] == UNKNOWN:
        hidden_s = max(hidden_s, end_s - before_s)
    return hidden_s
