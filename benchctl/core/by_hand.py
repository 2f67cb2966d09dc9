"""Load by hand: when it is possible, and single stages that are switched one at a time.

A switched stage is asked for in the scan of its command and never again: what is asked stands in `SeenUnit.switched`,
which is gone with the scan. From then on, while `State.by_hand`, nothing is chosen: what is on is kept as it stands,
what goes off stays off, and the target is no more than what is wanted. The next load, program, unload or drop ends it.
"""

from benchctl.core.command import Command
from benchctl.core.course import release
from benchctl.core.decision import Settings
from benchctl.core.levels import join, load_kw, lowers
from benchctl.core.limits import ceiling_kw, follow_volts, reckoned_ratio, usable
from benchctl.core.profile import Profile
from benchctl.core.seen import Seen
from benchctl.core.state import Mode, State

FOUND = "load is on that this session did not start: adopt, unload or drop it first"
_STEP_NOISE = 1e-6  # of a step: noise of a typed kW over the resolution


def not_by_hand(state: State) -> str:
    """Why nobody may ask for a load by hand now; empty when one may."""
    if not state.charge:
        return "nobody has taken charge"
    if state.trip is not None or state.dropped:
        return "a trip is latched: reset it first"
    if any(u.found for u in state.units):
        return FOUND
    return "" if state.mode in (Mode.IDLE, Mode.COOL, Mode.DONE) else "a program runs"


def switch(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    """Switch one stage, or write one set point; without a unit: keep what is on, and run the fans of all units.

    Returns a refusal or nothing. A closing is refused here where the guard would take it back, so that it is told.
    """
    refusal = not_by_hand(state)
    if not refusal and command.unit is None and (command.text or command.value is not None):
        return "say which unit"
    if not refusal and command.unit is not None:
        refusal = _switch(state, command, command.unit, seen, settings)
    if refusal:
        return refusal
    release(state, seen, settings)
    follow_volts(state, seen, settings)  # the target shall mean the stages that are on, at the volts present
    state.mode, state.outcome, state.by_hand = Mode.IDLE, "", True
    return ""


def keep(state: State, seen: Seen, settings: Settings, wish: list[int]) -> list[int]:
    """The wish as it stands, with what was switched in this scan. Works on the target and the shortfall."""
    loads = [w if s.switched is None else s.switched for w, s in zip(wish, seen.units, strict=True)]
    state.short_kw = 0.0
    state.target_kw = sum(
        [
            load_kw(unit.profile, load, reckoned_ratio(state, settings, unit.profile))
            for load, unit in zip(loads, settings.site.units, strict=True)
            if load
        ]
    )
    return loads


def _switch(state: State, command: Command, index: int, seen: Seen, settings: Settings) -> str:
    u, s, profile = state.units[index], seen.units[index], settings.site.units[index].profile
    present = u.wanted if s.switched is None else s.switched
    asked = _asked(command, present, profile)
    if isinstance(asked, str):
        return asked
    if asked == present:
        return "that is ordered already"
    if not lowers(profile, asked, present):
        refusal = s.unable or _not_now(state, seen, settings, index, asked)
        if refusal:
            return refusal
    elif not u.joined or s.reading.remote is False:
        return "it takes no orders from us"
    s.switched = asked
    return ""


def _asked(command: Command, present: int, profile: Profile) -> int | str:
    """The load that is asked of a unit, or what is wrong with the asking."""
    value = command.value
    if profile.setpoint:
        most_kw, step_kw = profile.setpoint.maximum_kw, profile.setpoint.resolution_kw
        steps = value / step_kw if value is not None and 0.0 <= value <= most_kw else -1.0
        if command.text or steps < 0.0 or abs(steps - round(steps)) > _STEP_NOISE:
            return f"say a set point from 0 to {most_kw:g} kW in steps of {step_kw:g} kW"
        return min(round(steps), profile.full_load)
    names = [stage.name for stage in profile.stages]
    if command.text not in names:
        return f"say which stage: {', '.join(names)}"
    if value not in (0.0, 1.0):
        return "say 1 to close the stage, 0 to open it"
    bit = 1 << names.index(command.text)
    return present | bit if value else present & ~bit


def _not_now(state: State, seen: Seen, settings: Settings, index: int, asked: int) -> str:
    """Why a unit that may be loaded does not get more in this scan, with everything counted that may be closed."""
    u, profile = state.units[index], settings.site.units[index].profile
    if u.follow_s > 0.0 or seen.units[index].load != u.wanted:
        return "what was asked of it before is not read back yet"
    if not lowers(profile, asked, join(profile, u.wanted, usable(u, profile))):
        return "it did not follow, or draws nothing: reset it first"
    limit_kw, room_kw, total_kw = ceiling_kw(state, seen, settings), state.room_kw + settings.stage_kw, 0.0
    for i, (w, s, unit) in enumerate(zip(state.units, seen.units, settings.site.units, strict=True)):
        load = asked if i == index else w.wanted if s.switched is None else s.switched
        total_kw += load_kw(unit.profile, join(unit.profile, w.possible, load), s.ratio)
    if total_kw > limit_kw:
        return f"above the limit of {limit_kw:.0f} kW"
    if total_kw - seen.possible_kw > room_kw:
        return f"the largest block leaves room for {room_kw:.0f} kW now"
    return ""
