"""Shelving: an alarm that is known and would only be in the way is set aside for a while, after IEC 62682.

Only rows of `core/causes.py` that do no more than tell may be shelved, and of these none that tells of air, heat or
absence. A shelved alarm is evaluated and counted as ever; it is only not shown as active, and never first-out. When its
time is over, or somebody ends it, it is back, and asks for an acknowledgement if it is active.
"""

from dataclasses import replace

from benchctl.core.causes import BY_KEY
from benchctl.core.command import Command
from benchctl.core.decision import Event, Settings
from benchctl.core.seen import Seen
from benchctl.core.state import Shelved, State

LONGEST_S = 8.0 * 3600.0  # a shift: common practice, no source


def shelve(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    """Shelve the alarm of a row and a unit, longer or shorter if it is shelved already; 0 s ends it. A refusal."""
    row = BY_KEY.get(command.text)
    if row is None or not row.shelve:
        return f"can be shelved: {', '.join(key for key, known in BY_KEY.items() if known.shelve)}"
    if row.scope == "unit" and command.unit is None:
        return "say which unit"
    key, time_s = _key(command), command.value
    if time_s is None or not 0.0 <= time_s <= LONGEST_S:
        return f"say for how many seconds, up to {LONGEST_S:g}; 0 ends it"
    before = next((s for s in state.shelved if (s.row, s.unit) == key), None)
    if time_s == 0.0:
        if before is None:
            return "it is not shelved"
        _back(state, before)
        return ""
    if not command.who or not command.why:
        return "shelving needs a name and a reason"
    alarm = state.alarms.get(key)
    stands = alarm is not None and (alarm.active or alarm.latched or not alarm.acknowledged)
    if before is None and not stands:
        return "no such alarm stands"
    text = alarm.text if alarm is not None and alarm.text else before.text if before is not None else row.key
    kept = tuple(s for s in state.shelved if s is not before)
    state.shelved = (*kept, Shelved(*key, time_s, command.who, command.why, text))
    return ""


def told(state: State, command: Command, settings: Settings) -> Event:
    """The event of a shelving that was granted in this scan, or of its end by a person."""
    row, unit = _key(command)
    if not command.value:
        return Event("unshelved", f"{_of(row, unit, settings)}: no longer shelved", unit, command.who, (("row", row),))
    text = f"{_of(row, unit, settings)}: shelved for {command.value:g} s: {command.why}"
    data = (("row", row), ("shelved_s", command.value), ("why", command.why))
    return Event("shelved", text, unit, command.who, data)


def count(state: State, dt_s: float, events: list[Event]) -> None:
    """Count the times down; a hole in time counts too: nobody set the alarm aside for longer than was said."""
    for shelved in state.shelved:
        left_s = max(0.0, shelved.left_s - dt_s)
        if left_s > 0.0:
            state.shelved = tuple(replace(s, left_s=left_s) if s is shelved else s for s in state.shelved)
            continue
        _back(state, shelved)
        said = f"{shelved.text}: its time on the shelf is over"
        events.append(Event("unshelved", said, shelved.unit, data=(("row", shelved.row),)))


def _back(state: State, shelved: Shelved) -> None:
    state.shelved = tuple(s for s in state.shelved if s is not shelved)
    alarm = state.alarms.get((shelved.row, shelved.unit))
    if alarm is not None and alarm.active:
        state.alarms[shelved.row, shelved.unit] = replace(alarm, acknowledged=False)


def _key(command: Command) -> tuple[str, int]:
    at_unit = BY_KEY[command.text].scope == "unit" and command.unit is not None
    return command.text, command.unit if at_unit and command.unit is not None else -1


def _of(row: str, unit: int, settings: Settings) -> str:
    return row if unit < 0 else f"{settings.site.units[unit].name}: {row}"
