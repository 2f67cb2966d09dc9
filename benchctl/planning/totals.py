"""Sums over the planned legs: time, energy, peak, levels, average in the rating class's sense, fuel."""

import math

from benchctl.core.legs import LegKind
from benchctl.core.levels import level_count, smallest_kw
from benchctl.core.program import Program
from benchctl.core.site import Site
from benchctl.planning.chain import Chain, besides_kw, volts_ratio
from benchctl.planning.fuel import litres
from benchctl.planning.plan import PlannedLeg, Totals

AVERAGED = ("ESP", "PRP")  # classes whose load varies and whose average is limited (ISO 8528-1; second hand)
COUNTED_AS_PERCENT = 30.0  # less than this counts as this (from memory)
AVERAGE_S = 4.0  # of each of a trial's three readings (before, on, after), with the meter's refresh


def average_percent(site: Site, program: Program, legs: tuple[PlannedLeg, ...]) -> float | None:
    """Average load in percent of the nameplate, less than 30 % counted as 30 %; None when no time passes.

    Ramps count by the mean of their ends. Stopped time does not count.
    """
    if site.nameplate.rating_class not in AVERAGED:
        return None
    time_s = math.fsum(leg.length_s for leg in legs)
    if time_s <= 0.0:
        return None
    floor_kw = site.nameplate.power_kw * COUNTED_AS_PERCENT / 100.0
    extra_kw = besides_kw(site, program)
    loaded = math.fsum(max(floor_kw, leg.mean_kw + extra_kw) * leg.length_s for leg in legs)
    return 100.0 * loaded / time_s / site.nameplate.power_kw


def before_s(site: Site, program: Program) -> float:
    """Usual time from the first fan to the begin of program time, in seconds: fans, check load, stage check."""
    if not site.units:
        return 0.0
    fans_s = (len(site.units) - 1) * site.limits.fan_start_gap_s + max(u.profile.fan.proof_s for u in site.units)
    checks_s = 0.0
    for unit in site.units:
        trials = int(program.check_load) + (len(unit.profile.stages) if program.stage_check else 0)
        checks_s += trials * 3.0 * (unit.profile.follow_s + AVERAGE_S)
    return fans_s + checks_s


def cooldown_s(site: Site, program: Program) -> float:
    """Least time from the last load to the end in seconds: the units' minimum, the source at no load if asked."""
    units_s = max((u.profile.cooldown.minimum_s for u in site.units), default=0.0)
    return max(units_s, program.source_cooldown_s or 0.0)


def readings(program: Program, legs: tuple[PlannedLeg, ...], length_s: float) -> int:
    """Readings at t = 0, at each whole interval, at the end; those round each change come on top."""
    if not legs or program.reading_interval_s <= 0.0:
        return 0
    return math.floor(length_s / program.reading_interval_s + 1e-9) + 1


def totals(site: Site, program: Program, legs: tuple[PlannedLeg, ...], chain: Chain) -> Totals:
    """All sums of a plan."""
    length_s = math.fsum(leg.length_s for leg in legs)
    peak_kw = max((leg.asked_kw for leg in legs), default=0.0)
    asked = {round(leg.asked_kw, 3) for leg in legs}
    if legs and legs[0].kind is LegKind.RAMP:
        asked.add(0.0)
    smallest = min((smallest_kw(u.profile, volts_ratio(site.nameplate, u.profile)) for u in site.units), default=0.0)
    return Totals(
        length_s=length_s,
        before_s=before_s(site, program),
        wait_s=math.fsum(leg.wait_s for leg in legs),
        cooldown_s=cooldown_s(site, program),
        peak_kw=peak_kw,
        peak_source_kw=max((leg.level.source_kw for leg in legs), default=0.0),
        energy_kwh=math.fsum(leg.energy_kwh for leg in legs),
        given_kwh=math.fsum(leg.given_kwh for leg in legs),
        levels=len(asked),
        chain_levels=level_count(chain.offers),
        smallest_kw=smallest,
        changes=sum(1 for leg in legs if leg.change_kw != 0.0),
        average_percent=average_percent(site, program, legs),
        fuel_litres=litres(site, program, legs),
        readings=readings(program, legs, length_s),
    )
