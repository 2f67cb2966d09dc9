"""The state that one scan hands to the next: saturating times, latches and last known values; no absolute times.

`decide` copies the state it is given, the rungs work on the copy, and a state that has been returned is never touched
again. The classes are therefore not frozen, for speed, but are treated as values outside of `decide`.
"""

from dataclasses import dataclass, field
from enum import Enum

from benchctl.core.copies import copier
from benchctl.core.program import Silence
from benchctl.core.reading import NOT_ASKED_INSTRUMENT, NOT_ASKED_UNIT, InstrumentReading, Maybe, UnitReading


class Mode(Enum):
    """What the bench is doing."""

    IDLE = "idle"  # no program; load by hand is possible
    CHECK = "checks"  # permissives, check load, stage check
    RUN = "running"
    UNLOAD = "unloading"
    COOL = "cooling down"  # no load any more; debts and the source's cool-down are being paid
    DONE = "done"


class Result(Enum):
    """Of one trial of the check load or the stage check."""

    PASS = "pass"  # noqa: S105 - a word, no secret
    FAIL = "fail"
    NOT_DEMONSTRATED = "not demonstrated"


@dataclass(slots=True)
class UnitState:
    """One unit. Loads are the integers of `core/levels.py`."""

    wanted: int = 0  # the load that we hold ordered
    possible: int = 0  # everything that may be closed: ordered, read back, or sent without an answer
    sent: int | None = None  # the load of a closing sent in the scan before
    follow_s: float = 0.0  # time left for a closing to be read back
    opening_s: float = 0.0  # how long an opening has not been read back
    last: UnitReading = NOT_ASKED_UNIT  # last reading in which the unit answered
    age_s: float = 1e9  # of that reading
    heard: bool = False
    joined: bool = False
    lost: bool = False
    found: bool = False  # met with load on that this session has not started: nobody has decided about it yet
    emptied: bool = False  # read back with no load since it was met or returned
    serial: str = ""
    identified: bool | None = None
    foreign: bool = False  # somebody else changed its load
    fell: bool = False  # load went off without our order
    restarted: bool = False
    swapped: bool = False
    stuck_air: bool = False  # the airflow proof says air though the fan is off
    air_off_s: float = 0.0  # how long the fan has been off while the proof says air
    unclosed: int = 0  # stages that did not follow a closing
    welded: int = 0  # stages that did not follow an opening
    fan: bool = False  # ordered
    fan_on_s: float = 0.0  # how long the fan has been ordered on
    seen_still: bool = False  # airflow seen off with the fan off
    proven: bool = False
    fan_withdrawn: bool = False  # after its emergency stop, until confirmed
    owed_s: float = 0.0  # cool-down: minimum still to be paid
    near_s: float = 0.0  # cool-down: time the exhaust must still stay near its reference
    hot: bool = True
    cooling_s: float = 0.0
    feed_s: float = 0.0  # until the watchdog is fed again
    out: bool = False  # taken off by a latched interlock
    steady_s: float = 0.0  # how long the load read back has been what is wanted
    missing: tuple[tuple[int, int, int], ...] = ()  # (stage, phase, scans) suspected or found to draw nothing
    health: tuple[tuple[float, float, float], ...] | None = None  # found kW share per stage and phase; None = as rated

    def copy(self) -> "UnitState":
        """A copy that may be worked on."""
        return _copy_unit(self)


_copy_unit = copier(UnitState)


@dataclass(slots=True)
class InstrumentState:
    """One meter or panel: last answer, its age, and how long its measurement has not moved."""

    last: InstrumentReading = NOT_ASKED_INSTRUMENT
    age_s: float = 1e9
    frozen_s: float = 0.0

    def copy(self) -> "InstrumentState":
        """A copy that may be worked on."""
        return InstrumentState(self.last, self.age_s, self.frozen_s)


@dataclass(frozen=True, slots=True)
class Prompt:
    """An open question to the operator. `kind` is a row of `core/prompts.py`."""

    kind: str
    text: str
    remaining_s: float
    if_silent: Silence


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm or interlock in the sense of IEC 62682. `unit` is an index, or -1 for source, site and chain."""

    row: str
    unit: int
    on_s: float = 0.0  # how long the condition has been there, up to the row's delay
    active: bool = False
    acknowledged: bool = True
    latched: bool = False
    count: int = 0
    order: int = 0  # first-out: lower came first; equal numbers were first seen in one scan
    text: str = ""


@dataclass(frozen=True, slots=True)
class Shelved:
    """An alarm that somebody has set aside. unit as in Alarm; text: what the alarm said."""

    row: str
    unit: int
    left_s: float
    who: str
    why: str
    text: str


@dataclass(frozen=True, slots=True)
class Trip:
    """The latched first cause."""

    row: str
    unit: int
    text: str
    segment: int
    program_s: float


@dataclass(frozen=True, slots=True)
class Trial:
    """A result of check load or stage check. stage = -1: the unit's check load."""

    unit: int
    stage: int
    result: Result
    text: str
    expected_kw: float
    measured_kw: float | None


