"""Bugs seeded on purpose, to show that a campaign can find any: each with the seed whose universe shows it.

Most are those that the laws' scripts must catch (`tests/laws/mutants.py`); here nobody has written a script for them.
"""

from collections.abc import Callable
from dataclasses import replace
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


def stages_closed_in_a_local_unit_s_neighbour(patch: Patch) -> None:
    through = guard.guard

    def crossed(*args):
        orders = through(*args)
        raised = [o.raise_to for o in orders.units]
        return replace(
            orders,
            units=tuple(replace(o, raise_to=r) for o, r in zip(orders.units, raised[1:] + raised[:1], strict=True)),
        )

    from benchctl.core import decide

    patch(decide, "guard", crossed)


OWN = (orders_left_standing, holes_unnoticed, openings_written_once, stages_closed_in_a_local_unit_s_neighbour)
ALL = (*m.MUTANTS, *OWN)

# The seed whose universe shows the bug.
FOUND_BY: dict[Callable[[Patch], None], int] = {
    m.interlocks_forgotten: 17,
}
