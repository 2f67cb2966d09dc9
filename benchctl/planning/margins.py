"""Margins: what a sag of the volts takes away, and what remains without the smallest unit.

A resistive load follows the square of the volts (P = U²/R), so at a sag of s the setting P delivers P (1 - s)², and P
is delivered by the setting P / (1 - s)². Units that correct for volts themselves hold their part of the load; the
proposal for a mixed chain counts all as resistors and so stands on the safe side.
"""

from benchctl.core import levels
from benchctl.core.site import Site
from benchctl.planning.chain import Chain, offers_at
from benchctl.planning.plan import Loss, Margin, PlannedLeg

SAG_PERCENT = 2.0  # planned for; common practice, no source


def corrects_for_volts(site: Site) -> bool:
    """True when every unit holds its kW by itself whatever the volts are."""
    return bool(site.units) and all(u.profile.setpoint is not None and u.profile.setpoint.actual for u in site.units)


def sag_factor(sag_percent: float) -> float:
    """Share of its kW that a resistor keeps when volts sag by a percentage: (1 - s)²."""
    return (1.0 - sag_percent / 100.0) ** 2


def margins(site: Site, legs: tuple[PlannedLeg, ...], sag_percent: float = SAG_PERCENT) -> tuple[Margin, ...]:
    """One row for each different kW above 0 that is asked of the chain, in rising order."""
    factor = 1.0 if corrects_for_volts(site) else sag_factor(sag_percent)
    at_sag_kw = levels.offers_kw(offers_at(site, 1.0 - sag_percent / 100.0))
    asked = sorted({leg.asked_kw for leg in legs if leg.asked_kw > 0.0})
    return tuple(Margin(kw, sag_percent, kw * factor, kw / factor, at_sag_kw >= kw - 1e-6) for kw in asked)


def smallest_lost(site: Site, chain: Chain, peak_kw: float) -> Loss | None:
    """What remains without the unit that gives least, or None for a chain of one unit or none."""
    if len(site.units) < 2:
        return None
    kws = [offer.full_kw for offer in chain.offers]
    index = min(range(len(kws)), key=lambda i: kws[i])
    left_kw = chain.available_kw - kws[index]
    return Loss(site.units[index].name, kws[index], left_kw, left_kw >= peak_kw - 1e-6)
