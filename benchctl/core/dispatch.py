"""Eighth rung: the kW asked for become a load for each unit.

First the level is chosen from what may be loaded now, then the set of stages (`core/choose.py`). Units that do
not answer, or take no orders, keep what they have and count with it; a unit that may not be loaded can only be lowered;
a unit that is off by an interlock gets no load.

What goes off with a unit in the middle of a leg is not given to the others unless the site says so (`when_lost`):
it is taken off the target until the next leg begins, and the alarm says that the target is missed. A rise is
limited by the room under the largest block, which fills up again over the settling time.
"""

from benchctl.core.by_hand import keep
from benchctl.core.checks import trial_list
from benchctl.core.choose import choose
from benchctl.core.decision import Settings
from benchctl.core.levels import load_kw, meet, offer
from benchctl.core.limits import block_kw, ceiling_kw, follow_volts, or_reserve_kw, reckoned_ratio, site_moved, usable
from benchctl.core.offer import Offer
from benchctl.core.profile import Profile
from benchctl.core.program import Rounding
from benchctl.core.seen import Contact, Seen, SeenUnit
from benchctl.core.site import WhenLost
from benchctl.core.state import Mode, State, UnitState


def dispatch(state: State, seen: Seen, settings: Settings, dt_s: float, target_before_kw: float) -> list[int]:
    """The load that each unit is wished to have. Works on the state's volts, site load, room and shortfall."""
    state.settle_s = max(0.0, state.settle_s - dt_s)
    full_block_kw = block_kw(settings)
    state.room_kw = min(full_block_kw, state.room_kw + full_block_kw * dt_s / settings.site.limits.settle_s)
    _note_shortfall(state, seen, settings)
    state.by_hand = state.by_hand and state.mode is Mode.IDLE and not state.dropped
    units = settings.site.units
    if not state.charge or state.dropped:
        return [0] * len(units)
    if state.mode is Mode.CHECK:
        return _trial_loads(state, settings)
    movable = [can_move(state, i, seen) for i in range(len(units))]
    wish = [0 if u.out or not u.joined else u.wanted for u in state.units]
    if state.held:
        return wish
    if state.by_hand:
        return keep(state, seen, settings, wish)
    if state.target_kw != target_before_kw:
        follow_volts(state, seen, settings)
    _follow_site(state, seen, settings)
    ratios = [reckoned_ratio(state, settings, unit.profile) for unit in units]
    fixed_kw = now_kw = 0.0
    for w, s, unit, ratio, free in zip(wish, seen.units, units, ratios, movable, strict=True):
        if w and free:
            now_kw += load_kw(unit.profile, w, ratio)
        elif w:
            fixed_kw += load_kw(unit.profile, w, s.ratio)
    asked_kw = 0.0 if state.mode in (Mode.COOL, Mode.DONE) else chain_target_kw(state, settings)
    target_kw = asked_kw - fixed_kw
    stage_kw = settings.stage_kw
    roof_kw = min(
        ceiling_kw(state, seen, settings) - _held_elsewhere_kw(seen, movable), now_kw + state.room_kw + stage_kw
    )
    target_kw = min(target_kw, now_kw + state.room_kw)
    if asked_kw <= 0.0:
        return [w if _foreign(state, u) else 0 for w, u in zip(wish, state.units, strict=True)]
    if target_kw <= 0.0:  # units that did not answer in this scan carry all that is asked: they keep it
        return [0 if free else w for w, free in zip(wish, movable, strict=True)]
    offers = tuple(
        [
            _offer(state, u, s, unit.profile, ratio) if free else NOTHING
            for u, s, unit, ratio, free in zip(state.units, seen.units, units, ratios, movable, strict=True)
        ]
    )
    chosen = choose(
        offers,
        tuple([w if free else 0 for w, free in zip(wish, movable, strict=True)]),
        target_kw,
        rounding(state, settings),
        ceiling_kw=max(0.0, roof_kw),
        unbalance_percent=settings.site.limits.unbalance_percent,
    )
    return [new if free else w for new, w, free in zip(chosen.loads, wish, movable, strict=True)]


def rounding(state: State, settings: Settings) -> Rounding:
    """The side of the target that a level may fall on now."""
    if state.mode is Mode.UNLOAD:
        return Rounding.AT_MOST
    return settings.program.rounding if settings.program is not None and state.mode is Mode.RUN else Rounding.NEAREST


def chain_target_kw(state: State, settings: Settings) -> float:
    """What the chain is asked for: the target, less the site's own load where the target counts it, trimmed."""
    target_kw = state.target_kw + state.trim_kw - state.short_kw
    if settings.counts_source and state.mode in (Mode.RUN, Mode.UNLOAD):
        target_kw -= state.site_kw
    return max(0.0, target_kw)


def _foreign(state: State, u: UnitState) -> bool:
    """Its load is somebody else's: it is not written against, but an unload takes it off like any other."""
    return u.foreign and state.mode is not Mode.UNLOAD


def can_move(state: State, index: int, seen: Seen) -> bool:
    """True when its load may be changed: a unit that may not be loaded can still be lowered while it takes orders."""
    u, s = state.units[index], seen.units[index]
    if not u.joined or u.out or _foreign(state, u):
        return False
    return s.contact is Contact.FRESH and s.reading.remote is not False


def _offer(state: State, u: UnitState, s: SeenUnit, profile: Profile, ratio: float) -> Offer:
    asked = usable(u, profile)
    if s.unable or state.mode is Mode.UNLOAD:  # what went off in an unload is not made up for
        asked = meet(profile, asked, u.wanted)
    return offer(profile, asked, ratio, u.health)


NOTHING = Offer()


def _held_elsewhere_kw(seen: Seen, movable: list[bool]) -> float:
    """kW that may be closed in units that dispatch cannot move: they count against every limit."""
    return sum([s.possible_kw for s, free in zip(seen.units, movable, strict=True) if not free])


def _follow_site(state: State, seen: Seen, settings: Settings) -> None:
    """Reckon with the site's load as it is, but do not chase it: only in steps of a stage, when nothing else moves."""
    if state.settle_s > 0.0 or not site_moved(state, seen, settings):
        return
    state.site_kw = max(0.0, or_reserve_kw(seen.site_kw, settings))
    state.settle_s = settings.site.limits.settle_s


def _trial_loads(state: State, settings: Settings) -> list[int]:
    check, loads = state.check, [0] * len(settings.site.units)
    if check.index >= 0 and check.step == 1 and state.prompt is None:
        trials = trial_list(settings)
        if check.index < len(trials):
            loads[trials[check.index][0]] = check.load
    return loads


def _note_shortfall(state: State, seen: Seen, settings: Settings) -> None:
    """Load that goes off with a unit in this scan stays off in this leg, unless the others are to take it over."""
    kept_off = settings.site.when_lost is not WhenLost.REDISTRIBUTE
    for u, s, unit in zip(state.units, seen.units, settings.site.units, strict=True):
        if kept_off:
            state.short_kw += s.fell_kw
        if u.wanted and (u.out or not u.joined or (u.lost and s.contact is Contact.LOST)):
            if kept_off or u.lost:
                state.short_kw += load_kw(unit.profile, u.wanted, s.ratio)
            u.wanted = 0
