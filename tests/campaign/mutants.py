"""Bugs seeded on purpose, to show that a campaign can find any: each with the seed whose universe shows it.

Most are those that the laws' scripts must catch (`tests/laws/mutants.py`); here nobody has written a script for them.
"""

from collections.abc import Callable
from typing import Any

from benchctl import engine
from benchctl.core import guard, perceive
from benchctl.core.orders import NO_WRITES
from simulator import direct
from tests.laws import mutants as m

Patch = Callable[[Any, str, Any], None]


def orders_left_standing(patch: Patch) -> None:
    patch(guard, "_stands", lambda *a: False)


def holes_unnoticed(patch: Patch) -> None:
    patch(perceive, "gap_limit_s", lambda settings: 1e9)
    patch(engine, "gap_limit_s", lambda settings: 1e9)


def openings_written_once(patch: Patch) -> None:
    through = direct._UnitPort.open
    last: dict[Any, int] = {}

    def once(port, o):
        before, last[port] = last.get(port), o.keep
        return NO_WRITES.opening if before == o.keep else through(port, o)

    patch(direct._UnitPort, "open", once)


# The seed whose universe shows the bug.
FOUND_BY: dict[Callable[[Patch], None], int] = {
    m.largest_block_ignored: 0,
    m.debt_paid_without_air: 0,
    m.interlocks_forgotten: 3,
    m.returned_unit_joins_by_itself: 3,
    holes_unnoticed: 3,
    m.guard_before_all: 6,
    orders_left_standing: 6,
    openings_written_once: 7,
    m.limits_not_kept: 10,
    m.air_taken_for_granted: 2,
}
