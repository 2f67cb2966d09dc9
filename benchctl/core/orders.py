"""What one scan asks of the chain, and how the asking of the last scan ended."""

from dataclasses import dataclass
from enum import Enum
from functools import lru_cache


@dataclass(frozen=True, slots=True)
class UnitOrders:
    """Orders to one unit in one scan, in the sense of its load integer (`core/levels.py`).

    keep: the load after the openings: staged units open every stage of ours that is not in it, and repeat that
    until it is read back; set-point units are written down to it while they stand above it. raise_to: None, or the
    load after closings, sent once, in this scan or never. fan: True = on, False = off, None = not ours now (leave
    it alone). feed: feed the watchdog, last in the scan. lower: openings (or a lower set point) must be written in
    this scan.
    """

    keep: int = 0
    raise_to: int | None = None
    fan: bool | None = None
    feed: bool = False
    lower: bool = False
    silent: bool = False  # write nothing at all to this unit (not joined, in local, charge not taken)


unit_orders = lru_cache(maxsize=1 << 10)(UnitOrders)  # equal orders are one object: most scans repeat the last ones


@dataclass(frozen=True, slots=True)
class Orders:
    """Orders to the whole chain; units in the order of Site.units. urgent: a drop, do not wait for anything."""

    units: tuple[UnitOrders, ...]
    block: bool = False  # closings belong together: quiesce polling first, send at once
    urgent: bool = False


class Write(Enum):
    """How the writes to one unit ended."""

    NONE = "none"  # nothing was to be written
    DONE = "done"  # acknowledged
    REFUSED = "refused"  # an exception reply: not in force
    UNKNOWN = "unknown"  # sent, no proper answer: it may be in force
    NOT_SENT = "not sent"  # discarded at the deadline, or no connection


@dataclass(frozen=True, slots=True)
class UnitWrites:
    """Outcome of one unit's writes of the scan before."""

    opening: Write = Write.NONE
    fan: Write = Write.NONE
    closing: Write = Write.NONE
    feed: Write = Write.NONE


NO_WRITES = UnitWrites()
