"""The course of a program: how a leg begins, how a held program goes on, what an answer does, how an unload begins.

Commands and the program clock both change the course, in these ways and no others.
"""

from benchctl.core.alarms import acknowledge, reaction_of
from benchctl.core.decision import Settings
from benchctl.core.levels import load_kw
from benchctl.core.limits import follow_volts, reckoned_ratio
from benchctl.core.profile import Reaction
from benchctl.core.seen import Seen
from benchctl.core.state import Mode, State, UnitState


def begin_leg(state: State) -> None:
    """Set the clocks of a leg that begins. It begins from what the last one left: a ramp down never raises at first."""
    state.leg_s = state.extended_s = state.waited_s = 0.0
    state.phase = 0
    state.waiting = False
    state.from_kw = max(0.0, state.target_kw - state.short_kw)
    state.short_kw = 0.0


def take_found(state: State, seen: Seen, settings: Settings, *, to_unload: bool) -> bool:
    """Make load found on ours as it is read back; the target is then all that is ours. False if there is none.

    Without charge it stays what it is. A unit that does not answer, or is not what its profile says, is not taken: it
    stands outside, and what is on there is ordered open like in every unit that has not joined.
    """
    if not state.charge or state.dropped or not any(u.found for u in state.units):
        return False
    follow_volts(state, seen, settings)  # the target shall mean the stages that are on, at the volts present
    state.target_kw = state.site_kw if to_unload and settings.counts_source else 0.0
    for u, unit in zip(state.units, settings.site.units, strict=True):
        if u.found:
            u.found, u.opening_s, u.joined = False, 0.0, not (u.lost or is_stranger(u))
            u.wanted = u.possible if u.joined else 0
        if u.joined:
            state.target_kw += load_kw(unit.profile, u.wanted, reckoned_ratio(state, settings, unit.profile))
    state.short_kw = state.trim_kw = 0.0
    return True


def is_stranger(u: UnitState) -> bool:
    """It is known not to be the unit that it should be."""
    return u.swapped or u.identified is False


def adopt(state: State, seen: Seen, settings: Settings) -> None:
    """Load found on becomes a load by hand; no program goes on."""
    take_found(state, seen, settings, to_unload=False)
    state.mode, state.outcome, state.paused, state.waiting = Mode.IDLE, "", False, False
    if state.prompt is not None and state.prompt.kind == "found":
        state.prompt = None


def release(state: State, seen: Seen, settings: Settings) -> None:
    """Go on from what is on: the operator has seen why the program was held, but nothing that this scan has found."""
    state.held = ""
    if state.prompt is not None and state.prompt.kind == "held":
        state.prompt = None
    for u, s in zip(state.units, seen.units, strict=True):
        if u.joined:
            u.foreign, u.fell = s.foreign, s.fell
    for (key, unit), alarm in list(state.alarms.items()):
        if alarm.active and reaction_of(key, unit, settings) is Reaction.HOLD:
            acknowledge(state, key, unit)


def answered(state: State, seen: Seen, settings: Settings, *, yes: bool) -> str:
    """Act on the answer to the open prompt; returns a refusal or nothing."""
    assert state.prompt is not None
    kind = state.prompt.kind
    if yes and kind == "check" and not any(o[0] == "check load" for o in state.overrides):
        return "the check load needs an override with a reason first"
    state.prompt = None
    if not yes:
        unload(state, seen, settings, "interrupted")
    elif kind == "held":
        release(state, seen, settings)
    elif kind == "permissives":
        state.check.waited_s = 0.0
    elif kind == "check":
        state.check.index += 1
    else:  # wait, band, loss: the leg goes on
        state.waiting = False
        state.phase = 3
    return ""


def unload(state: State, seen: Seen, settings: Settings, outcome: str, *, fast: bool = False) -> None:
    """Begin to take load off in steps, found load too; what follows is the cool-down, and then the outcome."""
    found = take_found(state, seen, settings, to_unload=True)
    state.prompt, state.held, state.paused, state.waiting = None, "", False, False
    if not found and (state.mode in (Mode.COOL, Mode.DONE) or state.trip is not None):
        return
    if state.mode is not Mode.UNLOAD:
        state.mode, state.unload_s, state.after_unload = Mode.UNLOAD, 0.0, outcome
    state.unload_fast = state.unload_fast or fast
