"""The course of a program: how a leg begins, how a held program goes on, what an answer does, how an unload begins.

Commands and the program clock both change the course, in these ways and no others.
"""

from benchctl.core.alarms import acknowledge, reaction_of
from benchctl.core.decision import Settings
from benchctl.core.profile import Reaction
from benchctl.core.state import Mode, State


def begin_leg(state: State) -> None:
    """Set the clocks of a leg that begins."""
    state.leg_s = state.extended_s = state.waited_s = 0.0
    state.phase = 0
    state.waiting = False
    state.from_kw = state.target_kw
    state.short_kw = 0.0


def release(state: State, settings: Settings) -> None:
    """Go on from what is on: the operator has seen why the program was held."""
    state.held = ""
    if state.prompt is not None and state.prompt.kind == "held":
        state.prompt = None
    for u in state.units:
        if u.joined:
            u.foreign = u.fell = False
    for (key, unit), alarm in list(state.alarms.items()):
        if alarm.active and reaction_of(key, unit, settings) is Reaction.HOLD:
            acknowledge(state, key, unit)


def answered(state: State, settings: Settings, *, yes: bool) -> str:
    """Act on the answer to the open prompt; returns a refusal or nothing."""
    assert state.prompt is not None
    kind = state.prompt.kind
    if yes and kind == "check" and not any(o[0] == "check load" for o in state.overrides):
        return "the check load needs an override with a reason first"
    state.prompt = None
    if not yes:
        unload(state, "interrupted")
    elif kind == "held":
        release(state, settings)
    elif kind == "permissives":
        state.check.waited_s = 0.0
    elif kind == "check":
        state.check.index += 1
    else:  # wait, band, loss: the leg goes on
        state.waiting = False
        state.phase = 3
    return ""


def unload(state: State, outcome: str, *, fast: bool = False) -> None:
    """Begin to take load off in steps; what follows is the cool-down, and then the outcome."""
    state.prompt, state.held, state.paused, state.waiting = None, "", False, False
    if state.mode in (Mode.COOL, Mode.DONE) or state.trip is not None:
        return
    if state.mode is not Mode.UNLOAD:
        state.mode, state.unload_s, state.after_unload = Mode.UNLOAD, 0.0, outcome
    state.unload_fast = state.unload_fast or fast
