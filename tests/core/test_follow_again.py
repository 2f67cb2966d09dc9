"""A check load that does not come on: its closing is not repeated."""

from dataclasses import replace

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.orders import Write
from benchctl.core.program import Hold, Ramp, Target
from tests.core.worlds import Stepper, program, site, staged

TEST = program(Ramp(Target(60.0), 60.0), Hold(600.0))
TROUBLES: dict[str, dict[str, object]] = {
    "does not follow": {"wont_close": 7},
    "refuses": {"closing": Write.REFUSED},
}


@pytest.mark.parametrize("trouble", TROUBLES)
def test_a_check_load_that_does_not_come_on_is_ordered_once(trouble):
    """One closing of one contactor: whoever asked for it, it is not repeated by itself."""
    w = Stepper(site(staged(20.0, 20.0, 40.0)), replace(TEST, check_load=True)).ready()
    for name, value in TROUBLES[trouble].items():
        setattr(w.plant.units[0], name, value)
    w.scan(Command(Verb.START))
    w.until(lambda w: w.plant.units[0].raised > 0)
    w.run(30.0)
    assert w.plant.units[0].raised == 1
