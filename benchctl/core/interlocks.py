"""Fifth rung: what standing alarms do. A trip latches with its first cause; nothing here ever adds load.

| reaction | what happens                                                                                  |
|----------|-----------------------------------------------------------------------------------------------|
| hold     | the program stands at what is read back, the operator is asked                                  |
| unit off | that unit's stages open; the program goes on with the others                                    |
| unload   | all load off in a few seconds, then cool-down; latched                                          |
| drop     | everything off at once; latched                                                                 |
"""

from benchctl.core.alarms import reaction_of
from benchctl.core.course import take_found
from benchctl.core.decision import Event, Settings
from benchctl.core.profile import Reaction
from benchctl.core.prompts import ask
from benchctl.core.seen import Seen
from benchctl.core.site import WhenLost
from benchctl.core.state import Alarm, Mode, State, Trip


def interlocks(state: State, seen: Seen, settings: Settings, events: list[Event]) -> None:
    """Apply the reaction of every alarm that is active or latched. Works on `state`."""
    for u in state.units:
        u.out = False
    for (key, unit), alarm in sorted(state.alarms.items(), key=lambda item: item[1].order):
        if not (alarm.active or alarm.latched):
            continue
        reaction = reaction_of(key, unit, settings)
        if reaction is Reaction.HOLD:
            if alarm.active and not alarm.acknowledged:
                hold(state, alarm.text, events)
        elif reaction is Reaction.UNIT_OFF:
            state.units[unit].out = True
        elif reaction is Reaction.UNLOAD:
            _trip(state, alarm, seen, settings, events, drop=False)
        elif reaction is Reaction.DROP:
            _trip(state, alarm, seen, settings, events, drop=True)
        if key == "emergency stop" and alarm.active:
            state.units[unit].fan_withdrawn = True
        if key == "unit lost" and alarm.active and not alarm.acknowledged:
            _when_lost(state, seen, settings, alarm, events)
    _hold_checks(state, seen, events)
    if state.held:  # asked until it is answered, whatever other question was open first
        ask(state, settings, "held", f"{state.held}. Go on?", events)


def hold(state: State, why: str, events: list[Event]) -> None:
    """Hold the program, or a load by hand, where it is; what is on stays on."""
    by_hand = state.mode is Mode.IDLE and state.target_kw > 0.0
    if (state.mode is Mode.RUN or by_hand) and not state.held:
        state.held = why
        events.append(Event("held", f"{'load' if by_hand else 'program'} held: {why}"))


def _hold_checks(state: State, seen: Seen, events: list[Event]) -> None:
    """Checks have their own answer to whatever a unit does, but none to a time in which nobody looked."""
    if seen.gap_s > 0.0 and state.mode is Mode.CHECK and not state.held:
        state.held = f"{seen.gap_s:.0f} s not observed"
        events.append(Event("held", f"checks held: {state.held}"))


def _when_lost(state: State, seen: Seen, settings: Settings, alarm: Alarm, events: list[Event]) -> None:
    """A lost unit: keep the rest, unload all, or let the others take over once its own watchdog must have acted."""
    if state.mode is not Mode.RUN:
        return
    policy = settings.site.when_lost
    if policy is WhenLost.UNLOAD:
        _trip(state, alarm, seen, settings, events, drop=False)
    elif policy is WhenLost.REDISTRIBUTE and not state.redistributed and _seen_gone(state, seen, settings, alarm.unit):
        state.redistributed = True
        state.units[alarm.unit].possible = 0
        state.short_kw = 0.0
        events.append(Event("redistribute", "its load is seen gone: the others take its share", alarm.unit))


def _seen_gone(state: State, seen: Seen, settings: Settings, unit: int) -> bool:
    """The unit's watchdog time has passed, and a meter that is not the unit's own shows that its kW are gone."""
    watchdog = settings.site.units[unit].profile.watchdog
    u, s = state.units[unit], seen.units[unit]
    if watchdog is None or u.age_s < watchdog.time_s + 2.0 or s.possible_kw <= 0.0:
        return False
    if seen.delivered_from == "units" or seen.delivered_kw is None:
        return False
    return seen.delivered_kw < seen.possible_kw - 0.7 * s.possible_kw


def _trip(state: State, alarm: Alarm, seen: Seen, settings: Settings, events: list[Event], *, drop: bool) -> None:
    legs = settings.legs
    if state.trip is None:
        segment = legs[min(state.leg, len(legs) - 1)].segment if legs and state.mode is Mode.RUN else 0
        state.trip = Trip(alarm.row, alarm.unit, alarm.text, segment, state.program_s)
        events.append(Event("trip", alarm.text, alarm.unit, data=(("row", alarm.row), ("segment", segment))))
        state.outcome = "tripped"
    state.prompt = None
    state.held = ""
    if drop:
        state.dropped = state.dropped or bool(state.charge)  # who has not taken charge writes nothing
        state.target_kw = 0.0
        state.mode = state.mode if state.mode is Mode.DONE else Mode.COOL
    elif take_found(state, seen, settings, to_unload=True) or state.mode not in (Mode.UNLOAD, Mode.COOL, Mode.DONE):
        state.mode, state.unload_fast, state.unload_s = Mode.UNLOAD, True, 0.0
