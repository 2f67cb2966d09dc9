"""A site file's nouns: the source under test, the chain, the instruments and the limits of one place.

Limits carry their reason and mark as field metadata; plan, report and documentation read them from there.
Marks: CPNS = common practice, no source; S16, S17, S21 = texts read (see the table of sources in DEVELOPERS.md).
"""

from dataclasses import dataclass, field
from enum import Enum
from typing import Any

from benchctl.core.profile import Profile
from benchctl.core.registers import RegisterMap

_PHASES = {
    "three-phase four-wire": (0, 1, 2),
    "three-phase three-wire": (0, 1, 2),
    "single-phase two-wire": (0,),
    "single-phase three-wire": (0, 1),
}


class Wiring(Enum):
    """How the source's conductors run."""

    THREE_PHASE_4W = "three-phase four-wire"
    THREE_PHASE_3W = "three-phase three-wire"
    SINGLE_PHASE_2W = "single-phase two-wire"
    SINGLE_PHASE_3W = "single-phase three-wire"

    def __init__(self, words: str) -> None:
        self.phases: tuple[int, ...] = _PHASES[words]  # indices of the live phases among A, B, C
        self.has_neutral = words != "three-phase three-wire"  # where line-to-neutral volts exist


@dataclass(frozen=True, slots=True)
class Nameplate:
    """The source's rating. volts: line-to-line for three phases and single-phase three-wire, else line-to-neutral."""

    name: str
    kind: str  # "generating set" | "ups" | "switchboard" | "supply"
    power_kw: float
    apparent_kva: float
    volts: float
    hertz: float
    wiring: Wiring
    rating_class: str = ""  # ISO 8528-1: COP PRP LTP ESP DCP; empty for sources that have none
    power_factor: float = 0.8
    serial: str = ""
    ungrounded: bool = False
    isochronous: bool = True
    droop_percent: float = 0.0
    derated_kw: float | None = None  # what the place leaves of power_kw, as the maker states it; None = not stated
    derated_why: str = ""

    @property
    def rated_amps(self) -> float:
        """Rated phase current in amperes: S / (sqrt(3) U) for three phases, else S / U."""
        root3 = 3**0.5 if len(self.wiring.phases) == 3 else 1.0
        return 1000.0 * self.apparent_kva / (root3 * self.volts)


@dataclass(frozen=True, slots=True)
class Endpoint:
    """A Modbus TCP socket. Several devices with their own unit ids may stand behind one."""

    host: str
    port: int
    gateway: bool = False  # shared serial line behind it: one request at a time, longer time-out


@dataclass(frozen=True, slots=True)
class Unit:
    """A load bank in its place in the chain; its index in Site.units is its number less one."""

    name: str  # "bank 1"
    endpoint: Endpoint
    unit_id: int
    profile: Profile
    position: str = ""
    serial: str = ""  # expected; empty = learnt at first contact


@dataclass(frozen=True, slots=True)
class Instrument:
    """A meter or panel that we read and never write."""

    name: str
    role: str  # "meter" | "panel"
    place: str  # "source" | "site load" | "chain" | "panel"
    endpoint: Endpoint
    unit_id: int
    profile: str  # name of the instrument profile
    registers: RegisterMap
    ct_primary_a: float | None = None
    ct_secondary_a: float | None = None
    ct_applied: bool = True  # the meter multiplies by the ratio itself
    accuracy_class: str = ""
    serial: str = ""
    calibration_due: str = ""  # ISO date
    refresh_s: float = 1.0
    reports: frozenset[str] = frozenset()

    @property
    def ct_ratio(self) -> float:
        """Factor that our side must apply to amps and kW."""
        if self.ct_applied or not self.ct_primary_a or not self.ct_secondary_a:
            return 1.0
        return self.ct_primary_a / self.ct_secondary_a


