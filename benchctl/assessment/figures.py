"""Figures of a run that no rule asks for but every reader: loads in percent, average, energy, fuel. Each with its sum.

Only what is known counts: energy over holes is not guessed, and how long it is not known is told.
"""

import math
from collections.abc import Iterator
from math import isnan

from benchctl.assessment.case import DERATED, NAMEPLATE
from benchctl.assessment.gauged import gauged, loaded_span
from benchctl.assessment.spans import Breaks
from benchctl.assessment.trail import Trail
from benchctl.assessment.verdict import Input, Working
from benchctl.assessment.words import length
from benchctl.electrical.fuel import litres_per_hour

FLOOR = 30.0  # percent; what is below counts as it in the average of an ESP or PRP set (ISO 8528-1, from memory)
FLOORED = ("ESP", "PRP")
STOPPED = 0.2  # share of rated volts below which the source is stopped
GRAIN_KW = 0.1  # loads are gathered in grains before the fuel table is asked
PLAUSIBLE = 0.4  # share by which fuel read and fuel by table may differ: common practice, no source
LITRES_EACH_KWH = (0.15, 1.0)  # outside of this no diesel set is: common practice, no source
Part = tuple[float, float, float]  # seconds, kW at its begin and end


def figures(trail: Trail) -> tuple[Working, ...]:
    """All that can be worked out, in the order of the report."""
    parts = list(_parts(trail))
    found = [*_loads(trail), *_energy(trail, parts), *_average(trail, parts)]
    return (*found, *_fuel(trail, parts))


def _parts(trail: Trail) -> Iterator[Part]:
    """Times between two known samples that follow each other without a hole."""
    breaks, t_s, power_kw = Breaks(trail.holes), trail.t_s, trail.power_kw
    for k in range(1, len(t_s)):
        before, now = power_kw[k - 1], power_kw[k]
        if not isnan(before) and not isnan(now) and breaks.between(t_s[k - 1], t_s[k]) is None:
            yield t_s[k] - t_s[k - 1], before, now


def _loads(trail: Trail) -> list[Working]:
    known = [(kw, t) for kw, t in zip(trail.power_kw, trail.t_s, strict=True) if not isnan(kw)]
    if not known or not trail.nameplate_kw > 0.0:
        return []
    most_kw, at_s = max(known)
    sample = Input("largest sample", most_kw, "kW", at_s)
    bases = [(NAMEPLATE, trail.nameplate_kw), *([(DERATED, trail.derated_kw)] if trail.derated_kw else [])]
    return [
        Working(
            f"largest load, of {name}", 100.0 * most_kw / kw, "%", f"100 × kW ÷ {name}", (sample, Input(name, kw, "kW"))
        )
        for name, kw in bases
    ]


def _energy(trail: Trail, parts: list[Part]) -> list[Working]:
    if not parts:
        return []
    known_s = math.fsum(seconds for seconds, _, _ in parts)
    kwh = math.fsum((a + b) / 2.0 * seconds for seconds, a, b in parts) / 3600.0
    whole_s = trail.t_s[-1] - trail.t_s[0]
    inputs = (
        Input("known time", known_s, "s"),
        Input("whole time", whole_s, "s"),
        Input("intervals", float(len(parts)), ""),
    )
    formula = "sum of (kW before + kW after) ÷ 2 × time between, over 3600 s each hour"
    note = f"not known for {length(whole_s - known_s)}, nothing is counted there" if whole_s - known_s > 1e-6 else ""
    return [Working("energy", kwh, "kWh", formula, inputs, note=note)]


def _average(trail: Trail, parts: list[Part]) -> list[Working]:
    """The average load in the sense of the rating class: sum(P t) ÷ sum(t) of the time that the source runs."""
    rating = trail.papers.get("rating_class", "").upper()
    if not parts or not trail.nameplate_kw > 0.0:
        return []
    floor_kw = FLOOR * trail.nameplate_kw / 100.0 if rating in FLOORED else -math.inf
    breaks, t_s, power_kw = Breaks(trail.holes), trail.t_s, trail.power_kw
    energy, time_s, lifted_s = [], [], []
    for k in range(1, len(t_s)):
        a, b, seconds = power_kw[k - 1], power_kw[k], t_s[k] - t_s[k - 1]
        stopped = trail.volts_v[k] < STOPPED * trail.rated_v  # NaN: not known to be stopped
        if isnan(a) or isnan(b) or stopped or breaks.between(t_s[k - 1], t_s[k]) is not None:
            continue
        mean_kw = (a + b) / 2.0
        energy.append(max(mean_kw, floor_kw) * seconds)
        time_s.append(seconds)
        if mean_kw < floor_kw:
            lifted_s.append(seconds)
    running_s = math.fsum(time_s)
    if running_s <= 0.0:
        return []
    value = 100.0 * math.fsum(energy) / running_s / trail.nameplate_kw
    inputs = (
        Input("rating class", rating or None),
        Input("running time", running_s, "s"),
        Input(f"of it below {FLOOR:g} %, counted as {FLOOR:g} %", math.fsum(lifted_s), "s"),
        Input("nameplate kW", trail.nameplate_kw, "kW"),
    )
    note = "ISO 8528-1, from memory: below 30 % counts as 30 %, stopped time is left out" if rating in FLOORED else ""
    formula = "100 × sum of kW × time ÷ running time ÷ nameplate kW"
    return [Working("average load", value, "%", formula, inputs, note=note)]


