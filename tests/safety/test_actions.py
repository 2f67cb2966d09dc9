"""Every control action has its four cells, and a cell names hazards that there are or says why there is none."""

import pytest

from tests.safety.actions import ACTIONS
from tests.safety.hazards import BY_KEY

CELLS = [(action, kind, cell) for action in ACTIONS for kind, cell in action.cells]


def test_the_actions_are_those_by_which_load_fans_and_charge_move():
    moving = ["close a stage", "open a stage", "fan on", "fan off", "feed the watchdog"]
    assert [action.name for action in ACTIONS] == [*moving, "unload", "drop", "adopt", "take over"]


@pytest.mark.parametrize(("action", "kind", "cell"), CELLS, ids=[f"{a.name}: {k}" for a, k, _ in CELLS])
def test_a_cell_names_hazards_of_the_table_or_says_why_it_is_none(action, kind, cell):
    assert [key for key in cell.hazards if key not in BY_KEY] == []
    assert len(set(cell.hazards)) == len(cell.hazards)
    assert cell.why.endswith(".")
    assert cell.hazards or len(cell.why) > 20


def test_every_action_can_be_hazardous_in_some_way():
    assert all(any(cell.hazards for _, cell in action.cells) for action in ACTIONS)
