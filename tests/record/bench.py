"""A small bench of nouns, and frames made by a stand-in for `decide`, for the tests of this room."""

from dataclasses import replace
from pathlib import Path

from benchctl.core.command import Command, Verb
from benchctl.core.decision import Decision, Event, Frame, Settings, first_state
from benchctl.core.inputs import Inputs
from benchctl.core.orders import Orders, UnitOrders, UnitWrites, Write
from benchctl.core.profile import CoolDown, Fan, FanSupply, Profile, Stage, Watchdog
from benchctl.core.program import Hold, Program, Ramp, Repeat, Target
from benchctl.core.reading import Electrical, InstrumentReading, Outcome, UnitReading
from benchctl.core.registers import Kind, Order, Point, RegisterMap, Space
from benchctl.core.seen import Seen
from benchctl.core.site import Endpoint, Instrument, Nameplate, Site, Unit, Wiring
from benchctl.core.state import Alarm, State
from benchctl.record.recorder import Recorder

COIL = Point("stage", Space.COIL, 0, Kind.BIT, write_function=5, missing=((0x8000,), (1, 2)))
PROFILE = Profile(
    "coil-30",
    "Coils, 30 kW",
    400.0,
    3,
    "wye",
    (50.0, 60.0),
    RegisterMap((Point("exhaust_c", Space.INPUT, 7, Kind.FLOAT32, Order.CDAB, expect="x"),)),
    (
        Stage("one", (1 / 3, 1 / 3, 1 / 3), order=COIL),
        Stage("ten", (10 / 3, 10 / 3, 10 / 3)),
        Stage("b", (0.0, 4.0, 0.0), "b"),
    ),
    None,
    Fan(1.1, FanSupply.SEPARATE),
    Watchdog(15.0, "any request"),
    CoolDown(),
    reports=frozenset({"exhaust_c", "inlet_c"}),
)
HERE = Endpoint("127.0.0.1", 15021)
SITE = Site(
    "trial",
    "Trial yard",
    Nameplate("set", "generating set", 100.0, 125.0, 400.0, 50.0, Wiring.THREE_PHASE_4W),
    (Unit("bank 1", HERE, 1, PROFILE), Unit("bank 2", replace(HERE, port=15022), 1, PROFILE)),
    (
        Instrument(
            "source meter",
            "meter",
            "source",
            replace(HERE, port=15023),
            1,
            "m",
            RegisterMap(()),
            reports=frozenset({"volts_ab", "power_kw", "hertz"}),
        ),
    ),
)
PROGRAM = Program(
    "steps", "Steps", (Ramp(Target(50.0, percent=True), 10.0), Repeat(2, (Hold(5.0), Ramp(Target(3.5), 0.0))))
)
SETTINGS = Settings.of(SITE, PROGRAM)
START_S = 1_792_888_200.25  # 2026-10-25T00:30:00.25Z


def inputs(number: int) -> Inputs:
    """Readings with odd figures; the first unit misses each seventh scan."""
    electrical = Electrical((400.0 + number / 3, 399.9, None), power_kw=number / 7 - 0.02, hertz=50.0)
    unit = UnitReading(
        Outcome.OK,
        number % 8,
        number % 8,
        True,
        True,
        True,
        exhaust_c=20.1 + number,
        serial="µ=1",
        electrical=electrical,
    )
    first = UnitReading(Outcome.SILENT) if number % 7 == 0 else unit
    commands = (Command(Verb.SET_LOAD, why="=1+1", value=number / 3),) if number % 5 == 0 else ()
    writes = (UnitWrites(closing=Write.DONE), UnitWrites(opening=Write.UNKNOWN)) if number % 3 else ()
    return Inputs(
        number / 2 + 0.1,
        0.5 if number else 0.0,
        (first, unit),
        (InstrumentReading(Outcome.OK, electrical),),
        commands,
        writes,
        clock_stepped_s=0.1 * (number == 4),
        cut_short=number % 11 == 10,
        attached=(None, True, False)[number % 3],
        stood_still_s=0.3 * (number == 6),
    )


def decide(state: State, seen_inputs: Inputs, settings: Settings) -> Decision:
    """A stand-in that is pure and carries state: it counts kW of commands, and orders what was read back."""
    now = state.copy()
    now.target_kw = state.target_kw + sum(c.value or 0.0 for c in seen_inputs.commands)
    now.program_s = state.program_s + seen_inputs.dt_s
    for unit, reading in zip(now.units, seen_inputs.units, strict=True):
        unit.wanted = reading.load or 0
        unit.last = reading
    if seen_inputs.commands:
        now.alarms = {**now.alarms, ("short of target", -1): Alarm("short of target", -1, count=int(now.target_kw))}
    orders = Orders(
        tuple(UnitOrders(unit.wanted, raise_to=7 if i else None, fan=True) for i, unit in enumerate(now.units))
    )
    events = tuple(
        Event("command", f"={c.verb.value}", 1, c.who, (("value_kw", c.value),)) for c in seen_inputs.commands
    )
    power_kw = seen_inputs.instruments[0].electrical.power_kw
    return Decision(now, orders, events, Seen(delivered_kw=power_kw, volts_v=None, hertz=50.0))


def frames(count: int, settings: Settings = SETTINGS) -> list[Frame]:
    """The first scans of a run, numbered from 0."""
    state, made = first_state(settings), []
    for number in range(count):
        decision = decide(state, inputs(number), settings)
        made.append(Frame(number, START_S + number / 2, inputs(number), decision, ()))
        state = decision.state
    return made


def recorded(path: Path, made: list[Frame], settings: Settings = SETTINGS) -> Path:
    """A closed, sealed record of frames."""
    recorder = Recorder(path, settings, {"seed": "7"}, ())
    for frame in made:
        recorder.write(frame)
    assert recorder.close("done", {"energy_kwh": 0.1}), recorder.problem
    return path
