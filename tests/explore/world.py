"""A small world: a site whose times are a few scans long, what may happen in a scan, and a plant that obeys or not.

Everything that `decide` is given is drawn from finite tables, so that the states that it can reach are finite, too.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cache, lru_cache
from itertools import product
from typing import Any

from benchctl.core.command import Command, Verb
from benchctl.core.decision import Settings
from benchctl.core.inputs import Inputs, Recorder
from benchctl.core.orders import NO_WRITES, Orders, UnitWrites, Write
from benchctl.core.profile import CoolDown, Fan, FanSupply
from benchctl.core.program import Program
from benchctl.core.reading import Electrical, InstrumentReading, Outcome, UnitReading
from benchctl.core.site import Attendance, Limits
from tests.core.worlds import site, staged, stepped

DT_S = 2.0  # one scan; no time of a world is more than a few of them
GAP_S = 20.0  # a scan that comes so late is a hole in time
LIMITS = Limits(
    largest_block_up_percent=100.0,
    settle_s=2.0,
    stale_s=2.0,
    lost_s=4.0,
    fan_start_gap_s=2.0,
    volts_trip_s=4.0,
    volts_low_s=2.0,
    volts_warn_s=2.0,
    hertz_low_s=4.0,
    hertz_low_warn_s=2.0,
    hertz_stall_s=2.0,
    unload_step_s=2.0,
    block_window_s=2.0,
    over_power_s=2.0,
    over_current_s=2.0,
    source_cooldown_s=2.0,
)
SOON = Attendance(check_in_s=4.0, console_lost_s=4.0, alarm_after_s=2.0, unload_after_s=4.0)
SHORT: dict[str, Any] = {
    "fan": Fan(1.0, FanSupply.SEPARATE, proof_s=2.0),
    "cooldown": CoolDown(minimum_s=2.0, margin_k=10.0, near_s=2.0, alarm_s=4.0),
    "faults": (),
    "follow_s": 2.0,
    "watchdog": None,
}
UNITS = (staged(20.0, 40.0, **SHORT), stepped(40.0, 20.0, **SHORT))


@dataclass(frozen=True, slots=True)
class Doing:
    """What a unit does in a scan. fields: what it answers instead; obeys: it follows orders; load: it is found at."""

    fields: tuple[tuple[str, Any], ...] = ()
    obeys: bool = True
    load: int | None = None


def _says(**fields: Any) -> Doing:
    return Doing(tuple(fields.items()))


DOINGS: dict[str, Doing] = {
    "well": Doing(),
    "no air": _says(airflow=False),
    "air not known": _says(airflow=None),
    "air": _says(airflow=True),  # whatever its fans do
    "warm": _says(exhaust_c=80.0),
    "hot": _says(exhaust_c=300.0),
    "no temperature": _says(exhaust_c=None),
    "no fan supply": _says(fan_supply=False),
    "stop": _says(emergency_stop=True),
    "site": _says(site_needs_set=True),
    "stranger": _says(identity_ok=False),
    "another": _says(serial="T"),
    "mute": _says(load=None),
    "local": Doing((("remote", False),), obeys=False),
    "stuck": Doing(obeys=False),
    "silent": Doing((("outcome", Outcome.SILENT),), obeys=False),
    "fell": Doing(load=0),
    "foreign": Doing(load=1),
    "restarted": Doing((("uptime_s", 0.0),), load=0),
}


def _meter(volts: float = 400.0, hertz: float | None = 50.0, **fields: Any) -> InstrumentReading:
    needs = fields.pop("site_needs_set", None)
    three = fields.pop("volts_ll", (volts, volts, volts))
    return InstrumentReading(Outcome.OK, Electrical(volts_ll=three, hertz=hertz, **fields), site_needs_set=needs)


SOURCES: dict[str, InstrumentReading] = {  # of 80 kW, 400 V, 50 Hz: rated current 144 A
    "well": _meter(),
    "volts high": _meter(444.0),
    "volts low": _meter(340.0),
    "volts very low": _meter(300.0),
    "hertz low": _meter(hertz=46.0),
    "hertz very low": _meter(hertz=44.0),
    "stalls": _meter(hertz=40.0),
    "no hertz": _meter(hertz=None),
    "phase lost": _meter(volts_ll=(400.0, 100.0, 100.0)),
    "over-current": _meter(amps=(200.0, 200.0, 200.0)),
    "amps well": _meter(amps=(100.0, 100.0, 100.0)),
    "over-power": _meter(power_kw=100.0),
    "power well": _meter(power_kw=60.0),
    "site needs it": _meter(site_needs_set=True),
    "silent": InstrumentReading(Outcome.SILENT),
}
COMMANDS: dict[str, Command] = {
    "charge": Command(Verb.TAKE_CHARGE),
    "20 kW": Command(Verb.SET_LOAD, value=20.0),
    "60 kW": Command(Verb.SET_LOAD, value=60.0),
    "80 kW": Command(Verb.SET_LOAD, value=80.0),
    "no load": Command(Verb.SET_LOAD, value=0.0),
    "by hand": Command(Verb.SWITCH),
    "close": Command(Verb.SWITCH, unit=0, text="1", value=1.0),
    "open": Command(Verb.SWITCH, unit=0, text="1", value=0.0),
    "point": Command(Verb.SWITCH, unit=1, value=40.0),
    "start": Command(Verb.START),
    "pause": Command(Verb.PAUSE),
    "resume": Command(Verb.RESUME),
    "skip": Command(Verb.SKIP),
    "yes": Command(Verb.ANSWER, text="yes"),
    "no": Command(Verb.ANSWER, text="no"),
    "unload": Command(Verb.UNLOAD),
    "drop": Command(Verb.DROP),
    "reset": Command(Verb.RESET),
    "seen": Command(Verb.ACKNOWLEDGE, text="all"),
    "join": Command(Verb.JOIN, unit=0),
    "join why": Command(Verb.JOIN, unit=0, why="exchanged"),
    "adopt": Command(Verb.ADOPT),
    "here": Command(Verb.CHECK_IN),
    "fans": Command(Verb.CONFIRM_FANS, unit=0),
    "cool": Command(Verb.OVERRIDE, unit=0, text="cool-down", why="it is cool"),
    "shelve": Command(Verb.SHELVE, why="known", text="hertz off", value=4.0),
    "old": Command(Verb.SET_LOAD, value=60.0, age_s=3.0),
}
MOMENTS: dict[str, dict[str, Any]] = {  # everything else that a scan may bring
    "": {},
    "gap": {"dt_s": GAP_S},
    "late": {"dt_s": 3.0 * DT_S},
    "attended": {"attached": True},
    "alone": {"attached": False},
    "no record": {"recorder": Recorder.FAILED},
    "cut short": {"cut_short": True},
}
ENDINGS: dict[str, tuple[Write, bool]] = {  # of a closing: what is told of it, and whether it is in force
    "done": (Write.DONE, True),
    "refused": (Write.REFUSED, False),
    "not sent": (Write.NOT_SENT, False),
    "in force": (Write.UNKNOWN, True),
    "lost": (Write.UNKNOWN, False),
}


@dataclass(frozen=True, slots=True)
class World:
    """What may happen. doings: of each unit; begin: bursts of scans in which all is well, before anything may happen.

    longest: most commands of one scan; on: loads of the units that the session finds.
    reckless: what dispatch wishes is all that there is, in every scan: only the guard stands before the units.
    """

    doings: tuple[tuple[str, ...], ...] = (("well",), ("well",))
    commands: tuple[str, ...] = ()
    longest: int = 1
    sources: tuple[str, ...] = ("well",)
    moments: tuple[str, ...] = ("",)
    endings: tuple[str, ...] = ("done",)
    begin: tuple[tuple[str, ...], ...] = ()
    on: tuple[int, ...] = (0, 0)
    reckless: bool = False
    site: tuple[tuple[str, Any], ...] = ()
    limits: tuple[tuple[str, float], ...] = ()
    program: Program | None = field(default=None, hash=False)
    follow_s: float = 2.0  # how long a contactor has

    def settings(self) -> Settings:
        """Settings of the world's site."""
        place = site(
            *[replace(unit, follow_s=self.follow_s) for unit in UNITS],
            nameplate_kw=80.0,
            limits=replace(LIMITS, **dict(self.limits)),
            **{"attendance": SOON, **dict(self.site)},
        )
        return Settings.of(place, self.program, DT_S)

    def bursts(self) -> tuple[tuple[str, ...], ...]:
        """Every burst of commands that a scan may bring, in both orders, none included."""
        return tuple(b for n in range(self.longest + 1) for b in product(self.commands, repeat=n))


