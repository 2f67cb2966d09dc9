"""Small worlds explored to the last state: no scan that can be reached breaks a law."""

import pytest

from tests.explore.search import explore
from tests.explore.worlds import SMALL

QUICK = (  # the others take longer: `python -m tests.explore`
    *("first contact", "load found on", "found without air", "nobody there", "fans", "stop", "identity", "site"),
    *("hertz after a block", "volts after a block", "phase", "kilowatts", "record", "by hand", "blocks", "program"),
    *("air at rest", "air not known", "hot", "refused", "reckless in blocks"),
)


@pytest.mark.parametrize("name", QUICK)
def test_no_scan_of_the_small_world_breaks_a_law_and_nothing_is_left_out(name, record_property):
    found = explore(SMALL[name], seconds=100.0)
    record_property("states", found.states)
    record_property("transitions", found.transitions)
    assert found.broken == {}
    assert found.closed
    assert found.states >= 50


def test_two_processes_find_what_one_finds():
    one, two = explore(SMALL["phase"]), explore(SMALL["phase"], workers=2)
    assert two.closed
    assert (two.states, two.transitions, two.depth) == (one.states, one.transitions, one.depth)
    assert two.states > 100
