"""What the observer is given beside the truth: what the files say, what was commanded, what the screen says."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Bank:
    """What the files say of one unit."""

    name: str
    socket: str
    staged: bool
    minimum_s: float
    margin_k: float
    reference_c: float | None  # None: its own inlet
    exhaust_trip_c: float
    drop_s: float
    smallest_kw: float
    actual: bool  # its kW are kW at any volts
    v_ratio: float  # the source's rated volts over its own


@dataclass(frozen=True, slots=True)
class Place:
    """What the files say of the place."""

    banks: tuple[Bank, ...]
    period_s: float
    plate_kw: float
    upper_percent: float
    block_percent: float
    lost_s: float
    fan_gap_s: float
    unload_s: float  # of all load in steps
    console_lost_s: float
    person_s: float  # from the last sign of a person until load must go, check-in and its time together
    gap_s: float  # a hole in time
    metered: bool
    attended: bool


@dataclass(frozen=True, slots=True)
class Heard:
    """A command as it was given. unit: its index."""

    verb: str
    unit: int | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Told:
    """What the screen says after a scan. loads: as read back, None where the unit was not heard in this scan."""

    loaded: bool
    loads: tuple[int | None, ...]
    fault: str = ""
