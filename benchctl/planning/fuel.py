"""Fuel for a plan: a generic table of diesel sets, an estimate for filling the tank, no promise of this set."""

import math

from benchctl.core.program import Program
from benchctl.core.site import Site
from benchctl.electrical.fuel import LARGEST_KW, SMALLEST_KW, litres_per_hour
from benchctl.planning.chain import besides_kw
from benchctl.planning.plan import PlannedLeg


def litres(site: Site, program: Program, legs: tuple[PlannedLeg, ...]) -> float | None:
    """Litres over the program's time, or None for sources other than generating sets within the table.

    Ramps burn as at the mean of their load. Waits are no program time and do not count.
    """
    plate = site.nameplate
    if plate.kind != "generating set" or not SMALLEST_KW <= plate.power_kw <= LARGEST_KW:
        return None
    extra_kw = besides_kw(site, program)
    burnt = []
    for leg in legs:
        if leg.length_s > 0.0:
            hours = leg.length_s / 3600.0
            load_kw = leg.energy_kwh / hours + extra_kw
            burnt.append(litres_per_hour(plate.power_kw, load_kw) * hours)
    return math.fsum(burnt)
