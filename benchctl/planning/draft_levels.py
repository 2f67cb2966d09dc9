"""What to set for a minimum: margins for a sag of the volts and for a site load that goes off, where there is room."""

import math

from benchctl.core.levels import best_level_kw, offers_kw, smallest_kw
from benchctl.core.limits import DEAD_STAGES
from benchctl.core.program import Rounding
from benchctl.core.ruleset import Duty, RuleSet, Transient, Unbroken
from benchctl.core.site import Site
from benchctl.planning.chain import fans_kw, limit_kw, meters_site, offers_at
from benchctl.planning.margins import SAG_PERCENT, corrects_for_volts, sag_factor
from benchctl.planning.present import base_words, of_nameplate

PRIME = "PRP"  # may be above 100 % for 1 h in 12 h only (ISO 8528-1, second hand): no margin for a sag there


def set_percent(site: Site, least: float | None, most: float | None, fall: float = 0.0) -> float:
    """Percent of nameplate to set for a minimum: with the margins where there is room for them, never above most.

    fall: percent by which the source may fall for a moment.
    """
    if least is None:
        return 0.95 * (most or 0.0)
    if most is not None:
        return min(with_margin(site, least), (least + most) / 2.0)
    level, room = with_margin(site, least), room_percent(site) - slack_percent(site)
    for better in (level + fall, level, math.floor(100.0 * room + 1e-9) / 100.0):
        if least < better <= room and _has_stages(site, better):
            return round(better, 2)
    return least


def slack_percent(site: Site) -> float:
    """What trim needs below the upper limit: it aims a dead band above a minimum, and a stage must fit above that."""
    stage_kw = min((smallest_kw(u.profile) for u in site.units), default=0.0)
    return 100.0 * (DEAD_STAGES + 1.0) * stage_kw / site.nameplate.power_kw


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
    most_kw = with_margin(site, of_nameplate(rules, site, max(asked))) * site.nameplate.power_kw / 100.0
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
    plate = site.nameplate
    upper = 100.0 if plate.rating_class == PRIME else site.limits.upper_percent
    upper *= (plate.derated_kw or plate.power_kw) / plate.power_kw
    return min(upper, 100.0 * given_kw / plate.power_kw)


def reasons(rules: RuleSet, site: Site, rule: Duty | Unbroken, level: float) -> list[str]:
    """What the percents are of, and what the margin is, or why there is none, in words."""
    if rule.at_least_percent is None:
        return []
    least = of_nameplate(rules, site, rule.at_least_percent)
    said = base_words(rules, site)
    derated = [f"{said[0].upper()}{said[1:]}."] if least != rule.at_least_percent else []
    if level < least - 1e-6 or corrects_for_volts(site):
        return derated
    return derated + _margin(site, least, level)


def _margin(site: Site, least: float, level: float) -> list[str]:
    exact = least / sag_factor(SAG_PERCENT)
    if level <= least + 1e-6:
        room = room_percent(site)
        return [
            f"No room for the {exact:.2f} % that a sag of {SAG_PERCENT:g} % asks for: {room:.1f} % is the most here."
        ]
    gives = level * sag_factor(SAG_PERCENT)
    if level < with_margin(site, least) - 1e-6:
        told = (
            f"No room for the {exact:.2f} % that a sag of {SAG_PERCENT:g} % asks for: {room_percent(site):.4g} % is "
            f"the most here, and below it trim needs {slack_percent(site):.2g} %. {level:g} % leave {gives:.2f} % in "
            "such a sag, until trim has made up for it."
        )
        return [told]
    formula = f"{least:g} / (1 - {SAG_PERCENT / 100:g})² = {exact:.2f} %"
    if level > with_margin(site, least) + 1e-6:
        fall = f"{fall_percent(site):g} % more stand here, because the site's own load may go off"
        return [f"{least:g} % with volts {SAG_PERCENT:g} % low needs {formula}; {fall}."]
    return [f"{least:g} % with volts {SAG_PERCENT:g} % low needs {formula}; {level:g} % then gives {gives:.2f} %."]