@dataclass(frozen=True, slots=True)
class Choice:
    """What the world does in one scan."""

    doings: tuple[str, ...]
    source: str
    moment: str
    endings: tuple[str, ...]
    burst: tuple[str, ...] = ()

    def __str__(self) -> str:
        ends = ", ".join(e for e in self.endings if e)
        said = [" | ".join(self.doings), f"source {self.source}", self.moment, f"closing {ends}" if ends else ""]
        return f"[{' + '.join(self.burst)}] " + "; ".join(s for s in said if s and s != "source well")


@dataclass(frozen=True, slots=True)
class Plant:
    """One unit as it stands: its load, its fans, and the orders that are on their way to it."""

    load: int = 0
    fan: bool = False
    keep: int | None = None  # an opening, or a lower set point
    close: int | None = None


def first_plants(world: World) -> tuple[Plant, ...]:
    """As the session finds the units: fans run where load is on."""
    return tuple(Plant(load, load > 0) for load in world.on)


@lru_cache(maxsize=1 << 16)
def after_orders(plants: tuple[Plant, ...], orders: Orders) -> tuple[Plant, ...]:
    """The plants with the orders of a scan on their way; fans start and stop at once."""
    return tuple(
        Plant(p.load, p.fan)
        if o.silent
        else Plant(p.load, p.fan if o.fan is None else o.fan, o.keep if o.lower else None, o.raise_to)
        for p, o in zip(plants, orders.units, strict=True)
    )


