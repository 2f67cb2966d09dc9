"""The words for how a unit is, and what they mean: a table, of whose rows that hold the first is shown."""

from collections.abc import Callable
from dataclasses import dataclass

from benchctl.core.seen import Contact, SeenUnit
from benchctl.core.state import UnitState
from benchctl.core.unable import UNPROVEN


@dataclass(frozen=True, slots=True)
class Condition:
    """One word for how a unit is, and what it means.

    holds: of the unit, what is seen of it, and whether its exhaust reads cool.
    """

    word: str
    says: str
    holds: Callable[[UnitState, SeenUnit, bool], bool]


CONDITIONS: tuple[Condition, ...] = (
    Condition("not met", "it has never answered", lambda u, s, cool: not u.heard),
    Condition("lost", "it does not answer any more", lambda u, s, cool: s.contact is Contact.LOST),
    Condition("stale", "it has not answered for a while", lambda u, s, cool: s.contact is Contact.STALE),
    Condition("swapped", "another unit answers in its place", lambda u, s, cool: u.swapped),
    Condition("stopped", "its emergency stop is operated", lambda u, s, cool: s.reading.emergency_stop is True),
    Condition("stuck closed", "a contactor does not open", lambda u, s, cool: bool(u.welded)),
    Condition("found on", "load is on that this session did not start", lambda u, s, cool: u.found),
    Condition("tripped", "taken off by an interlock", lambda u, s, cool: u.out),
    Condition("local", "under its own panel: it takes no orders", lambda u, s, cool: s.reading.remote is False),
    Condition("changed", "its load changed without our order", lambda u, s, cool: u.foreign or u.fell or u.restarted),
    Condition("loaded", "load is on, or may be", lambda u, s, cool: bool(u.possible)),
    Condition("cooling", "it owes cool-down, and its fans run", lambda u, s, cool: u.hot and s.reading.fan_on is True),
    Condition("to be cooled", "it reads cool, but owes its cool-down", lambda u, s, cool: u.hot and cool),
    Condition("hot", "it owes cool-down, and its fans are not known to run", lambda u, s, cool: u.hot),
    Condition("off", "no load, cool, its fans rest", lambda u, s, cool: not u.fan and s.unable == UNPROVEN),
    Condition("ready", "its stages may be closed", lambda u, s, cool: not s.unable),
    Condition("not ready", "its stages may not be closed; why is told beside it", lambda u, s, cool: True),
)  # fmt: skip
