"""Every seeded bug is caught by the exploration of a small world, by the law that is stated beside it."""

import pytest

from benchctl.core.causes import ROWS as PRODUCT
from benchctl.core.profile import Reaction
from tests.explore.mutants import INTERLOCKS, MUTANTS, SURVIVORS
from tests.explore.search import explore
from tests.explore.worlds import SMALL


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda m: m.name)
def test_the_exploration_catches(mutant):
    with mutant.change.made():
        found = explore(SMALL[mutant.world], seconds=60.0, until=mutant.law)
    assert any(law.startswith(mutant.law) for law in found.broken), (found.broken, found.transitions)


@pytest.mark.parametrize(("name", "change", "why"), SURVIVORS, ids=lambda s: s if isinstance(s, str) else "")
def test_a_bug_that_another_place_makes_up_for_is_said_why_and_breaks_nothing(name, change, why):
    with change.made():
        found = explore(SMALL["hot"], seconds=60.0)
    assert why
    assert found.closed
    assert found.broken == {}


def test_every_row_that_does_more_than_tell_has_its_mutants():
    acting = {row.key for row in PRODUCT if row.reaction is not Reaction.ALARM}
    assert {row for row, _, _ in INTERLOCKS} == acting
