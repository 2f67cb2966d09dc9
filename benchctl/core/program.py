"""A program's nouns: the ordered segments of one test."""

from dataclasses import dataclass
from enum import Enum


class Rounding(Enum):
    """Which side of the target the stages' level may fall on."""

    NEAREST = "nearest"
    AT_LEAST = "at least"
    AT_MOST = "at most"


class LoadIs(Enum):
    """What a target counts."""

    CHAIN = "chain"  # kW of the chain alone
    SOURCE_TOTAL = "source total"  # what the source carries: chain + site load


class Starts(Enum):
    """When a hold's time begins."""

    AT_ONCE = "at once"
    IN_BAND = "in band"


class Silence(Enum):
    """What happens if nobody answers a prompt."""

    UNLOAD = "unload"
    GO_ON = "go on"
    STAY = "stay"


@dataclass(frozen=True, slots=True)
class Target:
    """A load: kW, or percent of the source's nameplate kW."""

    value: float
    percent: bool = False

    def kw(self, nameplate_kw: float) -> float:
        """The target in kW."""
        return self.value * nameplate_kw / 100.0 if self.percent else self.value


@dataclass(frozen=True, slots=True)
class Ramp:
    """From the present target to another over a time; over_s = 0 is a step."""

    to: Target
    over_s: float
    label: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class Hold:
    """At a level for a time. at = None keeps the present target."""

    hold_s: float
    at: Target | None = None
    starts: Starts = Starts.AT_ONCE
    band_percent: float | None = None
    continuous: bool = False
    label: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class Block:
    """All at once to a level (block load, or load rejection when lower)."""

    to: Target
    declared_rejection: bool = False  # a rejection larger than the largest block is meant
    label: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class Drop:
    """Everything off at once, as a declared load rejection test."""

    label: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class Wait:
    """For the operator, who answers the prompt."""

    prompt: str
    timeout_s: float
    if_silent: Silence = Silence.UNLOAD
    label: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class Staircase:
    """n steps from one level to another, n + 1 levels, each held; first and last level are exact."""

    start: Target
    end: Target
    steps: int
    hold_s: float
    ramp_s: float = 0.0
    starts: Starts = Starts.AT_ONCE
    label: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class ExpectLoss:
    """Loss of supply is expected within a time: stay closed, or come off and re-apply in stages.

    Re-applying waits until volts and hertz have held for held_s, then goes back in steps.
    """

    within_s: float
    reapply: bool
    held_s: float = 10.0
    step_percent: float = 25.0
    step_s: float = 5.0
    label: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class Repeat:
    """Segments several times over."""

    times: int
    segments: "tuple[Segment, ...]"
    label: str = ""
    line: int = 0


Segment = Ramp | Hold | Block | Drop | Wait | Staircase | ExpectLoss | Repeat


@dataclass(frozen=True, slots=True)
class Program:
    """One test. Cool-down is no segment: nothing in a program can shorten it."""

    name: str
    title: str
    segments: tuple[Segment, ...]
    load_is: LoadIs = LoadIs.CHAIN
    rounding: Rounding = Rounding.NEAREST
    start_at: str | None = None  # clock time with offset, ISO 8601
    check_load: bool = True
    stage_check: bool = False
    trim: bool = False
    source_cooldown_s: float | None = None  # None = not asked for; source at no load after the last load
    reading_interval_s: float = 900.0
    readings: tuple[str, ...] = ()  # names of core/readings.py that a person reads; empty = nobody is asked
    hold_start_timeout_s: float = 60.0
    if_silent: Silence = Silence.UNLOAD
    rule_sets: tuple[str, ...] = ()  # names of the rule sets that a run of it is judged by
    site_load_off: bool = False  # people take the site's own load off the source before it begins
