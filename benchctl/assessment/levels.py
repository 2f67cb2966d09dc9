"""What a quantity settles at with no load and with rated load: means of the last half minute of a steady time."""

import math
from array import array
from bisect import bisect_left
from dataclasses import dataclass
from math import isnan

from benchctl.assessment.case import Case
from benchctl.assessment.spans import EPSILON_S, Samples, doubt, mark, strict

NO_LOAD = 2.0  # percent of nameplate at most
RATED_LOAD = (95.0, 110.0)  # percent of nameplate: what counts as rated load, common practice
OVER_S = 30.0
SETTLE_S = 10.0


@dataclass(frozen=True, slots=True)
class Level:
    """A settled value: the mean of a quantity, and of kW, over length_s up to to_s."""

    value: float
    power_kw: float
    to_s: float
    length_s: float


def loads(case: Case, values: "array[float]") -> tuple[Level, Level] | str:
    """The quantity at no load and at rated load, or why one of them is not known."""
    idle = level(case, values, None, NO_LOAD)
    if idle is None:
        return f"no settled time at no load (at most {NO_LOAD:g} % of nameplate) in which it is known"
    loaded = level(case, values, *RATED_LOAD)
    if loaded is None:
        least, most = RATED_LOAD
        return f"no settled time at rated load ({least:g} to {most:g} % of nameplate) in which it is known"
    return idle, loaded


def level(case: Case, values: "array[float]", low: float | None, high: float | None) -> Level | None:
    """The settled value in the longest time between two loads in percent of nameplate."""
    trail = case.trail
    base_kw = trail.nameplate_kw
    marks = mark(
        trail.power_kw, None if low is None else low * base_kw / 100.0, None if high is None else high * base_kw / 100.0
    )
    doubt(marks, trail.t_s, trail.doubts)
    runs = strict(Samples(trail.t_s, trail.t_s, trail.power_kw, marks), trail.holes, case.rules.gap_s)
    for run in sorted(runs, key=lambda r: r.length_s, reverse=True):
        begin_s = max(run.to_s - OVER_S, min(run.from_s + SETTLE_S, run.to_s))
        first = bisect_left(trail.t_s, begin_s - EPSILON_S)
        known = [k for k in range(first, run.last + 1) if not isnan(values[k]) and not isnan(trail.power_kw[k])]
        if known:
            power_kw = math.fsum(trail.power_kw[k] for k in known) / len(known)
            value = math.fsum(values[k] for k in known) / len(known)
            return Level(value, power_kw, trail.t_s[known[-1]], trail.t_s[known[-1]] - trail.t_s[known[0]])
    return None
