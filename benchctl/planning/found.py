"""What a check of a plan is: a row with a key, a severity and a function that finds cases."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from benchctl.core.program import Program
from benchctl.core.site import Site
from benchctl.planning.plan import Plan, PlannedLeg, Severity

Found = tuple[str, PlannedLeg | None]


@dataclass(frozen=True, slots=True)
class Check:
    """One row. says: what is checked, with the mark of its default; find: the cases found, none when all is well."""

    key: str
    severity: Severity
    says: str
    find: Callable[[Site, Program, Plan], Iterator[Found]]


def first_of_each(found: Iterator[tuple[str, PlannedLeg, float]]) -> Iterator[Found]:
    """The first row for each different (text, value): a repeat says things once."""
    seen: set[tuple[str, int, float]] = set()
    for text, leg, value in found:
        key = (text, leg.segment, round(value, 3))
        if key not in seen:
            seen.add(key)
            yield text, leg
