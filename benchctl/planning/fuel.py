"""Fuel for a plan: a generic table of diesel sets, an estimate for filling the tank, no promise of this set."""

import math

from benchctl.core.program import Program
from benchctl.core.site import Site
from benchctl.electrical.fuel import LITRES_PER_HOUR, litres_per_hour
from benchctl.planning.chain import besides_kw
from benchctl.planning.plan import PlannedLeg

MOST_SHARE = 1.25  # of the rating: beyond it the table is silent


def litres(site: Site, program: Program, legs: tuple[PlannedLeg, ...]) -> float | None:
    """Litres over the program's time, or None for sources and loads that the table says nothing of.

    Ramps burn as at the mean of their load. Waits are no program time and do not count.
    """
    plate = site.nameplate
    if plate.kind != "generating set" or not min(LITRES_PER_HOUR) <= plate.power_kw <= max(LITRES_PER_HOUR):
        return None
    extra_kw = besides_kw(site, program)
    loads = [(leg.mean_kw + extra_kw, leg.length_s / 3600.0) for leg in legs if leg.length_s > 0.0]
    if any(kw > MOST_SHARE * plate.power_kw for kw, _ in loads):
        return None
    return math.fsum(litres_per_hour(plate.power_kw, kw) * hours for kw, hours in loads)
