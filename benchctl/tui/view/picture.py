"""The picture: everything that a screen is drawn from. Only the cursor is the screen's own."""

from dataclasses import dataclass, field
from enum import Enum
from typing import Any

from benchctl.core.shown import Snapshot
from benchctl.tui.view.story import Story
from benchctl.tui.view.traces import Traces

STALE_S = 2.0  # a picture older than this is not live: four scans of the usual length


class Page(Enum):
    """The pages, in the order of their digits."""

    CHAIN = "Chain"
    PROGRAM = "Program"
    TRENDS = "Trends"
    ALARMS = "Alarms"
    BANK = "Bank"
    RUNS = "Runs"
    FAR = "Far"
    CONTACT = "Contact"
    HELP = "Help"


@dataclass(frozen=True, slots=True)
class Told:
    """One thing that happened, as a line of the story. wall_s: seconds since 1970; clock: time of day here."""

    number: int
    wall_s: float
    clock: str
    what: str
    text: str
    unit: str = ""
    who: str = ""
    data: tuple[tuple[str, Any], ...] = ()


@dataclass(frozen=True, slots=True)
class StageTold:
    """A stage of a bank: name and kW at rated volts."""

    name: str
    rated_kw: float


@dataclass(frozen=True, slots=True)
class BankTold:
    """What does not change about a bank."""

    name: str
    title: str
    rated_kw: float
    endpoint: str
    stages: tuple[StageTold, ...]
    position: str = ""
    step_kw: float | None = None  # of a set point; None where stages are ordered


@dataclass(frozen=True, slots=True)
class Register:
    """A point of a register map as it was last read. bit: of the word, or None; words: in hexadecimal digits."""

    table: str
    address: int
    bit: int | None
    words: str
    name: str
    text: str
    age_s: float | None


@dataclass(frozen=True, slots=True)
class Registers:
    """Of one bank, as of scan `number`. fault: why they cannot be shown, or empty."""

    bank: str
    number: int = 0
    rows: tuple[Register, ...] = ()
    fault: str = ""


@dataclass(frozen=True, slots=True)
class Place:
    """What a run host says of its site when a console attaches. Percents and kW as in the site file."""

    site: str = ""
    title: str = ""
    rehearsal: bool = False
    banks: tuple[BankTold, ...] = ()
    instruments: tuple[tuple[str, str, str], ...] = ()  # name, role, place
    ends: dict[str, str] = field(default_factory=dict)  # of each device by its name: HOST:PORT/unit id
    nameplate: dict[str, Any] = field(default_factory=dict)
    limits: dict[str, Any] = field(default_factory=dict)
    attendance: str = ""
    scan_period_s: float = 0.5
    pid: int = 0
    runs: str = ""
    console: str = ""  # what this console is called there


@dataclass(slots=True)
class Cursor:
    """Where the operator looks: the only state of the screen's own."""

    page: Page = Page.CHAIN
    back: Page = Page.CHAIN  # where Escape leads from help
    bank: int = 0
    stage: int = 0
    alarm: int = 0
    run: int = 0
    run_open: bool = False
    scroll: int = 0  # of the page that is shown
    span_s: float = 600.0  # of the trends; 0 = the whole run
    ago_s: float | None = None  # of the trend's cursor; None = no cursor
    history: bool = False  # of the alarms
    rules: bool = False  # of the program and of an open run: what the rule sets say, rule by rule
    working: bool = False  # ... with the sums behind it


class DropStep(Enum):
    """How far a drop is."""

    NONE = ""
    SENT = "sent"
    ACCEPTED = "accepted"
    OPEN = "read back open"
    FAILED = "NOT DONE"


@dataclass(slots=True)
class Picture:
    """All of it. quiet_s: how old `now` is by this computer's own clock; None where nothing has come yet."""

    place: Place = field(default_factory=Place)
    now: Snapshot | None = None
    quiet_s: float | None = None
    starting: str = ""  # what is being waited for, before the first picture
    lost: str = ""  # why the run host is not reached; empty while it is
    clock: str = "--:--:--"
    pace: float | None = None  # true factor of a rehearsal
    pace_asked: float | None = 1.0  # None = as fast as it goes
    who: str = ""
    hint: str = ""  # the newest word to the operator
    hint_bad: bool = False
    ousted: Told | None = None  # the event by which another took charge from this console
    drop: DropStep = DropStep.NONE
    drop_why: str = ""
    story: Story = field(default_factory=Story)
    traces: Traces = field(default_factory=Traces)
    plan: dict[str, Any] | None = None  # the answer to the program that is chosen, with its name
    rule_sets: tuple[str, ...] = ()  # picked here: plans and runs are judged by them too
    judged: dict[str, dict[str, Any]] = field(default_factory=dict)  # runs, by name, as rule sets judge their records
    ended: str = ""  # the run that has ended last while this console watched
    registers: Registers | None = None  # of the bank that is looked at
    contact: tuple[dict[str, Any], ...] = ()  # the rows of first contact
    runs: tuple[dict[str, Any], ...] = ()  # of the runs' folder, the newest first
    run: dict[str, Any] | None = None  # the run that is open: its events, its trend
    fetching: str = ""  # what the page that is shown waits for, or why it cannot be had
    cursor: Cursor = field(default_factory=Cursor)
    glyphs: str = "full"  # or "ascii"

    @property
    def old(self) -> bool:
        """True when nothing of the picture may look live."""
        return bool(self.lost) or self.quiet_s is None or self.quiet_s > STALE_S

    @property
    def live(self) -> bool:
        """True when there is a picture and it is of now."""
        return self.now is not None and not self.old
