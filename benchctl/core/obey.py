"""Second rung: commands. Each verb is a row; a refusal is an event with its reason. Nothing is obeyed late.

UNLOAD and DROP are never refused; most others are those of whoever has charge (`core/charge.py`). Whatever a command
asks, the rungs after this one may only make it safer.
"""

import math
from collections.abc import Callable

from benchctl.core import charge, readings, shelving
from benchctl.core.alarms import acknowledge, unlatch
from benchctl.core.by_hand import FOUND, not_by_hand, switch
from benchctl.core.command import Command, Verb
from benchctl.core.course import adopt, answered, begin_leg, is_stranger, release, unload
from benchctl.core.decision import Event, Settings
from benchctl.core.legs import LegKind
from benchctl.core.limits import ceiling_kw
from benchctl.core.overrides import BY_WHAT
from benchctl.core.seen import Contact, Seen
from benchctl.core.state import CheckState, Mode, State, Trip

OLDEST_S = 2.0
Obey = Callable[[State, Command, Seen, Settings], str]


def obey(
    state: State,
    commands: tuple[Command, ...],
    seen: Seen,
    settings: Settings,
    events: list[Event],
    consoles: tuple[str, ...] = (),
) -> None:
    """Carry out this scan's commands in their order. consoles: those that are attached. Works on `state`."""
    dropping = False
    for command in commands:
        takes_off = command.verb in (Verb.UNLOAD, Verb.DROP)  # never refused, whatever comes with it
        before = state.charge, state.console
        stale = command.age_s > OLDEST_S and not takes_off
        wrong_unit = command.unit is not None and not 0 <= command.unit < len(state.units)
        if stale:
            refusal = f"older than {OLDEST_S:g} s"
        elif wrong_unit and not takes_off:
            refusal = "there is no such unit"
        elif not takes_off and (bar := charge.barred(state, command, consoles)):
            refusal = bar
        elif dropping and command.verb is Verb.RESET:
            refusal = "a drop was asked in this scan"
        else:
            charge.goes_on(state, command)
            refusal = VERBS[command.verb](state, command, seen, settings)
        dropping = dropping or command.verb is Verb.DROP
        unit = -1 if command.unit is None or wrong_unit else command.unit
        said = " ".join(p for p in (command.verb.value, command.text, _value(command), command.why) if p)
        console = (("console", command.console),) if command.console else ()
        if refusal:
            events.append(Event("refused", f"{said}: {refusal}", unit, command.who, (("why", refusal), *console)))
        else:
            events.append(Event("command", said, unit, command.who, console))
            events += [tell(state, command, settings) for verb, tell in TOLD if verb is command.verb]
        events += charge.passed(*before, state, command, consoles)


def _value(command: Command) -> str:
    return "" if command.value is None else f"{command.value:g}"


