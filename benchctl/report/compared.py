"""Figures of a run that can be set beside those of another: the same source over the years.

Recovery here is the time from the order to the last sample outside of a band around rated, ±1 % for hertz and ±2.5 %
for volts; it is as coarse as the meter's new values, and is for comparing runs with each other, not for a verdict.
"""

import math
from array import array
from dataclasses import dataclass
from pathlib import Path

from benchctl.assessment.figures import figures
from benchctl.assessment.trail import Change, Trail
from benchctl.core.readings import BY_NAME
from benchctl.record.reader import Reader
from benchctl.record.trail import trail

BANDS = {"hertz": 1.0, "volts": 2.5}
AFTER_S = 15.0
STEP_PERCENT = 5.0  # changes are the same when both their ends round to the same multiple of this
LARGE_PERCENT = 10.0  # smaller changes are not set beside each other
GAUGES = (("coolant_c", max), ("oil_kpa", min), ("battery_v", min), ("exhaust_stack_c", max), ("room_c", max))


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a run. worse: +1 when more is worse, -1 when less is, 0 when neither."""

    name: str
    unit: str
    value: float | None
    worse: int = 0


@dataclass(frozen=True, slots=True)
class Compared:
    """A run in figures, in the order in which they are told."""

    run: str
    path: str
    began: str
    kind: str
    program: str
    outcome: str
    site: str
    source: str
    serial: str
    figures: tuple[Figure, ...]


def compared(path: Path) -> Compared:
    """Read a run. Raises RecordFault."""
    with Reader(path) as reader:
        found = trail(reader)
        plate, end = reader.settings.site.nameplate, reader.end
        hottest = [c for (c,) in reader.columns("hottest_c") if c is not None]
        return Compared(
            path.stem,
            str(path),
            found.began,
            reader.meta.get("kind", ""),
            reader.meta.get("program", ""),
            end.outcome if end else reader.condition,
            reader.meta.get("site", ""),
            plate.name,
            plate.serial,
            (*_whole(found), *_gauges(found, max(hottest, default=None)), *_changes(found)),
        )


def _whole(found: Trail) -> list[Figure]:
    told = [Figure(w.name, w.unit, w.value) for w in figures(found)]
    energy = next((f.value for f in told if f.name == "energy"), None)
    for name in ("fuel by table", "fuel by readings"):
        litres = next((f.value for f in told if f.name == name), None)
        if litres is not None and energy and name != "fuel by table":
            told.append(Figure(f"{name}, each kWh", "L/kWh", litres / energy, 1))
    hold = max((s for s in found.stretches if s.kind == "hold"), key=lambda s: s.target_kw or 0.0, default=None)
    if hold is not None:
        for name, unit, column in (("volts", "V", found.volts_v), ("hertz", "Hz", found.hertz)):
            seen = _between(found, column, hold.from_s + AFTER_S, hold.to_s)
            told.append(Figure(f"mean {name} at the highest hold", unit, sum(seen) / len(seen) if seen else None))
            told.append(Figure(f"width of {name} there", unit, max(seen) - min(seen) if seen else None, 1))
    return told


def _gauges(found: Trail, hottest_c: float | None) -> list[Figure]:
    told = [Figure("hottest exhaust of the units", "°C", hottest_c, 1)]
    for name, worst in GAUGES:
        values = [dict(n.values)[name] for n in found.noted if not n.corrected and name in dict(n.values)]
        values += [v for log in found.logged if log.name == name for v in log.values if not math.isnan(v)]
        gauge, which = BY_NAME[name], "highest" if worst is max else "lowest"
        if values:
            told.append(Figure(f"{which} {gauge.text}", gauge.unit, worst(values), 1 if worst is max else -1))
    return told


def _between(found: Trail, column: "array[float]", from_s: float, to_s: float) -> list[float]:
    return [v for t, v in zip(found.t_s, column, strict=False) if from_s <= t < to_s and not math.isnan(v)]


def _changes(found: Trail) -> list[Figure]:
    told: list[Figure] = []
    seen: dict[str, int] = {}
    for i, change in enumerate(found.changes):
        ends = [100.0 * kw / found.nameplate_kw for kw in (change.from_kw, change.to_kw)]
        if any(math.isnan(p) for p in ends) or abs(ends[1] - ends[0]) < LARGE_PERCENT:
            continue
        a, b = (round(p / STEP_PERCENT) * STEP_PERCENT for p in ends)
        name = f"{a:.0f} → {b:.0f} %"
        seen[name] = seen.get(name, 0) + 1
        name += f" (no. {seen[name]})" if seen[name] > 1 else ""
        later = [c.at_s for c in found.changes[i + 1 :]]
        until_s = min([change.at_s + AFTER_S, *later])
        told += _change(found, change, until_s, name)
    return told


def _change(found: Trail, change: Change, until_s: float, name: str) -> list[Figure]:
    told = []
    rise = change.to_kw < change.from_kw
    for what, column, rated in (("hertz", found.hertz, found.rated_hz), ("volts", found.volts_v, found.rated_v)):
        values = _between(found, column, change.at_s, until_s)
        extreme = (max(values) if rise else min(values)) if values else None
        percent = None if extreme is None else 100.0 * (extreme - rated) / rated
        told.append(Figure(f"{name}: {what} off rated", "%", percent, 1 if rise else -1))
        told.append(Figure(f"{name}: {what} back after", "s", _back_s(found, column, rated, change, until_s, what), 1))
    return told


def _back_s(
    found: Trail, column: "array[float]", rated: float, change: Change, until_s: float, what: str
) -> float | None:
    """From the order to the first sample after the last one outside; None when it is not known or not back."""
    limit = rated * BANDS[what] / 100.0
    back_s: float | None = 0.0
    for t, v in zip(found.t_s, column, strict=False):
        if not change.at_s <= t < until_s:
            continue
        if math.isnan(v):
            return None
        if abs(v - rated) > limit:
            back_s = None
        elif back_s is None:
            back_s = t - change.at_s
    return back_s
