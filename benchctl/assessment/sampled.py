"""The sample base of a rule set: what "not less than" is asked of. Each is made from the columns of the trail.

- every scan: each value by itself;
- logged reading: the values at the readings, each an instant;
- one-minute mean: minutes that follow each other from the first value in limits on; a minute stands for its 60 s, and
  its mean is of the values that are known. A minute of which more than the tolerated gap is not known, is not known.
"""

import math
from array import array
from bisect import bisect_left

from benchctl.assessment.case import Case
from benchctl.assessment.spans import BAD, EPSILON_S, GOOD, UNKNOWN, Samples, doubt, mark
from benchctl.assessment.trail import NAN, Trail
from benchctl.core.ruleset import SampleBase

MINUTE_S = 60.0
LOADED = 0.02  # share of nameplate above which there is load: readings are counted from there


def sampled(case: Case, low_kw: float | None, high_kw: float | None) -> Samples:
    """The samples of kW that a duty is asked of, marked."""
    trail = case.trail
    marks = mark(trail.power_kw, low_kw, high_kw)
    doubt(marks, trail.t_s, trail.doubts)
    scans = Samples(trail.t_s, trail.t_s, trail.power_kw, marks)
    if case.rules.sample_base is SampleBase.READING:
        return _at_readings(case, scans)
    if case.rules.sample_base is SampleBase.MINUTE:
        return _minutes(trail, scans, low_kw, high_kw, case.rules.gap_s)
    return scans


def reading_times(case: Case) -> list[float]:
    """When readings were logged: those that a person took, or else each interval from the first load on."""
    trail = case.trail
    times = sorted(n.at_s for n in trail.noted if not n.corrected)
    if len(times) > 1:
        return times
    least_kw = LOADED * trail.nameplate_kw
    begin_s = next((t for t, kw in zip(trail.t_s, trail.power_kw, strict=True) if kw > least_kw), None)
    if begin_s is None:
        return []
    count = math.floor((trail.t_s[-1] - begin_s) / case.rules.reading_interval_s + EPSILON_S) + 1
    return [begin_s + k * case.rules.reading_interval_s for k in range(count)]


def _at_readings(case: Case, scans: Samples) -> Samples:
    times, values, marks = array("d"), array("d"), bytearray()
    for at_s in reading_times(case):
        k = min(bisect_left(scans.begins_s, at_s - EPSILON_S), len(scans) - 1)
        times.append(scans.begins_s[k])
        values.append(scans.values[k])
        marks.append(scans.marks[k])
    return Samples(times, times, values, marks)


def _minutes(trail: Trail, scans: Samples, low: float | None, high: float | None, gap_s: float) -> Samples:
    t_s, count = scans.begins_s, len(scans)
    sums, known = [0.0], [0]
    for value, how in zip(scans.values, scans.marks, strict=True):
        sums.append(sums[-1] + (0.0 if how == UNKNOWN else value))
        known.append(known[-1] + (how != UNKNOWN))
    made = Samples(array("d"), array("d"), array("d"), bytearray())
    k = 0
    while k < count:
        begin_s, stop = t_s[k], k + 1
        if scans.marks[k] == GOOD:
            stop = bisect_left(t_s, begin_s + MINUTE_S - EPSILON_S, k)
            how, mean = _minute(trail, scans, k, stop, gap_s), (sums[stop] - sums[k]) / (known[stop] - known[k])
            how = mark((mean,), low, high)[0] if how == GOOD else how
        else:
            how, mean = scans.marks[k], scans.values[k]
        if how == GOOD:
            whole = stop < count or _apart_s(t_s, k) >= MINUTE_S - EPSILON_S
            _add(made, begin_s, begin_s + MINUTE_S if whole else t_s[stop - 1], mean, GOOD)
            k = stop
        else:
            _add(made, begin_s, begin_s, mean if how == BAD else NAN, how)
            k += 1
    return made


def _apart_s(t_s: "array[float]", k: int) -> float:
    """How far apart samples lie at the k-th: one a minute stands for its minute, one of many for its instant."""
    if len(t_s) < 2:
        return 0.0
    return t_s[k] - t_s[k - 1] if k else t_s[1] - t_s[0]


def _minute(trail: Trail, scans: Samples, first: int, stop: int, gap_s: float) -> int:
    """GOOD where enough of the minute is known to say anything of its mean, else UNKNOWN."""
    before_s, end_s = scans.begins_s[first], scans.begins_s[first] + MINUTE_S
    hidden_s = max((min(h.to_s, end_s) - max(h.from_s, before_s) for h in trail.holes), default=0.0)
    for k in range(first + 1, stop):
        if scans.marks[k] != UNKNOWN:
            if scans.marks[k - 1] == UNKNOWN:
                hidden_s = max(hidden_s, scans.begins_s[k] - before_s)
            before_s = scans.begins_s[k]
    if scans.marks[stop - 1] == UNKNOWN:
        hidden_s = max(hidden_s, end_s - before_s)
    return GOOD if hidden_s <= gap_s + EPSILON_S else UNKNOWN


def _add(made: Samples, begin_s: float, end_s: float, value: float, how: int) -> None:
    made.begins_s.append(begin_s)
    made.ends_s.append(end_s)
    made.values.append(value)
    made.marks.append(how)
