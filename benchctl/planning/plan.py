"""The nouns of a plan: what will happen when a program runs at a site, and whether it can.

kW are actual kW at the site's volts unless a name says otherwise. Program time counts neither prompts nor waiting for a
band or for the supply; those are listed with their longest duration.
"""

from dataclasses import dataclass, field
from enum import Enum

from benchctl.core.legs import LegKind
from benchctl.core.program import LoadIs, Rounding, Silence

Phases = tuple[float, float, float]


class Side(Enum):
    """On which side of the asked kW the stages' kW lie."""

    EXACT = "exact"
    ABOVE = "above"
    BELOW = "below"


class Severity(Enum):
    """What a finding means for the plan."""

    WARNING = "warning"
    REFUSAL = "refusal"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that the plan found. number: the row of the plan that it is about; line: of the program file."""

    key: str
    severity: Severity
    text: str
    number: int | None = None
    line: int | None = None


@dataclass(frozen=True, slots=True)
class Level:
    """What the chain gives for one asked kW.

    asked_kw: of the chain. given_kw: of the best stages. short: a minimum that the chain cannot reach. phase_kw and
    phase_amps: of the chain, at the site's volts. source_kw: given, and what the source carries besides.
    air_m3_s: of all fans, None when a profile does not tell its flow. rise_k: exhaust over inlet of the hottest unit at
    the site's altitude, or None.
    """

    asked_kw: float
    given_kw: float
    short: bool
    phase_kw: Phases
    phase_amps: Phases
    unbalance_percent: float
    source_kw: float
    air_m3_s: float | None
    rise_k: float | None

    @property
    def error_kw(self) -> float:
        """Given less asked."""
        return self.given_kw - self.asked_kw

    @property
    def error_percent(self) -> float | None:
        """Error in percent of what is asked; None when nothing is asked."""
        return 100.0 * self.error_kw / self.asked_kw if self.asked_kw > 0.0 else None

    @property
    def side(self) -> Side:
        """Direction of the rounding; within half a watt counts as exact."""
        if abs(self.error_kw) < 0.0005:
            return Side.EXACT
        return Side.ABOVE if self.error_kw > 0.0 else Side.BELOW


@dataclass(frozen=True, slots=True)
class PlannedLeg:
    """One row of the plan: a leg of the program with its time, its level at the end and its energy.

    target_kw: as the program counts it at the leg's end (chain, or source total). from_kw: of the chain at its begin.
    mean_kw: mean of what is asked of the chain over the leg. given_kwh: energy of what the stages give. levels:
    different levels that the chain stands at during the leg, the one at its begin included. wait_s: longest time
    without program time.
    """

    number: int
    segment: int
    kind: LegKind
    label: str
    line: int
    start_s: float
    length_s: float
    wait_s: float
    target_kw: float
    from_kw: float
    level: Level
    levels: int
    mean_kw: float
    given_kwh: float
    rejection: bool = False
    in_band: bool = False
    band_percent: float | None = None
    prompt: str = ""
    if_silent: Silence = Silence.UNLOAD
    step_kw: float = 0.0  # of re-applying after a loss of supply
    step_s: float = 0.0

    @property
    def end_s(self) -> float:
        """Program time at which the leg is over."""
        return self.start_s + self.length_s

    @property
    def asked_kw(self) -> float:
        """kW asked of the chain at the leg's end."""
        return self.level.asked_kw

    @property
    def energy_kwh(self) -> float:
        """Integral of what is asked of the chain over the leg's time."""
        return self.mean_kw * self.length_s / 3600.0

    @property
    def change_kw(self) -> float:
        """How far the leg moves what is asked of the chain."""
        return self.asked_kw - self.from_kw


@dataclass(frozen=True, slots=True)
class Stairs:
    """A staircase of the program, told as people count it: steps are between levels, so there is one level more."""

    segment: int
    steps: int
    kws: tuple[float, ...]  # in the program's sense

    @property
    def text(self) -> str:
        """The explanation of steps against levels."""
        levels = ", ".join(f"{kw:g}" for kw in self.kws[:12]) + (", ..." if len(self.kws) > 12 else "")
        many = "step makes" if self.steps == 1 else "steps make"
        return f"segment {self.segment}: {self.steps} {many} {len(self.kws)} levels, the first counted: {levels} kW"


@dataclass(frozen=True, slots=True)
class Margin:
    """What a sag of the volts does to one level, and what to set so that the level is still met.

    sagged_kw: delivered at volts less sag_percent with the setting as asked. set_kw: setting that then delivers
    asked_kw. reachable: the chain can give asked_kw at those volts.
    """

    asked_kw: float
    sag_percent: float
    sagged_kw: float
    set_kw: float
    reachable: bool


@dataclass(frozen=True, slots=True)
class Link:
    """One endpoint and the time its requests take.

    requests: reads in every scan. seldom: reads at contact and once a minute. feeds: watchdog writes that the worst
    scan holds. scan_s: time of reads and feeds, one after the other. drop_write_s: until the last device has its drop,
    with one poll in flight. off_s: until its load is off at the latest. block_spread_s: between the first and the last
    unit's write of a block.
    """

    place: str
    gateway: bool
    devices: tuple[str, ...]
    units: int
    requests: int
    seldom: int
    feeds: int
    scan_s: float
    drop_write_s: float
    off_s: float
    block_spread_s: float


@dataclass(frozen=True, slots=True)
class Totals:
    """Sums over the program.

    before_s: fans and check load before program time begins, about. wait_s: longest waits in all. cooldown_s: after
    the last load, at least. average_percent: of the nameplate in the rating class's sense, None where the class has
    none or no time passes. fuel_litres: by a generic table, None where it does not apply. levels: different kW asked.
    chain_levels: different kW that the chain can give at the site's volts. changes: legs that move the load.
    """

    length_s: float
    before_s: float
    wait_s: float
    cooldown_s: float
    peak_kw: float
    peak_source_kw: float
    energy_kwh: float
    given_kwh: float
    levels: int
    chain_levels: int
    smallest_kw: float
    changes: int
    average_percent: float | None
    fuel_litres: float | None
    readings: int


@dataclass(frozen=True, slots=True)
class Loss:
    """What remains without the smallest unit (by what it gives)."""

    unit: str
    lost_kw: float
    left_kw: float
    peak_reachable: bool


@dataclass(frozen=True, slots=True)
class Plan:
    """The whole plan. stops: what happens if this computer stops; notes: facts; cautions: before load is applied."""

    program: str
    title: str
    site: str
    load_is: LoadIs
    rounding: Rounding
    available_kw: float
    rated_kw: float
    limit_kw: float  # upper limit of the source
    site_kw: float  # reserve for the site's own load
    fans_kw: float  # of fans fed by the source
    scan_period_s: float
    scan_stated: bool
    legs: tuple[PlannedLeg, ...]
    stairs: tuple[Stairs, ...]
    margins: tuple[Margin, ...]
    links: tuple[Link, ...]
    totals: Totals
    loss: Loss | None
    stops: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = field(default=())

    @property
    def feasible(self) -> bool:
        """True when no finding refuses it."""
        return all(f.severity is not Severity.REFUSAL for f in self.findings)
