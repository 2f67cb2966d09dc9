"""The sample base of a rule set: what "not less than" is asked of. Each is made from the columns of the trail.

- every scan: each value by itself;
- logged reading: the values at the readings, each an instant;
- one-minute mean: minutes that follow each other, see minutes.py.
"""

import math
from array import array
from bisect import bisect_left
from dataclasses import dataclass

from benchctl.assessment.case import Case
from benchctl.assessment.gauged import loaded_span
from benchctl.assessment.minutes import minutes, runs
from benchctl.assessment.spans import EPSILON_S, UNKNOWN, Run, Samples, doubt, lenient, mark, strict
from benchctl.core.ruleset import SampleBase


@dataclass(frozen=True, slots=True)
class Sampled:
    """Samples of kW, marked, and the times that they make: proven, and possible."""

    samples: Samples
    proven: list[Run]
    possible: list[Run]


def sampled(case: Case, low_kw: float | None, high_kw: float | None) -> Sampled:
    """What a duty is asked of. Without a nameplate nothing is known to be a percentage of it."""
    trail, base, gap_s = case.trail, case.rules.sample_base, case.rules.gap_s
    marks = mark(trail.power_kw, low_kw, high_kw)
    doubt(marks, trail.t_s, trail.doubts)
    if not case.base_kw > 0.0:
        marks = bytearray([UNKNOWN]) * len(marks)
    scans = Samples(trail.t_s, trail.t_s, trail.power_kw, marks)
    if base is SampleBase.MINUTE:
        made = minutes(trail, scans, low_kw, high_kw, gap_s)
        proven, possible = (runs(made, trail, gap_s, proven=which) for which in (True, False))
        return Sampled(made.samples, proven, possible)
    if base is SampleBase.READING:
        logged = _at_readings(case, scans)
        return Sampled(logged, strict(logged, (), gap_s), lenient(logged, trail.complete))
    return Sampled(scans, strict(scans, trail.holes, gap_s), lenient(scans, trail.complete))


def reading_times(case: Case) -> list[float]:
    """When readings were logged: those that a person took, or else each interval from the program's first load on."""
    trail = case.trail
    times = sorted(n.at_s for n in trail.noted if not n.corrected)
    if len(times) > 1:
        return times
    span = loaded_span(trail)
    if span is None:
        return []
    begin_s = span[0]
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
