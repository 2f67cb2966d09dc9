"""A rule set's nouns: named limits and durations of a standard, with edition, clause and how well each figure is known.

Everything here comes from files that people can edit (`configs/rulesets/`); nothing is hard-wired. Percents of load are
of the source's nameplate kW (or of its derated kW where the site file tells one), percents of volts and hertz of rated.
"""

from dataclasses import dataclass
from enum import Enum


class Known(Enum):
    """How well a figure is known; shown wherever it is used."""

    READ = "read in the text"
    QUOTED = "quoted elsewhere"
    MEMORY = "from memory"
    COMPUTED = "computed"
    PRACTICE = "common practice, no source"


# What instruments measure and a rule may ask for by name, besides the gauges of core/readings.py.
MEASURED: dict[str, str] = {
    "power_kw": "kW of the source",
    "volts_v": "volts",
    "hertz": "hertz",
    "amps": "amps of all phases",
}


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a figure is from. source: key of the list in DEVELOPERS.md, or empty."""

    clause: str = ""
    known: Known = Known.MEMORY
    source: str = ""
    note: str = ""


class SampleBase(Enum):
    """What "not less than" is asked of."""

    SCAN = "every scan"
    READING = "logged reading"
    MINUTE = "one-minute mean"


class Quantity(Enum):
    """What a band, a transient or a stability is about."""

    HERTZ = "hertz"
    VOLTS = "volts"
    POWER = "kW"
    AMPS = "amps"


class Direction(Enum):
    """Of a sudden change of load."""

    UP = "load on"
    DOWN = "load off"


@dataclass(frozen=True, slots=True)
class Duty:
    """Load for a time: at least and at most so many percent. Duties follow each other in the order of the rule set.

    What lies between two duties counts for neither, and for `unbroken_s` only while the lowest level holds.
    """

    key: str
    at_least_percent: float | None
    at_most_percent: float | None
    for_s: float
    origin: Origin
    text: str = ""


@dataclass(frozen=True, slots=True)
class Unbroken:
    """The whole time without a break at or above a level, whatever the duties say of its parts."""

    key: str
    at_least_percent: float
    for_s: float
    origin: Origin
    text: str = ""


class Measure(Enum):
    """How a steady quantity is judged; the formulas stand in `electrical`."""

    WIDTH = "full width of the envelope at constant load"
    DEVIATION = "largest deviation from rated"
    REGULATION = "no load to rated load, of the rated-load value"
    DROOP = "no load to rated load, of rated"
    UNBALANCE_MEAN = "largest deviation from the mean"
    UNBALANCE_RATED = "largest less smallest, of rated"


@dataclass(frozen=True, slots=True)
class Steady:
    """A quantity that must stay within so many percent while load is steady. over_s: the window that is looked at."""

    key: str
    quantity: Quantity
    measure: Measure
    limit_percent: float
    origin: Origin
    over_s: float = 30.0
    during: str = ""  # key of a duty; empty = all
    text: str = ""


class Centre(Enum):
    """What a tolerance band lies around."""

    FINAL = "the settled value"
    RATED = "the rated value"


@dataclass(frozen=True, slots=True)
class Transient:
    """After a sudden change of load: how far, and how long until it is back for good.

    deviation_percent: of rated, as a magnitude. band_percent: half width; exit_percent: half width of the band whose
    leaving starts the clock, None = the clock starts with the switching. Steps below step_percent are not judged.
    """

    key: str
    quantity: Quantity
    direction: Direction
    deviation_percent: float
    recovery_s: float
    band_percent: float
    origin: Origin
    exit_percent: float | None = None
    centre: Centre = Centre.FINAL
    step_percent: float = 20.0
    text: str = ""


@dataclass(frozen=True, slots=True)
class Stability:
    """So many readings in a row that do not differ by more than `within` (in the reading's own unit), or a plateau."""

    key: str
    reading: str  # a name of core/readings.py, or of MEASURED
    count: int
    within: float
    interval_s: float
    origin: Origin
    during: str = ""
    text: str = ""


@dataclass(frozen=True, slots=True)
class Rest:
    """The source runs on at no load for so long after the last load, and the record shows it."""

    key: str
    for_s: float
    origin: Origin
    no_load_percent: float = 2.0
    text: str = ""


@dataclass(frozen=True, slots=True)
class Readings:
    """What is logged and how often. names: of core/readings.py or of MEASURED; at_start: one at t = 0."""

    key: str
    interval_s: float
    names: tuple[str, ...]
    origin: Origin
    at_start: bool = True
    late_s: float = 60.0  # tolerated
    text: str = ""


@dataclass(frozen=True, slots=True)
class Fields:
    """What the record must say besides measurements: names as in `core/papers.py`."""

    key: str
    names: tuple[str, ...]
    origin: Origin
    text: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """An operator's own step that a load-only run cannot show: cold start, loss of normal power, transfer, retransfer.

    Not demonstrated without an entry in the record that names `key`, and its seconds where within_s is given.
    """

    key: str
    text: str
    origin: Origin
    within_s: float | None = None
    at_least_s: float | None = None


@dataclass(frozen=True, slots=True)
class Autonomy:
    """A UPS or battery: constant kW to an end, which must not come before for_s. end_volts_v: None = by time alone."""

    key: str
    load_percent: float
    for_s: float
    origin: Origin
    end_volts_v: float | None = None
    tolerance_percent: float = 2.0
    text: str = ""


Rule = Duty | Unbroken | Steady | Transient | Stability | Rest | Readings | Fields | Step | Autonomy


@dataclass(frozen=True, slots=True)
class RuleSet:
    """One rule set, its rules in the order of the file.

    edition: of the text that the figures are from; adopted: the edition that holds at the site, empty = say so.
    gap_s: longest hole in the samples that does not break a time, when both its sides are in limits; holes are listed.
    reading_interval_s: written into programs that `benchctl new` makes.
    """

    name: str
    title: str
    document: str
    edition: str
    rules: tuple[Rule, ...]
    adopted: str = ""
    scope: str = ""  # what the text is for, in a sentence
    notes: tuple[str, ...] = ()
    sample_base: SampleBase = SampleBase.SCAN
    gap_s: float = 10.0
    of_derated: bool = False
    reading_interval_s: float = 900.0
    warm_up_s: float = 0.0
    line: int = 0