@dataclass(slots=True)
class CheckState:
    """Progress through the trials of the CHECK mode."""

    index: int = -1  # trial in hand; -1 = permissives are still filling in
    step: int = 0  # 0 before, 1 on, 2 after
    wait_s: float = 0.0
    load: int = 0
    sums: tuple[float, ...] = ()  # measurements of the steps so far, see core/checkload.py
    count: int = 0
    counts: tuple[int, int, int] = (0, 0, 0)  # samples per step
    tries: int = 0
    results: tuple[Trial, ...] = ()
    waited_s: float = 0.0

    def copy(self) -> "CheckState":
        """A copy that may be worked on."""
        return _copy_check(self)


_copy_check = copier(CheckState)


@dataclass(slots=True)
class State:
    """Everything that decide carries from scan to scan."""

    units: tuple[UnitState, ...]
    instruments: tuple[InstrumentState, ...]
    charge: str = ""  # who has taken charge; empty = nobody, nothing is written
    console: str = ""  # at which console; empty = at none
    unattended: bool = False  # declared so when charge was taken
    alone_s: float = 0.0  # how long nobody has been attached
    person_s: float = 0.0  # since the last sign of a person
    found_s: Maybe = None  # how long load found on has waited for a decision; None = there is none
    mode: Mode = Mode.IDLE
    check: CheckState = field(default_factory=CheckState)
    # the program
    leg: int = 0
    leg_s: float = 0.0  # program time spent in the leg
    from_kw: float = 0.0  # target when the leg began
    target_kw: float = 0.0  # what is asked now
    ceiling_kw: float = 0.0  # larger of the targets before and after the last move (law 4)
    waiting: bool = False  # a hold waits for its band, a leg for the operator or the supply
    waited_s: float = 0.0
    phase: int = 0  # of a loss-of-supply leg: 0 awaited, 1 gone, 2 back
    extended_s: float = 0.0
    paused: bool = False
    held: str = ""  # why the program is held; empty = it is not
    prompt: Prompt | None = None
    program_s: float = 0.0
    paused_s: float = 0.0
    reading_owed_s: Maybe = None  # program time since a reading fell due that was not given; None = none is owed
    reading_number: int = 1  # of the next reading
    unload_s: float = 0.0  # until the next step of an unload
    unload_fast: bool = False
    by_hand: bool = False  # stages are switched one by one: what is on is kept, nothing is chosen
    after_unload: str = ""  # outcome to reach when the unload and the cool-down are over
    source_cool_s: float = 0.0
    outcome: str = ""
    # limits and regulation
    room_kw: float = 0.0  # how much may be added at once now; fills up to the largest block
    block_s: float = 0.0  # rest of the window after a block
    volts_v: float = 0.0  # volts that the levels are computed with
    site_kw: float = 0.0  # site load that the levels are computed with
    site_known_kw: Maybe = None  # site load that the limits are computed with; None = never known
    short_kw: float = 0.0  # went off with a unit in this leg and is not given to the others
    trim_kw: float = 0.0
    trim_wait_s: float = 0.0
    settle_s: float = 0.0  # until the meters tell of the last change
    fan_gap_s: float = 0.0
    redistributed: bool = False
    # alarms
    alarms: dict[tuple[str, int], Alarm] = field(default_factory=dict)
    alarm_order: int = 0
    shelved: tuple[Shelved, ...] = ()
    trip: Trip | None = None
    dropped: bool = False  # a drop is in force: every stage is ordered open
    overrides: tuple[tuple[str, int, str, str], ...] = ()  # what, unit or -1, who, why

    def copy(self) -> "State":
        """A copy that may be worked on, down to the units."""
        new = _copy_state(self)
        new.units = tuple([_copy_unit(u) for u in self.units])
        new.instruments = tuple([i.copy() for i in self.instruments])
        new.check = self.check.copy()
        new.alarms = dict(self.alarms)
        return new


_copy_state = copier(State)


def undecided(state: State, u: UnitState) -> bool:
    """True while nothing is written to a unit: its load was found on, and nobody and no interlock has decided."""
    return u.found and not u.out and not state.dropped
