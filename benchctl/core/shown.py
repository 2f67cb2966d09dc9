"""What a screen is shown of one scan: plain values only, so that they can go to another process.

Missing is None, never 0; a text that is missing is empty. kW are those at the volts present, or at rated volts while
these are not known; only `possible_kw` is then reckoned high, as the limits reckon it. Commanded, read back and
measured stay three values. Volts, amps and phases are in the order A, B, C or AB, BC, CA.
"""

from dataclasses import dataclass

from benchctl.core.reading import Maybe, Three


@dataclass(frozen=True, slots=True)
class LegShown:
    """Where the program is. index counts from 0. to_go_s is None where nobody knows: for the operator, the supply."""

    index: int
    count: int
    segment: int
    kind: str
    label: str
    from_kw: float
    to_kw: Maybe
    spent_s: float
    to_go_s: Maybe


@dataclass(frozen=True, slots=True)
class SourceShown:
    """The source as it is measured. told_by: which meter, or empty. power_kw, site_kw may be reckoned from others."""

    told_by: str
    age_s: Maybe
    frozen: bool
    volts_v: Maybe  # the mean, in the sense of the nameplate
    volts_ll: Three
    volts_ln: Three
    amps: Three
    phase_kw: Three
    power_kw: Maybe
    reactive_kvar: Maybe
    power_factor: Maybe
    hertz: Maybe
    hertz_fault: bool  # volts are there, hertz are not
    site_kw: Maybe


@dataclass(frozen=True, slots=True)
class UnitShown:
    """One unit. stages: how many it has (0 for a set-point unit); closed: names of those read back closed."""

    name: str
    condition: str  # a word of CONDITIONS
    unable: str  # why no stage of it may close now
    found: bool
    joined: bool
    remote: bool | None
    age_s: Maybe
    commanded_kw: Maybe
    read_back_kw: Maybe
    measured_kw: Maybe
    possible_kw: float
    rated_kw: float
    stages: int
    closed: tuple[str, ...] | None
    exhaust_c: Maybe
    inlet_c: Maybe
    fan_ordered: bool
    fan_on: bool | None
    airflow: bool | None
    cool_down_s: float  # at least this long; in full until it is known to be less
    faults: tuple[str, ...]  # that it reports itself
    ordered: tuple[str, ...] | None = None  # names of the stages that we hold ordered; None where we order nothing


@dataclass(frozen=True, slots=True)
class InstrumentShown:
    """A meter or panel: what it says of the set, and how old that is."""

    name: str
    role: str
    place: str
    age_s: Maybe
    power_kw: Maybe
    speed_rpm: Maybe
    oil_kpa: Maybe
    coolant_c: Maybe
    fuel_percent: Maybe
    battery_v: Maybe
    set_running: bool | None
    set_fault: bool | None


@dataclass(frozen=True, slots=True)
class AlarmShown:
    """An alarm that stands. row and unit (empty = source, site or chain) are what an acknowledgement names."""

    row: str
    unit: str
    text: str
    reaction: str
    active: bool
    acknowledged: bool
    latched: bool
    first_out: bool
    count: int
    shelved_s: (
        float  # how long it stays set aside, and is shown as neither active nor to be acknowledged; 0 = it is not
    )
    shelved_by: str
    shelved_why: str


@dataclass(frozen=True, slots=True)
class TripShown:
    """The latched first cause."""

    row: str
    unit: str
    text: str
    segment: int
    program_s: float


@dataclass(frozen=True, slots=True)
class PromptShown:
    """The open question, what either answer does, and what happens when nobody answers."""

    kind: str
    text: str
    yes: str
    no: str
    remaining_s: float
    if_silent: str


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One scan. `off` is the only field that says that load is off: True when every unit reads back open now."""

    number: int
    wall_s: float  # seconds since 1970, UTC
    now_s: float
    dt_s: float
    gap_s: float  # a hole in time before it
    late: bool
    fault: str  # deciding failed: what it said
    mode: str
    charge: str
    unattended: bool
    attached: bool | None
    alone_s: float
    person_s: float
    program: str
    leg: LegShown | None
    program_s: float
    program_to_go_s: Maybe
    readings: tuple[str, ...]  # that the program asks a person for: names of core/readings.py
    reading_due_s: Maybe  # program time until one is due, negative while one is owed; None when none will be asked
    reading_number: int  # of the next
    paused: bool
    held: str
    waiting: bool
    outcome: str
    target_kw: float
    chain_target_kw: float
    trim_kw: float
    short_kw: float
    commanded_kw: Maybe
    read_back_kw: Maybe  # of the units that are read back in this scan
    read_back_units: int
    delivered_kw: Maybe
    delivered_from: str
    available_kw: float
    possible_kw: float
    rated_kw: float
    ceiling_kw: float
    margin_kw: float
    by_hand: bool  # stages were switched one by one: what is on is kept, nothing is chosen
    raise_kw: Maybe  # a target that gives the next larger level; None where none is to be had by hand now
    lower_kw: Maybe  # ... the next smaller one, down to 0
    loaded: bool  # anything may be closed
    off: bool | None
    dropped: bool
    cool_down_s: float  # the longest of the units that are ours
    source_cool_down_s: float
    source: SourceShown
    units: tuple[UnitShown, ...]
    instruments: tuple[InstrumentShown, ...]
    alarms: tuple[AlarmShown, ...]
    trip: TripShown | None
    prompt: PromptShown | None
    permissives: tuple[tuple[str, bool | None], ...]
    overrides: tuple[tuple[str, str, str, str], ...]  # what, unit or empty, who, why
    recorder: str
    energy_kwh: Maybe = None  # delivered since the run in hand began; None where no run is, or nothing has told kW
    energy_whole: bool = True  # nothing is missing in it
    charge_console: str = ""  # at which console charge was taken; empty = at none
    consoles: tuple[str, ...] = ()  # that are attached and whose loop answers
    pace: Maybe = None  # of a rehearsal: its seconds a real second, of the last few; wall_s is its own time too
