"""What still stands ordered in a unit that has taken its load off would come back by itself: it is opened there too.

A set point and a coil stay in their registers when a watchdog, or the loss of air, opens the contactors; a unit that
resumes takes the load up again with the next feed. Units whose orders cannot be read back are not written to for it.
"""

import pytest

from benchctl.core.command import Command, Verb
from tests.core.worlds import Stepper, site, staged, stepped


@pytest.mark.parametrize("index", [0, 1])
@pytest.mark.parametrize("stands", [2, 0, None])
def test_an_order_that_stands_above_what_is_wanted_is_opened_and_no_other(index, stands):
    w = Stepper(site(staged(20.0, 40.0), stepped(60.0, 20.0), nameplate_kw=200.0))
    w.ready()
    w.scan(Command(Verb.SET_LOAD, value=100.0))
    w.run(8.0)
    unit = w.plant.units[index]
    assert unit.load
    unit.load, unit.fields = 0, {"load_order": stands}
    opened = w.scan().orders.units[index]
    assert opened.keep == 0
    assert opened.lower is bool(stands)
    unit.fields = {"load_order": 0}  # it was written
    w.run(2.0)
    assert not w.last.orders.units[index].lower


def test_the_order_of_another_master_is_not_written_against():
    w = Stepper(site(staged(20.0, 40.0), nameplate_kw=200.0))
    w.ready()
    w.scan(Command(Verb.SET_LOAD, value=60.0))
    w.run(8.0)
    unit = w.plant.units[0]
    unit.load, unit.fields = 1, {"load_order": 1}
    w.scan()
    unit.load, unit.fields = 3, {"load_order": 3}
    assert not w.scan().orders.units[0].lower
