"""What to set for a minimum: margins for a sag of the volts and for a site load that goes off, where there is room."""

import math

from benchctl.core.levels import best_level_kw, offers_kw
from benchctl.core.program import Rounding
from benchctl.core.ruleset import Duty, RuleSet, Transient, Unbroken
from benchctl.core.site import Site
from benchctl.planning.chain import fans_kw, limit_kw, meters_site, offers_at
from benchctl.planning.margins import SAG_PERCENT, corrects_for_volts, sag_factor

PRIME = "PRP"  # may be above 100 % for 1 h in 12 h only (ISO 8528-1, second hand): no margin for a sag there


def set_percent(site: Site, least: float | None, most: float | None, fall: float = 0.0) -> float:
    """Percent of nameplate to set for a minimum: with the margins where there is room for them, never above most.

    fall: percent by which the source may fall for a moment.
    """
    if least is None:
        return 0.95 * (most or 0.0)
    if most is not None:
        return min(with_margin(site, least), (least + most) / 2.0)
    level = with_margin(site, least)
    for better in (level + fall, level):
        if better <= room_percent(site) and _has_stages(site, better):
            return round(better, 2)
    return least


def with_margin(site: Site, least: float) -> float:
    """Percent that still gives so many percent when volts sag by 2 %: P / (1 - s)², to two decimals upwards."""
    factor = 1.0 if corrects_for_volts(site) else sag_factor(SAG_PERCENT)
    return math.ceil(100.0 * least / factor - 1e-9) / 100.0


def alone(rules: RuleSet, site: Site) -> bool:
    """Whether the chain alone carries every minimum, so that a site load that goes off takes nothing from it."""
    asked = [r.at_least_percent or 0.0 for r in rules.rules if isinstance(r, (Duty, Unbroken))]
    if not asked or site.site_load_reserve_kw <= 0.0 or any(isinstance(r, Transient) for r in rules.rules):
        return False
    if any(isinstance(r, Duty) and r.at_most_percent is not None for r in rules.rules):
        return False
    on_top_kw = site.site_load_reserve_kw + fans_kw(site)
    most_kw = with_margin(site, max(asked)) * site.nameplate.power_kw / 100.0
    return most_kw + on_top_kw <= limit_kw(site) and most_kw <= offers_kw(offers_at(site))


def fall_percent(site: Site) -> float:
    """By how much the source falls when the site's own load goes off, to two decimals upwards."""
    share = 100.0 * site.site_load_reserve_kw / site.nameplate.power_kw if meters_site(site) else 0.0
    return math.ceil(100.0 * share - 1e-9) / 100.0


def _has_stages(site: Site, level: float) -> bool:
    """Whether the stages have a level at or above it, below the source's upper limit."""
    own_kw = site.site_load_reserve_kw if meters_site(site) else 0.0
    asked_kw = max(0.0, level * site.nameplate.power_kw / 100.0 - own_kw)
    given_kw = best_level_kw(offers_at(site), asked_kw, Rounding.AT_LEAST, limit_kw(site) - own_kw)
    return given_kw >= asked_kw - 1e-6


def room_percent(site: Site) -> float:
    """The most that the source may carry here: its upper limit, and what the units give with the site's own load."""
    given_kw = math.fsum(offer.full_kw for offer in offers_at(site))
    given_kw += site.site_load_reserve_kw if meters_site(site) else 0.0
    upper = 100.0 if site.nameplate.rating_class == PRIME else site.limits.upper_percent
    return min(upper, 100.0 * given_kw / site.nameplate.power_kw)


def reasons(site: Site, rule: Duty | Unbroken, level: float) -> list[str]:
    """What the margin is, or why there is none, in words."""
    least = rule.at_least_percent
    if least is None or level < least or corrects_for_volts(site):
        return []
    exact = least / sag_factor(SAG_PERCENT)
    if level <= least:
        room = room_percent(site)
        return [
            f"No room for the {exact:.2f} % that a sag of {SAG_PERCENT:g} % asks for: {room:.1f} % is the most here."
        ]
    gives = level * sag_factor(SAG_PERCENT)
    formula = f"{least:g} / (1 - {SAG_PERCENT / 100:g})² = {exact:.2f} %"
    if level > with_margin(site, least) + 1e-6:
        fall = f"{fall_percent(site):g} % more stand here, because the site's own load may go off"
        return [f"{least:g} % with volts {SAG_PERCENT:g} % low needs {formula}; {fall}."]
    return [f"{least:g} % with volts {SAG_PERCENT:g} % low needs {formula}; {level:g} % then gives {gives:.2f} %."]
