"""What the messages hold: one JSON object each, these keys.

Missing is null, never 0; a text that is missing is empty. Times are ISO 8601 with their offset from UTC. kW are those
at the volts present. `age_s` is how old the values beside it in the same object were at `at`, null = never heard;
`stale` is true where they are older than the site's limit, frozen, or were never heard. Keys may be added under the
same `schema`; a key that changes its meaning counts it up.
"""

from dataclasses import dataclass
from typing import Any, Literal

from benchctl.core.reading import Maybe, Three

SCHEMA = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """In every message. session: of one publisher's life. seq: counts the messages of this kind in it, lost ones too.

    sent_at: by the publisher's clock, when the message was handed to the connection. at: of what is told, by the
    bench's clock (in a rehearsal its own); null where nobody knows.
    """

    schema: int
    session: str
    seq: int
    sent_at: str
    at: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Presence(Head):
    """online: the run host is connected. silent: it is, but its bench has not been heard for silent_after_s.

    offline: it said farewell, or the broker misses it (then `at` is null, `sent_at` of the time it connected).
    """

    presence: Literal["online", "silent", "offline"]
    why: str
    connected_at: str
    silent_after_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SourcePlate:
    """The source's nameplate. rating_class of ISO 8528-1, or empty."""

    name: str
    kind: str
    power_kw: float
    apparent_kva: float
    volts_v: float
    hertz: float
    rating_class: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitPlate:
    """A load bank unit. stages: how many, 0 where it takes a set point."""

    name: str
    title: str
    position: str
    rated_kw: float
    stages: int


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentPlate:
    """A meter or panel, and where it is connected."""

    name: str
    role: str
    place: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate(Head):
    """What the bench is. snapshot_s: seconds from one snapshot to the next; stale_s: of values, see `stale`."""

    site: str
    title: str
    rehearsal: bool
    version: str  # of benchctl
    snapshot_s: float
    scan_period_s: float
    stale_s: float
    source: SourcePlate
    units: tuple[UnitPlate, ...]
    instruments: tuple[InstrumentPlate, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A figure of the whole chain. told_by: `units`, `chain meter`, `source meter`; units: how many are in it."""

    power_kw: Maybe
    told_by: str
    units: int | None
    age_s: Maybe
    stale: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """The source as it is measured; phases A, B, C or AB, BC, CA. power_kw, site_kw may be reckoned from others."""

    told_by: str
    age_s: Maybe
    stale: bool
    frozen: bool
    volts_v: Maybe
    volts_ll: Three
    volts_ln: Three
    amps: Three
    phase_kw: Three
    power_kw: Maybe
    reactive_kvar: Maybe
    power_factor: Maybe
    hertz: Maybe
    site_kw: Maybe


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A unit. commanded, possible and cool_down are ours and of this scan; all else it told, age_s before."""

    name: str
    condition: str
    unable: str
    age_s: Maybe
    stale: bool
    joined: bool
    found: bool
    remote: bool | None
    commanded_kw: Maybe
    read_back_kw: Maybe
    measured_kw: Maybe
    possible_kw: Maybe
    rated_kw: Maybe
    closed: tuple[str, ...] | None
    exhaust_c: Maybe
    inlet_c: Maybe
    fan_ordered: bool
    fan_on: bool | None
    airflow: bool | None
    cool_down_s: Maybe
    faults: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """A meter or panel, and what it says of the set."""

    name: str
    age_s: Maybe
    stale: bool
    power_kw: Maybe
    speed_rpm: Maybe
    oil_kpa: Maybe
    coolant_c: Maybe
    fuel_percent: Maybe
    battery_v: Maybe
    set_running: bool | None
    set_fault: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Where the program is. to_go: null where nobody knows. segment, leg: from 0; legs: how many."""

    program: str
    segment: int | None
    leg: int | None
    legs: int | None
    kind: str
    label: str
    leg_s: Maybe
    leg_to_go_s: Maybe
    program_s: Maybe
    program_to_go_s: Maybe
    paused: bool
    held: str
    waiting: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Live(Head):
    """One scan. off: true when every unit reads back open now; loaded: anything may be closed."""

    scan: int
    bench_s: Maybe  # seconds of the bench's own time
    late: bool
    gap_s: Maybe
    fault: str  # deciding failed: what it said; everything is then ordered open
    mode: str
    loaded: bool
    off: bool | None
    dropped: bool
    charge: str
    unattended: bool
    attached: bool | None
    recorder: str
    run: str
    outcome: str
    course: Course | None
    target_kw: Maybe
    commanded_kw: Maybe
    possible_kw: Maybe
    available_kw: Maybe
    rated_kw: Maybe
    ceiling_kw: Maybe
    read_back: Measured
    delivered: Measured
    source: Source
    units: tuple[Unit, ...]
    instruments: tuple[Instrument, ...]
    alarms: int  # that stand and are not shelved
    unacknowledged: int
    first_out: str
    trip: str
    cool_down_s: Maybe
    energy_kwh: Maybe
    energy_whole: bool
    pace: Maybe


@dataclass(frozen=True, slots=True, kw_only=True)
class State(Head):
    """The bench in brief, as it was at `at`: for those who come late, and for what is left of a bench that is gone."""

    mode: str
    loaded: bool
    off: bool | None
    dropped: bool
    fault: str
    charge: str
    recorder: str
    run: str
    program: str
    outcome: str
    first_out: str
    trip: str
    alarms: int
    unacknowledged: int
    units: int
    units_stale: int
    units_lost: int
    target_kw: Maybe
    delivered: Measured
    source_kw: Maybe
    volts_v: Maybe
    hertz: Maybe
    source_age_s: Maybe
    source_stale: bool
    program_to_go_s: Maybe
    cool_down_s: Maybe


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """An alarm that stands, in the words of the bench. unit: empty = source, site or chain."""

    row: str
    unit: str
    text: str
    reaction: str
    active: bool
    acknowledged: bool
    latched: bool
    first_out: bool
    count: int
    shelved_s: Maybe
    shelved_by: str
    shelved_why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing(Head):
    """All alarms that stand, the first first."""

    alarms: tuple[Alarm, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Event(Head):
    """Something that happened in a scan. lost: how many events of this session were given up before this one."""

    scan: int
    bench_s: Maybe
    what: str
    text: str
    unit: str
    who: str
    data: dict[str, Any]
    lost: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What a rule set says of a run: `shown`, `not met` or `not demonstrated`; how many of its rules came out how."""

    rule_set: str
    outcome: str
    shown: int
    not_met: int
    not_demonstrated: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Run(Head):
    """A run. verdicts: null while it is not judged, empty where its program names no rule set.

    sealed: the record is closed and has its hash beside it; problem: why not, or why it is not judged.
    """

    run: str
    program: str
    in_hand: bool
    outcome: str
    sealed: bool | None
    problem: str
    totals: dict[str, Any]
    verdicts: tuple[Judged, ...] | None