def _limit(default: Any, unit: str, reason: str, mark: str = "CPNS") -> Any:
    return field(default=default, metadata={"unit": unit, "reason": reason, "mark": mark})


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits and times of a site; every one may be stated in the site file. Percentages are of the nameplate."""

    upper_percent: float = _limit(105.0, "%", "a minimum that every sample meets needs room above")
    largest_block_up_percent: float = _limit(25.0, "%", "unknown or cold set: a larger block may stall or trip it")
    largest_block_down_percent: float = _limit(25.0, "%", "load rejection may trip the set on over-speed")
    volts_warn_percent: float = _limit(5.0, "%", "at 110 % volts a bank gives 121 % kW")
    volts_warn_s: float = _limit(5.0, "s", "short dips are not a trend")
    volts_trip_percent: float = _limit(10.0, "%", "supply tolerance", "S16")
    volts_trip_s: float = _limit(5.0, "s", "outlasts recovery after a block")
    volts_low_percent: float = _limit(80.0, "%", "deep sag: collapse or a lost phase")
    volts_low_s: float = _limit(3.0, "s", "outlasts the dip of a block")
    volts_present_percent: float = _limit(20.0, "%", "below it hertz mean nothing")
    hertz_warn_percent: float = _limit(2.0, "%", "frequency tolerance", "S16")
    hertz_low_warn_percent: float = _limit(95.0, "%", "overload shows first in hertz")
    hertz_low_warn_s: float = _limit(5.0, "s", "outlasts recovery after a block")
    hertz_low_percent: float = _limit(93.0, "%", "the set is overloaded")
    hertz_low_s: float = _limit(3.0, "s", "outlasts the dip of a block")
    hertz_stall_percent: float = _limit(85.0, "%", "the set is stalling")
    hertz_stall_s: float = _limit(0.5, "s", "a stall is quick")
    hertz_high_percent: float = _limit(105.0, "%", "shedding on over-speed makes it worse: alarm only")
    over_current_percent: float = _limit(110.0, "%", "of rated amps")
    over_current_s: float = _limit(5.0, "s", "one bad sample is no overload")
    over_power_percent: float = _limit(110.0, "%", "of rated kW")
    over_power_s: float = _limit(5.0, "s", "one bad sample is no overload")
    block_window_s: float = _limit(10.0, "s", "transients are the purpose of a block test", "S17")
    block_volts_percent: float = _limit(20.0, "%", "class G2 dip", "S17")
    block_hertz_percent: float = _limit(10.0, "%", "class G2 dip", "S17")
    exhaust_warn_percent: float = _limit(25.0, "%", "over the expected rise: recirculation, blocked inlet")
    exhaust_trip_percent: float = _limit(50.0, "%", "over the expected rise")
    exhaust_below_trip_k: float = _limit(10.0, "K", "we act before the unit does")
    inlet_warn_c: float = _limit(45.0, "degC", "hot air returns to the inlet")
    unbalance_percent: float = _limit(10.0, "%", "phase kW within this of their mean while dispatching")
    stale_s: float = _limit(3.0, "s", "survives a Wi-Fi roam")
    lost_s: float = _limit(5.0, "s", "survives a Wi-Fi roam")
    fan_start_gap_s: float = _limit(2.0, "s", "fan inrush on small sets")
    settle_s: float = _limit(10.0, "s", "electrical settling")
    hold_band_percent: float = _limit(2.0, "%", "of the target; never finer than 3/4 of the smallest stage")
    hold_start_timeout_s: float = _limit(60.0, "s", "then the operator is asked")
    trim_authority_percent: float = _limit(10.0, "%", "of the target")
    trim_dwell_s: float = _limit(10.0, "s", "contactor life, governor hunting")
    unload_step_percent: float = _limit(25.0, "%", "no needless load rejection")
    unload_step_s: float = _limit(5.0, "s", "no needless load rejection")
    fast_unload_s: float = _limit(4.0, "s", "a rejection from full load can trip the set on over-speed")
    check_load_percent: float = _limit(10.0, "%", "a few kW on a large transformer prove nothing")
    check_tolerance_percent: float = _limit(10.0, "%", "of the expected kW, or 2 % of the transformer's rating")
    recheck_percent: float = _limit(5.0, "%", "delivered against the stages read back closed, all through a run")
    recheck_from_percent: float = _limit(25.0, "%", "of the nameplate: below it a few kW prove nothing")
    check_phase_percent: float = _limit(5.0, "%", "between phases")
    check_power_factor: float = _limit(0.95, "", "a resistive load is near 1")
    source_cooldown_s: float = _limit(300.0, "s", "turbo and heads; from memory", "memory")


class WhenLost(Enum):
    """What the bench does when a unit is lost during a run."""

    KEEP = "keep the rest"
    UNLOAD = "unload all"
    REDISTRIBUTE = "redistribute"


CONSOLE_LOST_S = 300.0  # links break and people walk back: common practice, no source
CONSOLE_LOST_BARE_S = 120.0  # where a unit has no watchdog, nobody but us takes its load off
LONGEST_CHECK_IN_S = 1200.0  # an attached screen is no person: common practice, no source


@dataclass(frozen=True, slots=True)
class Attendance:
    """Who must be there while charge is taken and load is on. All times are common practice, no source."""

    unattended: bool = False  # a session may be declared unattended
    check_in_s: float = 300.0  # from the last sign of a person to the question whether somebody is there
    console_lost_s: float = CONSOLE_LOST_S  # nobody attached, or load found on and nobody decides: then unload
    hold_meanwhile: bool = False  # while nobody is attached the load is held where it is
    alarm_after_s: float = 120.0  # from the question whether somebody is there
    unload_after_s: float = 420.0  # from the same question


@dataclass(frozen=True, slots=True)
class Simulation:
    """What the simulator assumes of the place; no other room reads it."""

    site_load_kw: float = 0.0  # largest; it comes and goes
    ambient_c: float = 20.0
    inertia_s: float = 0.8
    volts: float | None = None  # running volts of the source if not the nameplate's


@dataclass(frozen=True, slots=True)
class Site:
    """One place."""

    name: str
    title: str
    nameplate: Nameplate
    units: tuple[Unit, ...]
    instruments: tuple[Instrument, ...] = ()
    limits: Limits = Limits()
    site_load_reserve_kw: float = 0.0  # counted as site load where no source meter tells
    ambient_c: float | None = None
    altitude_m: float = 0.0
    scan_period_s: float | None = None  # None = computed from the links, 0.5 s at best
    when_lost: WhenLost = WhenLost.KEEP
    attendance: Attendance = Attendance()
    simulation: Simulation = Simulation()

    @property
    def rated_kw(self) -> float:
        """kW of all units at their own rated volts."""
        return sum(u.profile.rated_kw for u in self.units)
