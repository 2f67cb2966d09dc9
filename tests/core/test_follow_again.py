"""A stage that does not follow: its closing is not repeated, and the next one that does not is told and holds too."""

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


@pytest.mark.parametrize("trouble", TROUBLES)
def test_a_second_stage_that_does_not_follow_is_told_and_holds_like_the_first(trouble):
    """The operator has said yes to going on without one stage, not to trying every other one unseen."""
    w = Stepper(site(staged(20.0, 20.0, 20.0)), TEST).started()
    for name, value in TROUBLES[trouble].items():
        setattr(w.plant.units[0], name, value)
    w.until(lambda w: bool(w.state.held))
    told = len(w.heard("alarm"))
    assert w.plant.units[0].raised == 1
    w.scan(Command(Verb.ANSWER, text="yes"))
    w.until(lambda w: w.plant.units[0].raised == 2)
    w.run(5.0)
    assert len(w.heard("alarm")) > told
    assert w.state.held
    w.run(60.0)
    assert w.plant.units[0].raised == 2


def test_a_second_contactor_that_does_not_open_is_told_like_the_first():
    w = Stepper(site(staged(20.0, 20.0, 20.0)), TEST).loaded(60.0)
    w.plant.units[0].wont_open = 0b010
    w.scan(Command(Verb.SET_LOAD, value=20.0))
    w.until(lambda w: w.alarm("contactor stuck closed", 0))
    told = len(w.heard("alarm"))
    w.plant.units[0].wont_open, w.plant.units[0].load = 0b110, w.plant.units[0].load | 0b100
    w.until(lambda w: len(w.heard("alarm")) > told and w.state.units[0].welded == 0b110, 30.0)
    assert w.state.alarms["contactor stuck closed", 0].count == 2
    assert w.heard("alarm")[-1].text == "bank 1: a contactor does not open: OPEN ITS BREAKER"


def test_a_second_element_that_draws_nothing_is_named_with_the_first_and_asks_for_notice_again():
    w = Stepper(site(staged(20.0, 30.0, own=True)), TEST).loaded(50.0)
    w.plant.units[0].blown = frozenset({(0, 1)})
    w.until(lambda w: w.alarm("draws less", 0))
    w.scan(Command(Verb.ACKNOWLEDGE, text="all"))
    assert w.state.alarms["draws less", 0].acknowledged
    w.plant.units[0].blown |= {(1, 2)}
    w.until(lambda w: not w.state.alarms["draws less", 0].acknowledged)
    assert w.state.alarms["draws less", 0].text == "bank 1: 1 phase B, 2 phase C draws nothing"
    w.run(30.0)
    assert w.state.alarms["draws less", 0].count == 2  # once each, not again and again


@pytest.mark.parametrize("row", ["did not follow", "draws less"])
def test_one_reset_ends_what_only_a_reset_can_end(row):
    w = Stepper(site(staged(20.0, 30.0, own=True)), TEST).loaded(20.0)
    w.plant.units[0].blown, w.plant.units[0].wont_close = frozenset({(0, 1)}), 0b10
    w.scan(Command(Verb.SET_LOAD, value=50.0))
    w.until(lambda w: w.alarm("did not follow", 0) and w.alarm("draws less", 0))
    w.scan(Command(Verb.RESET))
    assert (row, 0) not in w.state.alarms
    returned = [dict(e.data)["row"] for e in w.heard("returned to normal")]
    assert returned.count(row) == 1
