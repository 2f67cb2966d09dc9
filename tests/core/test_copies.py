"""A copy of the state is one in every field, and works on nothing of the old one (reference: `copy`)."""

from copy import copy, deepcopy
from dataclasses import fields

import pytest

from benchctl.core.copies import copier
from benchctl.core.state import Alarm, CheckState, State, UnitState


@pytest.mark.parametrize("noun", [CheckState, State, UnitState])
def test_a_copy_has_the_type_and_the_very_values_of_the_old_one(noun):
    old = noun(**{f.name: object() for f in fields(noun)})
    new = copier(noun)(old)
    assert type(new) is noun
    assert new is not old
    assert all(getattr(new, f.name) is getattr(copy(old), f.name) for f in fields(noun))


def test_what_is_changed_in_the_copy_of_a_state_stays_as_it_was_in_the_old_one():
    old = State((UnitState(), UnitState(wanted=3)), ())
    before, new = deepcopy(old), old.copy()
    assert new == before
    new.units[1].wanted, new.check.index, new.charge = 7, 2, "operator"
    new.alarms["row", 0] = Alarm("row", 0)
    assert old == before
