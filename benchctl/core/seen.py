"""What perceive makes of the inputs: per unit and for the whole bench, fresh, aged or not known."""

from dataclasses import dataclass, field
from enum import Enum

from benchctl.core.reading import NO_ELECTRICAL, Electrical, Maybe, UnitReading


class Contact(Enum):
    """How well we know a unit now."""

    FRESH = "fresh"  # heard in this scan
    AGED = "aged"  # not heard in this scan, but lately
    STALE = "stale"
    LOST = "lost"
    NEVER = "never met"


@dataclass(slots=True)
class SeenUnit:
    """One unit as it is known in this scan."""

    contact: Contact
    age_s: float
    reading: UnitReading  # last known, of age age_s
    load: int | None  # read back in this scan; None = not known now
    volts_v: Maybe  # at the unit, its own meter or the source's
    ratio: float  # volts_v over rated volts; 1.1 when unknown, for limits only
    power_kw: Maybe  # own meter, fresh
    possible_kw: float = 0.0  # all that may be closed, at the volts present
    unable: str = ""  # why no stage of it may close now; empty = it may
    told: bool = False  # it answered with values in this scan, if not with its load
    fell_kw: float = 0.0  # went off in this scan without our order, for a reason that the unit tells
    unclosed: int = 0  # stages found in this scan not to follow a closing; 1 for a set point
    welded: int = 0  # stages found in this scan not to follow an opening; 1 for a set point
    fell: bool = False  # load found in this scan to have gone off without our order
    foreign: bool = False  # its load found in this scan to be changed by somebody else
    restarted: bool = False  # found in this scan to have restarted
    switched: int | None = None  # the load that commands of this scan ask of it by itself
    missing: int = 0  # phases of stages found in this scan to draw nothing


@dataclass(slots=True)
class Seen:
    """The whole bench in this scan. A None is not known; *_from says which meter a figure is from."""

    units: list[SeenUnit] = field(default_factory=list)
    source: Electrical = NO_ELECTRICAL  # at the source, valid values only
    source_from: str = ""  # name of the instrument or unit
    source_age_s: float = 1e9
    source_frozen: bool = False
    hertz_fault: bool = False  # volts are there, hertz are not
    volts_v: Maybe = None  # mean of the source's volts in the sense of the nameplate
    hertz: Maybe = None
    source_kw: Maybe = None
    delivered_kw: Maybe = None
    delivered_from: str = ""  # "units" | "chain meter" | "source meter" | ""
    site_kw: Maybe = None
    site_metered: bool = False  # by a meter of its own, not as the difference of two
    confirmed_kw: float = 0.0  # stages read back closed, at the volts present
    possible_kw: float = 0.0  # all that may be closed, at the volts present
    loaded: bool = False  # anything may be closed, whatever the volts make of it
    available_kw: float = 0.0  # what units that may be loaded could give at the volts present
    rated_kw: float = 0.0
    site_needs_set: bool = False
    gap_s: float = 0.0  # a hole in time since the scan before; 0 = none
    late: bool = False  # the scan took more than twice its period
    recorder_failed: bool = False