@lru_cache(maxsize=1 << 16)
def moved(plant: Plant, doing: str, ending: str, staged_unit: bool) -> Plant:
    """The plant when it is read: it has followed its orders, or has done something else."""
    does = DOINGS[doing]
    load = plant.load
    if does.obeys:
        if plant.keep is not None:
            load = load & plant.keep if staged_unit else min(load, plant.keep)
        if plant.close is not None and ending and ENDINGS[ending][1]:
            load = plant.close
    return Plant(load if does.load is None else does.load, plant.fan)


@cache
def reading(load: int, fan: bool, doing: str) -> UnitReading:
    """What a unit answers; equal answers are one object."""
    said: dict[str, Any] = {
        "outcome": Outcome.OK,
        "load": load,
        "remote": True,
        "fan_on": fan,
        "airflow": fan,
        "fan_supply": True,
        "emergency_stop": False,
        "inlet_c": 20.0,
        "exhaust_c": 25.0,
        "uptime_s": 1000.0,
        "serial": "S",
        "identity_ok": True,
    } | dict(DOINGS[doing].fields)
    if not said["outcome"].tells:
        return UnitReading(said["outcome"])
    return UnitReading(**said)


@cache
def commands(burst: tuple[str, ...]) -> tuple[Command, ...]:
    """The commands of a burst; equal bursts are one object."""
    return tuple(COMMANDS[c] for c in burst)


@cache
def choices(world: World, closing: tuple[bool, ...]) -> tuple[Choice, ...]:
    """What may happen in a scan but the commands, while these units have a closing on their way."""
    endings = [world.endings if sent else ("",) for sent in closing]
    return tuple(
        Choice(doings, source, moment, ends)
        for doings in product(*world.doings)
        for ends in product(*endings)
        for source, moment in product(world.sources, world.moments)
    )


def scan(world: World, plants: tuple[Plant, ...], choice: Choice) -> tuple[tuple[Plant, ...], Inputs]:
    """The plants as they are read, and the inputs but for the commands."""
    after = tuple(
        moved(p, doing, ending, bool(unit.stages))
        for p, doing, ending, unit in zip(plants, choice.doings, choice.endings, UNITS, strict=True)
    )
    readings = tuple(reading(p.load, p.fan, doing) for p, doing in zip(after, choice.doings, strict=True))
    writes = tuple(_writes(ENDINGS[e][0]) if e else NO_WRITES for e in choice.endings)
    more = {"dt_s": DT_S, **MOMENTS[choice.moment]}
    return after, Inputs(0.0, units=readings, instruments=(SOURCES[choice.source],), writes=writes, **more)


@cache
def _writes(closing: Write) -> UnitWrites:
    return UnitWrites(closing=closing)


def given(world: World, plants: tuple[Plant, ...]) -> Iterator[tuple[Choice, tuple[Plant, ...], Inputs]]:
    """Every scan that may follow, with inputs that have no commands yet."""
    for choice in choices(world, tuple([p.close is not None for p in plants])):
        after, inputs = scan(world, plants, choice)
        yield choice, after, inputs