def _fuel(trail: Trail, parts: list[Part]) -> list[Working]:
    if trail.papers.get("source_kind", "generating set") != "generating set" or not parts:
        return []
    table = _fuel_by_table(trail, parts)
    read = _fuel_by_readings(trail, table)
    return [*([table] if table else []), *([read] if read else [])]


def _fuel_by_table(trail: Trail, parts: list[Part], span: tuple[float, float] | None = None) -> Working | None:
    """Litres by the generic table of the trade, the load of each interval in grains of 0.1 kW."""
    grains: dict[int, float] = {}
    if span is not None:
        parts = list(_parts(_cut(trail, *span)))
    for seconds, a, b in parts:
        grain = max(0, round((a + b) / 2.0 / GRAIN_KW))
        grains[grain] = grains.get(grain, 0.0) + seconds
    try:
        litres = math.fsum(
            litres_per_hour(trail.nameplate_kw, grain * GRAIN_KW) * seconds / 3600.0
            for grain, seconds in grains.items()
        )
    except ValueError as fault:
        return Working("fuel by table", None, "L", "the generic table of the trade", note=str(fault))
    kwh = math.fsum((a + b) / 2.0 * s for s, a, b in parts) / 3600.0
    inputs = (Input("nameplate kW", trail.nameplate_kw, "kW"), Input("energy", kwh, "kWh"))
    formula = "sum of L/h at the load × time; L/h from the generic table of the trade, straight between its figures"
    note = "a published generic table (diesel), not this set's own figures; idling is counted, unknown time is not"
    return Working("fuel by table", litres, "L", formula, inputs, note=note)


def _cut(trail: Trail, from_s: float, to_s: float) -> Trail:
    kept = [k for k, t in enumerate(trail.t_s) if from_s <= t <= to_s]
    first, stop = (kept[0], kept[-1] + 1) if kept else (0, 0)
    cut = Trail(trail.began, trail.nameplate_kw, trail.rated_v, trail.rated_hz, holes=trail.holes)
    cut.t_s, cut.power_kw = trail.t_s[first:stop], trail.power_kw[first:stop]
    return cut


def _fuel_by_readings(trail: Trail, table: Working | None) -> Working | None:
    """Litres by the operator's readings of the fuel meter, and whether they can be true."""
    read = gauged(trail, "fuel_l")
    if len(read) < 2 or loaded_span(trail) is None:
        return None
    first, last = read[0], read[-1]
    litres = last.value - first.value
    span_parts = list(_parts(_cut(trail, first.at_s, last.at_s)))
    expected = _fuel_by_table(trail, [], (first.at_s, last.at_s))
    kwh = math.fsum((a + b) / 2.0 * s for s, a, b in span_parts) / 3600.0
    inputs = [
        Input("first reading of the meter", first.value, "L", first.at_s),
        Input("last reading of the meter", last.value, "L", last.at_s),
        Input("energy between", kwh, "kWh"),
    ]
    notes = []
    if litres <= 0.0:
        notes.append("not plausible: the meter did not move forward")
    elif kwh > 0.0 and not LITRES_EACH_KWH[0] <= litres / kwh <= LITRES_EACH_KWH[1]:
        notes.append(f"not plausible: {litres / kwh:.3f} L/kWh")
    if expected is not None and expected.value:
        inputs.append(Input("by table for the same time", expected.value, "L"))
        if abs(litres / expected.value - 1.0) > PLAUSIBLE:
            notes.append(f"{100.0 * litres / expected.value:.0f} % of what the table says for the same time")
    note = "; ".join(notes) or "plausible"
    return Working("fuel by readings", litres, "L", "last − first reading of the fuel meter", tuple(inputs), note=note)
