"""What a unit gives at a site, and what of it does not fit the site's source."""

from benchctl.core.connection import volts_share
from benchctl.core.site import Site, Unit

LITTLE = 0.9  # of a unit's rated volts; below it the loss is told


def volts_ratio(site: Site, unit: Unit) -> float:
    """The source's volts over the unit's rated volts, both between the terminals that the unit is rated for."""
    return site.nameplate.volts * volts_share(site.nameplate, unit.profile) / unit.profile.rated_v


def available_kw(site: Site, unit: Unit) -> float:
    """kW of a unit at the source's nominal volts: P = U²/R, except where the unit corrects for volts itself."""
    profile = unit.profile
    if profile.corrects_volts:
        return profile.rated_kw
    ratio = min(volts_ratio(site, unit), profile.highest_v_ratio)
    return profile.rated_kw * ratio * ratio


def place_warnings(site: Site, unit: Unit) -> list[str]:
    """What of the unit does not fit the source, in words."""
    told = []
    profile, plate = unit.profile, site.nameplate
    ratio = volts_ratio(site, unit)
    if ratio > profile.highest_v_ratio:
        told.append(f"rated {profile.rated_v:g} V, but the source has {plate.volts:g} V: no stage may close")
    elif ratio < LITTLE:
        told.append(
            f"rated {profile.rated_v:g} V on a source of {plate.volts:g} V: "
            f"it gives {100 * ratio * ratio:.0f} % of its rating"
        )
    if profile.phases > len(plate.wiring.phases):
        told.append(f"a {profile.phases}-phase unit on a {plate.wiring.value} source")
    return told
