"""The site as a program finds it: without its own load where people take that off, and what percents of load are of."""

import math
from dataclasses import replace

from benchctl.core.program import Program
from benchctl.core.ruleset import RuleSet
from benchctl.core.site import Site


def present(site: Site, program: Program) -> Site:
    """The site, without its own load where the program asks for that."""
    return replace(site, site_load_reserve_kw=0.0) if program.site_load_off and site.site_load_reserve_kw else site


def base_kw(rules: RuleSet, site: Site) -> float:
    """What the percents of a rule set's duties are of: the nameplate's kW, or what the place leaves of them."""
    plate = site.nameplate
    return plate.derated_kw if rules.of_derated and plate.derated_kw else plate.power_kw


def of_nameplate(rules: RuleSet, site: Site, percent: float) -> float:
    """Percent of the nameplate, as a program counts, for percent as a rule set counts; to four decimals upwards."""
    base, plate_kw = base_kw(rules, site), site.nameplate.power_kw
    return percent if base == plate_kw else math.ceil(1e4 * percent * base / plate_kw - 1e-6) / 1e4


def base_words(rules: RuleSet, site: Site) -> str:
    """What the percents are of, where that needs saying."""
    plate = site.nameplate
    if not rules.of_derated:
        return ""
    if plate.derated_kw is None:
        return "the site file states no derated kW, so percents are of the nameplate"
    share = 100.0 * plate.derated_kw / plate.power_kw
    return (
        f"percents are of the derated {plate.derated_kw:g} kW, {share:.4g} % of the nameplate's {plate.power_kw:g} kW"
    )
