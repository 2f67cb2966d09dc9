"""Seventh rung: trim keeps the delivered or the source's kW at the target, within a stated share of it.

It only lowers while volts or hertz are out of band or the source is near a limit, because P follows V squared and
raising on a sagging source can collapse it. It freezes on a lost unit, an unconfirmed stage and a meter that is stale.
It is off without a meter. For a minimum it aims a dead band higher, so that what it leaves alone is not below. Its
dwell is at least the meter's refresh and the settling time.
"""

from benchctl.core.decision import Settings
from benchctl.core.limits import DEAD_STAGES, site_moved, upper_kw
from benchctl.core.program import Rounding
from benchctl.core.seen import Contact, Seen
from benchctl.core.state import Mode, State

NEAR_LIMIT = 0.98


def trim(state: State, seen: Seen, settings: Settings, dt_s: float) -> None:
    """Move `state.trim_kw` by what is missing, at most once a dwell."""
    program = settings.program
    if program is None or not program.trim or state.mode is not Mode.RUN or state.target_kw <= 0.0:
        state.trim_kw, state.trim_wait_s = 0.0, 0.0
        return
    limits = settings.site.limits
    state.trim_wait_s = max(0.0, state.trim_wait_s - dt_s)
    measured_kw = seen.source_kw if settings.counts_source else seen.delivered_kw
    if measured_kw is None or state.trim_wait_s > 0.0 or _frozen(state, seen):
        return
    if settings.counts_source and site_moved(state, seen, settings):
        return  # dispatch follows the site's load first: both at once would correct it twice
    dead_kw = DEAD_STAGES * settings.stage_kw
    aim_kw = state.target_kw + (dead_kw if program.rounding is Rounding.AT_LEAST else 0.0)
    error_kw = aim_kw - measured_kw
    if abs(error_kw) <= dead_kw:
        return
    if error_kw > 0.0 and not _may_raise(seen, settings):
        return
    authority_kw = state.target_kw * limits.trim_authority_percent / 100.0
    state.trim_kw = max(-authority_kw, min(authority_kw, state.trim_kw + error_kw))
    refresh_s = max((i.refresh_s for i in settings.site.instruments if i.role == "meter"), default=1.0)
    state.trim_wait_s = max(limits.trim_dwell_s, refresh_s + 1.0)


def _frozen(state: State, seen: Seen) -> bool:
    """Something is under way or not known: what the meter says does not belong to what is ordered."""
    if state.settle_s > 0.0 or state.block_s > 0.0 or state.held or state.prompt is not None:
        return True
    return any(
        u.follow_s > 0.0 or (u.possible and (s.contact is not Contact.FRESH or s.load != u.wanted))
        for u, s in zip(state.units, seen.units, strict=True)
    )


def _may_raise(seen: Seen, settings: Settings) -> bool:
    plate, limits = settings.site.nameplate, settings.site.limits
    if seen.volts_v is None or abs(seen.volts_v / plate.volts - 1.0) > limits.volts_warn_percent / 100.0:
        return False
    if seen.hertz is None or abs(seen.hertz / plate.hertz - 1.0) > limits.hertz_warn_percent / 100.0:
        return False
    amps = [a for a in seen.source.amps if a is not None]
    if amps and max(amps) > NEAR_LIMIT * plate.rated_amps * limits.over_current_percent / 100.0:
        return False
    return seen.source_kw is not None and seen.source_kw < NEAR_LIMIT * upper_kw(settings)