def _start(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    if settings.program is None:
        return "no program is chosen"
    if not state.charge:
        return "nobody has taken charge"
    if state.trip is not None:
        return "a trip is latched: reset it first"
    if any(u.found for u in state.units):
        return FOUND
    if state.mode not in (Mode.IDLE, Mode.COOL, Mode.DONE) or state.target_kw > 0.0 or seen.loaded:
        return "load is on or a program runs"
    state.mode, state.check = Mode.CHECK, CheckState()
    state.leg = state.phase = 0
    state.reading_number = 1
    state.leg_s = state.from_kw = state.target_kw = state.program_s = state.paused_s = 0.0
    state.waiting = state.paused = state.redistributed = False
    state.waited_s = state.extended_s = state.trim_kw = 0.0
    state.source_cool_s = settings.program.source_cooldown_s or 0.0
    state.held = state.outcome = state.after_unload = ""
    return ""


def _set_load(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    value = command.value
    if value is None or not math.isfinite(value) or value < 0.0:
        return "say a load in kW, 0 or more"
    refusal = not_by_hand(state)
    if refusal:
        return refusal
    limit_kw = ceiling_kw(state, seen, settings)
    if value > limit_kw:
        return f"above the limit of {limit_kw:.0f} kW"
    release(state, seen, settings)
    state.mode, state.outcome = Mode.IDLE, ""
    state.target_kw, state.short_kw, state.by_hand = value, 0.0, False
    return ""


def _pause(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    if state.mode is not Mode.RUN:
        return "no program runs"
    state.paused = True
    return ""


def _resume(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    if not state.held and state.mode is not Mode.RUN:
        return "no program runs"
    if not state.paused and not state.held:
        return "the program is not paused"
    state.paused = False
    release(state, seen, settings)
    return ""


def _extend(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    if command.value is None or not 0.0 < command.value <= 86400.0:
        return "say how many seconds, up to a day"
    leg = settings.legs[state.leg] if state.mode is Mode.RUN and state.leg < len(settings.legs) else None
    if leg is None or leg.kind is not LegKind.HOLD:
        return "no hold runs"
    state.extended_s += command.value
    return ""


def _skip(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    if state.mode is not Mode.RUN:
        return "no program runs"
    if state.leg >= len(settings.legs):
        return "the program is through"
    state.leg += 1
    begin_leg(state)
    state.prompt = None if state.prompt is not None and state.prompt.kind in ("wait", "band", "loss") else state.prompt
    return ""


def _answer(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    if state.prompt is None:
        return "no question is open"
    if command.text not in ("yes", "no"):
        return "answer yes or no"
    yes = command.text == "yes"
    if state.prompt.kind == "found":
        return (_adopt if yes else _unload)(state, command, seen, settings)
    return answered(state, seen, settings, yes=yes)


def _unload(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    if not state.charge and command.who and any(u.possible for u in state.units):
        charge.give(state, command)  # who has load taken off answers for it: the command comes from any shell
    unload(state, seen, settings, "interrupted")
    return ""


def _drop(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    state.dropped, state.target_kw = True, 0.0
    state.prompt, state.held, state.paused = None, "", False
    if state.trip is None:
        segment = settings.legs[min(state.leg, len(settings.legs) - 1)].segment if settings.legs else 0
        state.trip = Trip("drop", -1, f"dropped by {command.who}", segment, state.program_s)
        state.outcome = "dropped"
    state.mode = Mode.COOL
    return ""


def _reset(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    if state.trip is not None and any(u.possible and not u.lost for u in state.units):
        return "load is not read back open yet"
    unlatch(state)
    for u, s in zip(state.units, seen.units, strict=True):
        u.unclosed = s.unclosed  # what this scan has found, nobody has seen yet
        u.missing = u.missing if s.missing else ()
    state.trip, state.dropped = None, False
    state.target_kw = 0.0 if state.mode in (Mode.COOL, Mode.DONE) else state.target_kw
    return ""


def _acknowledge(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    row = None if command.text in ("", "all") else command.text
    return "" if acknowledge(state, row, command.unit) else "nothing to acknowledge"


def _adopt(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    if not state.charge:
        return "nobody has taken charge"
    if not any(u.found for u in state.units):
        return "no load was found on"
    if state.trip is not None:
        return "a trip is latched: reset it first"
    if any(u.found and is_stranger(u) for u in state.units):
        return "a unit with load on is not what its profile says: unload or drop"
    adopt(state, seen, settings)
    return ""


def _check_in(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    return "" if command.who else "say who is there"


def _join(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    if command.unit is None:
        return "say which unit"
    u, s = state.units[command.unit], seen.units[command.unit]
    if not state.charge:
        return "nobody has taken charge"
    if s.contact is not Contact.FRESH or s.load is None:
        return "it does not answer"
    if s.load != 0:
        return "it still has load on"
    if s.reading.remote is False:
        return "it is under its own panel"
    if u.identified is False:
        return "its known values do not read as its profile says"
    if u.swapped and not command.why:
        return "another unit answers in its place: say why that is right"
    if u.swapped:
        u.serial, u.swapped = s.reading.serial or "", False
    u.joined, u.lost, u.emptied, u.wanted = True, False, True, 0
    u.restarted, u.foreign, u.fell, u.unclosed = s.restarted, s.foreign, s.fell, s.unclosed
    return ""


def _override(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    row = BY_WHAT.get(command.text)
    if row is None:
        return f"can be overridden: {', '.join(BY_WHAT)}"
    if not command.why:
        return "an override needs a reason"
    unit = -1
    if row.per_unit:
        if command.unit is None:
            return "say which unit"
        unit = command.unit
        u = state.units[unit]
        if u.possible or seen.units[unit].load != 0:
            return "the unit has load on or does not answer"
        u.owed_s = u.near_s = 0.0
        u.hot = False
    state.overrides = (*state.overrides, (row.what, unit, command.who, command.why))
    return ""


def _confirm_fans(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    if command.unit is None:
        return "say which unit"
    s = seen.units[command.unit]
    if s.contact is not Contact.FRESH or s.reading.emergency_stop is not False:
        return "its emergency stop is still operated, or not known"
    state.units[command.unit].fan_withdrawn = False
    return ""


def _remark(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    return ""


VERBS: dict[Verb, Obey] = {
    Verb.TAKE_CHARGE: charge.take_charge,
    Verb.TAKE_OVER: charge.take_over,
    Verb.START: _start,
    Verb.SET_LOAD: _set_load,
    Verb.SWITCH: switch,
    Verb.PAUSE: _pause,
    Verb.RESUME: _resume,
    Verb.EXTEND: _extend,
    Verb.SKIP: _skip,
    Verb.ANSWER: _answer,
    Verb.UNLOAD: _unload,
    Verb.DROP: _drop,
    Verb.RESET: _reset,
    Verb.ACKNOWLEDGE: _acknowledge,
    Verb.SHELVE: shelving.shelve,
    Verb.ADOPT: _adopt,
    Verb.CHECK_IN: _check_in,
    Verb.JOIN: _join,
    Verb.OVERRIDE: _override,
    Verb.CONFIRM_FANS: _confirm_fans,
    Verb.REMARK: _remark,
    Verb.READING: readings.take,
}
# What is told of a command beside that it was given.
TOLD: tuple[tuple[Verb, Callable[[State, Command, Settings], Event]], ...] = (
    (Verb.READING, readings.told),
    (Verb.SHELVE, shelving.told),
)
