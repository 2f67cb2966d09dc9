"""The largest load that the chain may have now, from the source's rating, its own site load and the site's limits."""

from benchctl.core.decision import Settings
from benchctl.core.levels import full
from benchctl.core.profile import Profile
from benchctl.core.seen import Seen
from benchctl.core.state import State, UnitState


def upper_kw(settings: Settings) -> float:
    """The largest kW of the source: the site's upper limit of its nameplate."""
    return settings.site.nameplate.power_kw * settings.site.limits.upper_percent / 100.0


def site_kw(state: State, seen: Seen, settings: Settings) -> float:
    """The site's own load to reckon with: measured, and never less than nothing; else the reserve of the site file."""
    if seen.site_kw is None:
        return settings.site.site_load_reserve_kw
    return max(0.0, seen.site_kw)


def ceiling_kw(state: State, seen: Seen, settings: Settings) -> float:
    """What the chain may carry at most now, in kW."""
    return max(0.0, upper_kw(settings) - site_kw(state, seen, settings))


def block_kw(settings: Settings) -> float:
    """The largest block up, in kW."""
    return settings.site.nameplate.power_kw * settings.site.limits.largest_block_up_percent / 100.0


def usable(u: UnitState, profile: Profile) -> int:
    """What of a unit may be asked at all: stages that follow and draw something, or the largest set point in steps."""
    if profile.setpoint:
        return 0 if u.unclosed else full(profile)
    mask = full(profile) & ~u.unclosed & ~u.welded
    if u.health is not None:
        for i, shares in enumerate(u.health):
            if sum(shares) <= 0.0:
                mask &= ~(1 << i)
    return mask
