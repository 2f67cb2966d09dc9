"""What has happened in a run, as assessment needs it: columns over time, readings, events. From a record or by hand.

Columns are `array('d')` of one length, NaN = not known (stale and missing alike: neither is ever a value). Times count
from the run's first scan and never go back; a hole in time shows in `gaps`.
"""

import math
from array import array
from dataclasses import dataclass, field
from typing import Any

from benchctl.core.ruleset import Quantity

NAN = math.nan


@dataclass(frozen=True, slots=True)
class Hole:
    """Time that nobody has seen: from the last sample before it to the first after it."""

    from_s: float
    to_s: float
    why: str


@dataclass(frozen=True, slots=True)
class Noted:
    """A reading that a person typed in. at_s: when it was taken; number counts from 1; corrected: by a later one.

    late: by whom, when and why it was entered after the record was sealed, in words; empty: it is in the record.
    """

    at_s: float
    number: int
    values: tuple[tuple[str, float], ...]
    who: str = ""
    corrected: bool = False
    late: str = ""


@dataclass(frozen=True, slots=True)
class Change:
    """A sudden change of load that was ordered: a block, a drop, a rejection. kW of the source before and after."""

    at_s: float
    from_kw: float
    to_kw: float
    label: str = ""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A segment of the program as it really ran. target_kw: at its end; None where there was none."""

    from_s: float
    to_s: float
    segment: int
    kind: str
    label: str
    target_kw: float | None


@dataclass(frozen=True, slots=True)
class Entry:
    """A step, a remark or an override that a person has recorded."""

    at_s: float
    what: str
    text: str
    who: str
    data: tuple[tuple[str, Any], ...] = ()


@dataclass(frozen=True, slots=True)
class Logged:
    """What an instrument has told of a gauge besides the columns, some seconds apart: the set's own panel."""

    name: str  # of core/readings.py
    t_s: "array[float]"
    values: "array[float]"


@dataclass(frozen=True, slots=True)
class Trace:
    """A quantity as another recording has it (a capture), in the run's time, faster than the run's own meter.

    name: what and where, as "volts AB"; volts in the sense of the nameplate. refresh_s: time between two values.
    window_s: time that one value is taken over, about its own instant. doubt_s: how far its time may be off the run's.
    switched_s: instants at which the recording itself shows a sudden change of load. told: file and how it was aligned.
    """

    name: str
    quantity: Quantity
    t_s: "array[float]"
    values: "array[float]"
    refresh_s: float
    window_s: float = 0.0
    doubt_s: float = 0.0
    switched_s: tuple[float, ...] = ()
    told: str = ""


@dataclass(slots=True)
class Trail:
    """One run. nameplate_kw is the source's; derated_kw where the site file tells one. pairs: line volts AB, BC, CA.

    doubts: times whose kW contradict themselves, so that they prove nothing.

    began: ISO 8601 with offset. refresh_s: how often the source's meter has a new value (what is faster is not seen).
    """

    began: str
    nameplate_kw: float
    rated_v: float
    rated_hz: float
    derated_kw: float | None = None
    refresh_s: float = 1.0
    t_s: "array[float]" = field(default_factory=lambda: array("d"))
    power_kw: "array[float]" = field(default_factory=lambda: array("d"))  # of the source
    volts_v: "array[float]" = field(default_factory=lambda: array("d"))  # mean, in the sense of the nameplate
    hertz: "array[float]" = field(default_factory=lambda: array("d"))
    amps_a: "array[float]" = field(default_factory=lambda: array("d"))
    amps_b: "array[float]" = field(default_factory=lambda: array("d"))
    amps_c: "array[float]" = field(default_factory=lambda: array("d"))
    pair_ab: "array[float]" = field(default_factory=lambda: array("d"))
    pair_bc: "array[float]" = field(default_factory=lambda: array("d"))
    pair_ca: "array[float]" = field(default_factory=lambda: array("d"))
    holes: tuple[Hole, ...] = ()
    noted: tuple[Noted, ...] = ()
    changes: tuple[Change, ...] = ()
    stretches: tuple[Stretch, ...] = ()
    entries: tuple[Entry, ...] = ()
    papers: dict[str, str] = field(default_factory=dict)  # what the record says besides measurements, see papers.py
    flaws: dict[str, str] = field(default_factory=dict)  # of papers: there, but expired or contradictory, and why
    doubts: tuple[Hole, ...] = ()
    logged: tuple[Logged, ...] = ()
    traces: tuple[Trace, ...] = ()  # of captures
    complete: bool = True  # the record was closed and nothing of it is missing

    @property
    def begins_s(self) -> float:
        """When the program's first segment begins: load before it is the check load, which counts for nothing."""
        return self.stretches[0].from_s if self.stretches else -math.inf

    @property
    def base_kw(self) -> float:
        """What percents of load are of when the rule set asks for the derated source: that, else the nameplate."""
        return self.derated_kw or self.nameplate_kw
