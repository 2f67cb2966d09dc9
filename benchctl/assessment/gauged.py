"""Values of one gauge or quantity over time, wherever they are from: typed in, told by an instrument, or a column."""

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from math import isnan

from benchctl.assessment.calm import column
from benchctl.assessment.spans import EPSILON_S
from benchctl.assessment.trail import Trail
from benchctl.core.ruleset import Quantity


@dataclass(frozen=True, slots=True)
class Gauged:
    """One value. typed: by a person; number: of the reading, 0 = an instrument's."""

    at_s: float
    value: float
    typed: bool = False
    number: int = 0


# A name of `core/ruleset.py` MEASURED → the trail's column
COLUMNS: dict[str, Callable[[Trail], "array[float]"]] = {
    "power_kw": lambda trail: trail.power_kw,
    "volts_v": lambda trail: trail.volts_v,
    "hertz": lambda trail: trail.hertz,
    "amps": lambda trail: column(trail, Quantity.AMPS),
}


def gauged(trail: Trail, name: str) -> list[Gauged]:
    """All known values of a name, in their order. Of a corrected reading only the correction counts."""
    if name in COLUMNS:
        values = COLUMNS[name](trail)
        return [Gauged(t_s, value) for t_s, value in zip(trail.t_s, values, strict=True) if not isnan(value)]
    found = [
        Gauged(t_s, value)
        for logged in trail.logged
        if logged.name == name
        for t_s, value in zip(logged.t_s, logged.values, strict=True)
        if not isnan(value)
    ]
    found += [
        Gauged(noted.at_s, value, True, noted.number)
        for noted in trail.noted
        if not noted.corrected
        for of, value in noted.values
        if of == name
    ]
    return sorted(found, key=lambda g: g.at_s)


def times(trail: Trail, name: str) -> list[float]:
    """When values of a name are known, in their order."""
    if name in COLUMNS:
        return [t_s for t_s, value in zip(trail.t_s, COLUMNS[name](trail), strict=True) if not isnan(value)]
    return [one.at_s for one in gauged(trail, name)]


def within(values: list[Gauged], from_s: float, to_s: float) -> list[Gauged]:
    """Those between two times, both included."""
    times = [g.at_s for g in values]
    return values[bisect_left(times, from_s - EPSILON_S) : bisect_right(times, to_s + EPSILON_S)]


def loaded_span(trail: Trail, least_percent: float = 2.0) -> tuple[float, float] | None:
    """From the first to the last sample with load, the check load apart; None when there was none."""
    least_kw = least_percent * trail.nameplate_kw / 100.0
    first = bisect_left(trail.t_s, trail.begins_s)
    loaded = [k for k in range(first, len(trail.t_s)) if trail.power_kw[k] > least_kw]
    return (trail.t_s[loaded[0]], trail.t_s[loaded[-1]]) if loaded else None
