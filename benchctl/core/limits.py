"""The largest load that the chain may have now, from the source's rating, its own site load and the site's limits."""

from benchctl.core.connection import volts_share
from benchctl.core.decision import Settings
from benchctl.core.profile import Profile
from benchctl.core.seen import Seen
from benchctl.core.state import State, UnitState

DEAD_STAGES = 0.75  # half a band in smallest stages: no dead band or hold band is finer, regulation cannot be
VOLTS_STEP = 0.005  # share by which volts must move before levels are computed anew


def upper_kw(settings: Settings) -> float:
    """The largest kW of the source: the site's upper limit of its nameplate."""
    return settings.site.nameplate.power_kw * settings.site.limits.upper_percent / 100.0


def or_reserve_kw(site_kw: float | None, settings: Settings) -> float:
    """The site's own load: as the meters tell it; where none does the site's reserve, or none if it is to be off."""
    if site_kw is not None:
        return site_kw
    off = settings.program is not None and settings.program.site_load_off
    return 0.0 if off else settings.site.site_load_reserve_kw


def site_kw(state: State, seen: Seen, settings: Settings) -> float:
    """The site's own load that limits reckon with: as it is known, followed slowly where two meters tell it."""
    return or_reserve_kw(None if seen.site_kw is None else state.site_known_kw, settings)


def site_moved(state: State, seen: Seen, settings: Settings) -> bool:
    """The site's load is no longer what the levels are computed with, by more than a dead band."""
    return abs(or_reserve_kw(seen.site_kw, settings) - state.site_kw) > DEAD_STAGES * settings.stage_kw


def ceiling_kw(state: State, seen: Seen, settings: Settings) -> float:
    """What the chain may carry at most now, in kW."""
    return max(0.0, upper_kw(settings) - site_kw(state, seen, settings))


def reckoned_ratio(state: State, settings: Settings, profile: Profile) -> float:
    """Volts over rated volts that levels are computed with at a unit of this type."""
    return volts_ratio(state.volts_v, settings, profile)


def volts_ratio(volts_v: float, settings: Settings, profile: Profile) -> float:
    """Volts of the source over rated volts at a unit of this type."""
    return volts_v * volts_share(settings.site.nameplate, profile) / profile.rated_v


def follow_volts(state: State, seen: Seen, settings: Settings) -> None:
    """Reckon with the volts present from now on."""
    state.volts_v = followed_volts(state, seen, settings)


def followed_volts(state: State, seen: Seen, settings: Settings) -> float:
    """The volts present, but never those of a sag: stages added for it would be too many when it is over."""
    if seen.volts_v is None:
        return state.volts_v
    site = settings.site
    volts = max(seen.volts_v, site.nameplate.volts * (1.0 - site.limits.volts_warn_percent / 100.0))
    return volts if abs(volts / state.volts_v - 1.0) > VOLTS_STEP else state.volts_v


def block_kw(settings: Settings) -> float:
    """The largest block up, in kW."""
    return settings.site.nameplate.power_kw * settings.site.limits.largest_block_up_percent / 100.0


def usable(u: UnitState, profile: Profile) -> int:
    """What of a unit may be asked at all: stages that follow and draw something, or the largest set point in steps."""
    if not u.unclosed and not u.welded and u.health is None:
        return profile.full_load
    if profile.setpoint:
        return 0 if u.unclosed else profile.full_load
    mask = profile.full_load & ~u.unclosed & ~u.welded
    if u.health is not None:
        for i, shares in enumerate(u.health):
            if sum(shares) <= 0.0:
                mask &= ~(1 << i)
    return mask
