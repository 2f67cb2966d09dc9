"""A unit profile: everything the bench must know about a type of load bank, as data.

A unit is loaded in one of two ways. With `stages` we choose the contactors ourselves. With `setpoint` we write a kW
and the unit chooses its stages; then `stages` is empty. In the core both are one integer, the unit's *load*: a bit
mask of closed stages (bit i = stages[i]) or the set point in steps of `setpoint.resolution_kw` (see
`core/levels.py`).
"""

from dataclasses import dataclass
from enum import Enum
from functools import cached_property

from benchctl.core.offer import Health, Offer
from benchctl.core.registers import Point, RegisterMap

AIR_J_M3K = 1.2041 * 1006.0  # rho (kg/m3, dry air at 20 degC and sea level) times cp (J/(kg K))


class Reaction(Enum):
    """What a fault reported by a unit, or an interlock, does. Ordered from mild to severe."""

    NOTE = "note"  # an event only
    ALARM = "alarm"
    HOLD = "hold"  # the program is held at its level; load stays
    UNIT_OFF = "unit_off"  # that unit only
    UNLOAD = "unload"  # take load off in steps, then cool down
    DROP = "drop"  # everything off at once


@dataclass(frozen=True, slots=True)
class Stage:
    """One contactor with its resistors.

    phase_kw: rated kW drawn from phases A, B, C at the unit's rated volts (three-phase: line-to-line volts of the
    unit; elements between two lines count half to each). across: "abc", "a", "b", "c", "ab", "bc" or "ca".
    """

    name: str
    phase_kw: tuple[float, float, float]
    across: str = "abc"
    order: Point | None = None  # single coil or register bit to write
    feedback: Point | None = None  # single bit that reads back the contactor

    @property
    def power_kw(self) -> float:
        """Rated kW of all phases."""
        return self.phase_kw[0] + self.phase_kw[1] + self.phase_kw[2]


@dataclass(frozen=True, slots=True)
class SetPoint:
    """A unit that takes a kW and chooses its own stages."""

    maximum_kw: float
    resolution_kw: float
    actual: bool  # True: the unit corrects for volts itself (kW are actual kW); False: kW at rated volts
    ramp_kw_per_s: float | None = None  # the unit's own ramp upward; None = at once
    drop_s: float = 1.0  # worst time from order to no load


class FanSupply(Enum):
    """Where a unit's fans get their power."""

    SEPARATE = "separate"
    SOURCE = "source"  # the source under test: it must run until the units are cool


@dataclass(frozen=True, slots=True)
class Fan:
    """A unit's fans."""

    power_kw: float
    supply: FanSupply
    controllable: bool = True  # False: the unit runs its fans by itself whenever it is loaded or hot
    proof_s: float = 10.0  # from fan order to airflow proven, at most
    flow_m3_s: float | None = None  # at sea level; gives the expected rise


@dataclass(frozen=True, slots=True)
class Watchdog:
    """The unit's own timer that drops its load when we fall silent: the last defence."""

    time_s: float
    fed_by: str  # "any request" | "any write" | "register" (the point watchdog_feed)
    feed_every_s: float = 5.0
    on_return: str = "stays off"  # what the unit does when contact returns: "stays off" | "resumes"


@dataclass(frozen=True, slots=True)
class CoolDown:
    """What must be paid after load: at least minimum_s and, with a sensor, exhaust near its reference."""

    minimum_s: float = 300.0
    margin_k: float = 10.0
    near_s: float = 30.0
    reference: str = "inlet"  # "inlet" (inlet_c), "ambient" (of the site file), "none" (no sensor: time only)
    alarm_s: float = 900.0


@dataclass(frozen=True, slots=True)
class FaultBit:
    """A status bit of the unit with its text and what we do about it."""

    name: str
    text: str
    point: Point
    reaction: Reaction


@dataclass(frozen=True)  # without slots: what follows from the fields is kept beside them
class Profile:
    """A type of load bank. `rated_v` is line-to-line for three phases and line-to-neutral (or leg) for one."""

    name: str
    title: str
    rated_v: float
    phases: int
    connection: str  # "wye" | "delta" | "single"
    hertz: tuple[float, ...]
    registers: RegisterMap
    stages: tuple[Stage, ...]
    setpoint: SetPoint | None
    fan: Fan
    watchdog: Watchdog | None
    cooldown: CoolDown
    faults: tuple[FaultBit, ...] = ()
    highest_v_ratio: float = 1.10  # of rated volts; above it no stage may close
    follow_s: float = 2.0  # contactor follows: 1 s + the unit's own stage delay; set point: 3 s
    exhaust_trip_c: float = 250.0  # the unit's own over-temperature trip
    expected_rise_k: float | None = None  # at full load; None = from fan flow, else no temperature prediction
    meter_refresh_s: float = 1.0  # of the unit's own meter block
    reports: frozenset[str] = frozenset()  # names of quantities that this type can read
    simulated: "Simulated | None" = None

    def __hash__(self) -> int:
        """Cheap on purpose: profiles are keys of caches in every scan, and compare by identity first."""
        return hash((self.name, self.rated_v, len(self.stages)))

    @property
    def rated_kw(self) -> float:
        """kW of all stages, or the largest set point, at rated volts."""
        return self.setpoint.maximum_kw if self.setpoint else sum(s.power_kw for s in self.stages)

    @cached_property
    def full_load(self) -> int:
        """The largest load: all stages, or the largest set point in whole steps."""
        if self.setpoint:
            return int(self.setpoint.maximum_kw / self.setpoint.resolution_kw + 1e-6)
        return (1 << len(self.stages)) - 1

    @cached_property
    def full_rise_k(self) -> float | None:
        """Exhaust over inlet at full load in kelvin, at sea level: as stated, or P / (rho cp Q), or None."""
        if self.expected_rise_k is not None:
            return self.expected_rise_k
        return 1000.0 * self.rated_kw / (AIR_J_M3K * self.fan.flow_m3_s) if self.fan.flow_m3_s else None

    @cached_property
    def corrects_volts(self) -> bool:
        """True for a set-point unit whose kW are actual kW at any volts."""
        return self.setpoint is not None and self.setpoint.actual

    @cached_property
    def known_kw(self) -> dict[int, tuple[float, float, float, float]]:
        """Phases A, B, C and total of the loads asked for so far, at rated volts: the memory of `core/levels.py`."""
        return {}

    @cached_property
    def known_offers(self) -> dict[tuple[int, float, Health | None], Offer]:
        """Offers by usable load, volts ratio and health: another memory of `core/levels.py`."""
        return {}


@dataclass(frozen=True, slots=True)
class Simulated:
    """Physics used only by the simulator."""

    contactor_s: float = 0.04
    contactor_spread_s: float = 0.02
    fan_spin_up_s: float = 3.0
    fan_spin_down_s: float = 4.0
    element_tau_s: float = 20.0
    sensor_tau_s: float = 8.0
    flow_m3_s: float = 4.0
    still_air_tau_s: float = 600.0
    dead_time_s: float = 0.02  # turnaround of the Modbus side
