"""Small invented sites, and a stepper that plays `decide` against a plant in virtual time."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from benchctl.core.command import Command, Verb
from benchctl.core.decide import decide
from benchctl.core.decision import Decision, Event, Settings, first_state
from benchctl.core.inputs import Inputs, Recorder
from benchctl.core.levels import load_kw
from benchctl.core.orders import Orders, UnitWrites
from benchctl.core.profile import CoolDown, Fan, FanSupply, FaultBit, Profile, Reaction, SetPoint, Stage, Watchdog
from benchctl.core.program import Program, Segment
from benchctl.core.registers import Kind, Point, RegisterMap, Space
from benchctl.core.site import Endpoint, Instrument, Limits, Nameplate, Site, Unit, Wiring
from benchctl.core.state import Mode, State
from tests.core.plant import FakeUnit, Plant, electrical

__all__ = ["FakeUnit", "Plant", "Stepper", "electrical", "program", "site", "staged", "stepped"]

REPORTS = frozenset({"remote", "airflow", "fan_on", "exhaust_c", "inlet_c", "emergency_stop", "fan_supply", "uptime_s"})
FAULTS = tuple(
    FaultBit(name, text, Point(name, Space.INPUT, 0, Kind.BIT, bit=bit), reaction)
    for bit, (name, text, reaction) in enumerate(
        (
            ("under_frequency", "says under-frequency", Reaction.ALARM),
            ("under_voltage", "says under-voltage", Reaction.ALARM),
            ("phase_loss", "says phase loss", Reaction.ALARM),
            ("fan_fault", "says fan fault", Reaction.UNIT_OFF),
            ("local_trip", "says trip", Reaction.DROP),
            ("door", "says door open", Reaction.HOLD),
        )
    )
)
QUICK = CoolDown(minimum_s=20.0, margin_k=10.0, near_s=5.0, alarm_s=60.0)


def staged(*kws: float, own: bool = False, **changes: Any) -> Profile:
    """A unit whose stages we close; own: it has its own meter."""
    stages = tuple(Stage(f"{i + 1}", (kw / 3, kw / 3, kw / 3)) for i, kw in enumerate(kws))
    reports = REPORTS | ({"power_kw"} if own else frozenset())
    made = Profile(
        "invented",
        "Invented unit",
        400.0,
        3,
        "wye",
        (50.0,),
        RegisterMap(()),
        stages,
        None,
        Fan(1.0, FanSupply.SEPARATE, proof_s=5.0),
        Watchdog(15.0, "any write"),
        QUICK,
        FAULTS,
        follow_s=1.0,
        expected_rise_k=150.0,
        reports=reports,
    )
    return replace(made, **changes)


def stepped(maximum_kw: float, resolution_kw: float, *, own: bool = False, **changes: Any) -> Profile:
    """A unit that takes a set point."""
    return replace(staged(own=own), stages=(), setpoint=SetPoint(maximum_kw, resolution_kw, actual=False), **changes)


def site(
    *profiles: Profile, meter: bool = True, limits: Limits | None = None, nameplate_kw: float = 400.0, **changes: Any
) -> Site:
    """A 400 V set with these units, and a meter at the source unless told otherwise."""
    units = tuple(Unit(f"bank {i + 1}", Endpoint("127.0.0.1", 1 + i), 1, p) for i, p in enumerate(profiles))
    plate = Nameplate("set", "generating set", nameplate_kw, 1.25 * nameplate_kw, 400.0, 50.0, Wiring.THREE_PHASE_4W)
    meters = (Instrument("source meter", "meter", "source", Endpoint("127.0.0.1", 99), 1, "meter", RegisterMap(())),)
    limits = limits or Limits(largest_block_up_percent=100.0, settle_s=2.0)
    return Site("place", "Place", plate, units, meters if meter else (), limits, **changes)


def program(*segments: Segment, **changes: Any) -> Program:
    """A program without check load, unless told otherwise."""
    return Program("test", "Test", segments, **{"check_load": False, **changes})


class Stepper:
    """Keeps the state, plays scan after scan. `last` is the newest decision; `events` collects all."""

    def __init__(
        self, place: Site, tested: Program | None = None, *, dt_s: float = 0.5, plant: Plant | None = None
    ) -> None:
        self.settings = Settings.of(place, tested, dt_s)
        self.plant = plant or Plant([FakeUnit(u.profile) for u in place.units])
        self.dt_s = dt_s
        self.now_s = 0.0
        self.state: State = first_state(self.settings)
        self.events: list[Event] = []
        self.writes: tuple[UnitWrites, ...] = ()
        self.recorder = Recorder.ABSENT
        self.attached: bool | None = None
        self.stood_still_s = 0.0
        self.consoles: tuple[str, ...] = ()
        self.last: Decision
        self.scans = 0

    def scan(self, *commands: Command, dt_s: float | None = None) -> Decision:
        """One scan."""
        dt_s = (self.dt_s if self.scans else 0.0) if dt_s is None else dt_s
        self.now_s += dt_s
        self.scans += 1
        for u in self.plant.units:
            u.uptime_s += dt_s
        units, instruments = self.plant.read(bool(self.settings.site.instruments))
        inputs = Inputs(
            self.now_s,
            dt_s,
            units,
            instruments,
            commands,
            self.writes,
            self.recorder,
            attached=self.attached,
            stood_still_s=self.stood_still_s,
            consoles=self.consoles,
        )
        self.last = self.decided(inputs)
        self.state = self.last.state
        self.events += self.last.events
        self.writes = self.write(self.last.orders)
        return self.last

    def decided(self, inputs: Inputs) -> Decision:
        """The decision; observers look in here."""
        return decide(self.state, inputs, self.settings)

    def write(self, orders: Orders) -> tuple[UnitWrites, ...]:
        """Openings everywhere before closings anywhere is the chain's business; here each unit is on its own."""
        return tuple(u.write(o) for u, o in zip(self.plant.units, orders.units, strict=True))

    def run(self, seconds: float) -> Decision:
        """Scan for a time without commands."""
        for _ in range(round(seconds / self.dt_s)):
            self.scan()
        return self.last

    def until(self, test: Callable[["Stepper"], bool], limit_s: float = 120.0) -> float:
        """Scan until a test holds; returns the time. Fails after limit_s."""
        begin_s = self.now_s
        while not test(self):
            assert self.now_s - begin_s < limit_s, f"not within {limit_s:.0f} s: {self.said()[-8:]}"
            self.scan()
        return self.now_s

    def ready(self) -> "Stepper":
        """Take charge and wait until every unit has paid its first debt and proven its air."""
        self.scan()
        self.scan(Command(Verb.TAKE_CHARGE))
        self.until(lambda w: not any(u.hot for u in w.state.units))
        return self

    def loaded(self, power_kw: float) -> "Stepper":
        """Ready, and a load by hand that is read back."""
        self.ready()
        self.scan(Command(Verb.SET_LOAD, value=power_kw))
        self.until(lambda w: abs(w.kw() - power_kw) < 1.0)
        self.run(3.0)
        return self

    def started(self) -> "Stepper":
        """Ready, program started, first leg begun."""
        self.ready()
        self.scan(Command(Verb.START))
        self.until(lambda w: w.state.mode.value == "running")
        return self

    def mode(self) -> Mode:
        """What the bench is doing."""
        return self.state.mode

    def kw(self) -> float:
        """What the units draw at rated volts."""
        return round(sum(load_kw(u.profile, u.load, 1.0) for u in self.plant.units), 6)

    def ordered_kw(self) -> float:
        """What is ordered, at rated volts."""
        pairs = zip(self.plant.units, self.state.units, strict=True)
        return round(sum(load_kw(u.profile, s.wanted, 1.0) for u, s in pairs), 6)

    def said(self) -> list[str]:
        """All events as text."""
        return [f"{e.kind}: {e.text}" for e in self.events]

    def heard(self, kind: str) -> list[Event]:
        """Events of a kind."""
        return [e for e in self.events if e.kind == kind]

    def alarm(self, row: str, unit: int = -1) -> bool:
        """True while a row is active."""
        found = self.state.alarms.get((row, unit))
        return found is not None and found.active
