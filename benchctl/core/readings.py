"""Readings: what a person reads at the set and types in, and when the program asks for it.

A reading is due at the begin of each hold and then at each whole interval of it, its end included. It is owed until it
is given, or is told as missed when the next one falls due; one that is still owed when the load comes off may be given
until the cool-down is over. One that was taken up to half an interval before it fell due counts for it: hands are
slower than clocks. A reading is never changed: who corrects one gives another with its number.

Limits are those of what can be true of any set, to catch slips of the hand: common practice, no source.
"""

import math
import re
from dataclasses import dataclass
from typing import Any

from benchctl.core.command import Command
from benchctl.core.decision import Event, Settings
from benchctl.core.legs import Leg, LegKind
from benchctl.core.reading import Maybe
from benchctl.core.seen import Seen
from benchctl.core.state import Mode, State

LATEST_S = 86400.0  # how long ago a reading may have been taken
EPSILON = 1e-9  # of an interval: noise of adding scan times up
_NUMBER = re.compile(r"[+-]?[0-9]{1,12}(\.[0-9]{1,12})?")
_CORRECT = re.compile(r"correct +([0-9]{1,9}) *: *(.*)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Gauge:
    """One figure that is read: its unit ends its name, low and high bound what is plausible, both included."""

    name: str
    text: str
    unit: str
    low: float
    high: float
    decimals: int


# fmt: off
GAUGES: tuple[Gauge, ...] = (
    Gauge("oil_kpa", "oil pressure", "kPa", 0.0, 1500.0, 0),
    Gauge("oil_c", "oil temperature", "°C", -40.0, 180.0, 0),
    Gauge("coolant_c", "coolant temperature", "°C", -40.0, 130.0, 1),
    Gauge("coolant_kpa", "coolant pressure", "kPa", 0.0, 400.0, 0),
    Gauge("boost_kpa", "charge air pressure", "kPa", 0.0, 600.0, 0),
    Gauge("charge_air_c", "charge air temperature", "°C", -40.0, 250.0, 0),
    Gauge("exhaust_stack_c", "exhaust temperature at the stack", "°C", -40.0, 800.0, 0),
    Gauge("exhaust_back_kpa", "exhaust back pressure", "kPa", 0.0, 30.0, 1),
    Gauge("fuel_percent", "fuel in the tank", "%", 0.0, 100.0, 0),
    Gauge("fuel_l", "fuel meter", "l", 0.0, 1e7, 0),
    Gauge("fuel_kpa", "fuel pressure", "kPa", 0.0, 1500.0, 0),
    Gauge("battery_v", "starting battery", "V", 0.0, 60.0, 1),
    Gauge("ambient_c", "air outside", "°C", -60.0, 65.0, 1),
    Gauge("room_c", "air in the engine room", "°C", -60.0, 80.0, 1),
    Gauge("humidity_percent", "relative humidity", "%", 0.0, 100.0, 0),
    Gauge("barometer_kpa", "barometer", "kPa", 45.0, 110.0, 1),
    Gauge("running_h", "hours run", "h", 0.0, 1e6, 1),
    Gauge("speed_rpm", "speed", "rpm", 0.0, 4500.0, 0),
    Gauge("panel_v", "volts at the set's panel", "V", 0.0, 20000.0, 0),
    Gauge("panel_a", "amps at the set's panel, highest phase", "A", 0.0, 20000.0, 0),
    Gauge("panel_hz", "hertz at the set's panel", "Hz", 0.0, 500.0, 2),
    Gauge("panel_kw", "kW at the set's panel", "kW", -100.0, 20000.0, 0),
    Gauge("panel_kvar", "kvar at the set's panel", "kvar", -20000.0, 20000.0, 0),
)
# fmt: on
BY_NAME: dict[str, Gauge] = {gauge.name: gauge for gauge in GAUGES}


def count(state: State, leg: Leg, settings: Settings, before_s: float, used_s: float, events: list[Event]) -> None:
    """Count program time on by used_s of a leg that had spent before_s. Works on what is owed."""
    if settings.program is None or not settings.program.readings or used_s <= 0.0:
        return
    if state.reading_owed_s is not None:
        state.reading_owed_s += used_s
    if leg.kind is not LegKind.HOLD:
        return
    every_s = settings.program.reading_interval_s
    whole = math.floor(state.leg_s / every_s + EPSILON)
    for _ in range(whole - math.floor(before_s / every_s + EPSILON) + (before_s == 0.0)):
        missed(state, events)
        state.reading_owed_s = max(0.0, state.leg_s - whole * every_s)


def missed(state: State, events: list[Event]) -> None:
    """Tell of what is owed, and owe it no longer."""
    if state.reading_owed_s is not None:
        late_s = state.reading_owed_s
        said = f"reading missed: it was due {late_s:.0f} s of program time ago"
        events.append(Event("reading missed", said, data=(("owed_s", late_s), ("program_s", state.program_s))))
    state.reading_owed_s = None


def close(state: State, events: list[Event]) -> None:
    """Nothing is owed when neither a program nor its cool-down runs."""
    if state.mode not in (Mode.RUN, Mode.UNLOAD, Mode.COOL):
        missed(state, events)


def due_s(state: State, settings: Settings) -> Maybe:
    """Program time to go until a reading is due, negative while one is owed; None when none will be asked.

    Waits for the operator, a band or the supply count nothing.
    """
    program = settings.program
    if program is None or not program.readings:
        return None
    if state.reading_owed_s is not None:
        return 0.0 - state.reading_owed_s
    if state.mode is not Mode.RUN:
        return None
    to_go_s, spent_s, extended_s = 0.0, state.leg_s, state.extended_s
    for leg in settings.legs[state.leg :]:
        end_s = leg.length_s + extended_s
        if leg.kind is LegKind.HOLD and end_s > spent_s:
            every_s = program.reading_interval_s
            next_s = (math.floor(spent_s / every_s + EPSILON) + 1) * every_s if spent_s else 0.0
            if next_s <= end_s * (1.0 + EPSILON):
                return to_go_s + next_s - spent_s
        if leg.kind not in (LegKind.WAIT, LegKind.LOSS):
            to_go_s += max(0.0, end_s - spent_s)
        spent_s = extended_s = 0.0
    return None


def take(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    """Check a typed reading; the next number is then spent, unless it corrects an earlier one. Returns a refusal."""
    taken_s = 0.0 if command.value is None else command.value
    if not 0.0 <= taken_s <= LATEST_S:
        return f"taken: found {taken_s:g} s ago, expected 0 to {LATEST_S:g} s"
    number, text = _number(command.text)
    if number is not None and not 0 < number < state.reading_number:
        return f"reading {number} was not taken: {state.reading_number - 1} are there to be corrected"
    values = values_of(text)
    if isinstance(values, str):
        return values
    if number is not None:
        return ""
    state.reading_number += 1
    early_s = settings.program.reading_interval_s / 2.0 if settings.program is not None else 0.0
    if state.reading_owed_s is not None and taken_s <= state.reading_owed_s + early_s:
        state.reading_owed_s = None
    return ""


def told(state: State, command: Command, settings: Settings) -> Event:
    """The event of a reading that was taken in this scan: its number, plain values, how long ago, what was left out."""
    number, text = _number(command.text)
    values = values_of(text)
    assert not isinstance(values, str)
    asked = settings.program.readings if settings.program is not None else ()
    left_out = () if number is not None else tuple(name for name in asked if name not in dict(values))
    said = ", ".join(f"{BY_NAME[name].text} {value:g} {BY_NAME[name].unit}" for name, value in values)
    said += f"; not read: {', '.join(BY_NAME[name].text for name in left_out)}" if left_out else ""
    what = f"reading {state.reading_number - 1}" if number is None else f"reading {number} corrected"
    data: list[tuple[str, Any]] = [("number", state.reading_number - 1 if number is None else number)]
    data.append(("correction", number is not None))
    if number is None or command.value is not None:  # a correction that says no time keeps that of the reading
        data.append(("taken_s", command.value or 0.0))
    data += [("not_read", left_out)] if left_out else []
    return Event("reading", f"{what}: {said}", who=command.who, data=(*data, *values))


def _number(text: str) -> tuple[int | None, str]:
    """Which reading is corrected, or None, and the rest of the text."""
    found = _CORRECT.fullmatch(text.strip())
    return (int(found[1]), found[2]) if found else (None, text)


def values_of(text: str) -> tuple[tuple[str, float], ...] | str:
    """Names and values of "name=value; name=value", or what is wrong with the text."""
    values: dict[str, float] = {}
    for part in text.strip().rstrip(";").split(";"):
        name, equals, figure = (piece.strip() for piece in part.partition("="))
        if not equals:
            return f"found {part.strip()!r}, expected a name and a value, for instance oil_kpa=420; coolant_c=88.5"
        gauge = BY_NAME.get(name)
        if gauge is None:
            return f"found {name!r}, expected one of {', '.join(BY_NAME)}"
        if name in values:
            return f"{name}: found twice, expected once"
        if not _NUMBER.fullmatch(figure) or not gauge.low <= float(figure) <= gauge.high:
            return f"{name}: found {figure!r}, expected a number from {gauge.low:g} to {gauge.high:g}"
        values[name] = float(figure)
    return tuple(values.items())
