"""What is known: commanded, read back and measured are three values, and none stands in for another."""

from dataclasses import replace

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.orders import Write
from benchctl.core.program import Hold, Ramp, Silence, Target
from benchctl.core.reading import Outcome
from tests.core.worlds import Stepper, program, site, staged, stepped

PLACE = site(staged(20.0, 40.0), stepped(60.0, 20.0))
TWO = site(staged(20.0, 40.0), staged(20.0, 40.0))
TEST = program(Ramp(Target(60.0), 0.0), Hold(600.0))


def asked(kw: float) -> Command:
    return Command(Verb.SET_LOAD, value=kw)


def test_an_order_that_is_echoed_but_not_in_force_is_told_within_three_scans_and_holds_the_program():
    w = Stepper(TWO, TEST).ready()
    w.plant.units[0].wont_close = w.plant.units[1].wont_close = 3
    w.scan(Command(Verb.START))
    w.until(lambda w: any(u.raised for u in w.plant.units))
    w.run(1.5)
    assert w.heard("not accepted")
    assert w.state.held
    assert w.kw() == 0.0
    raised = [u.raised for u in w.plant.units]
    w.run(60.0)
    assert [u.raised for u in w.plant.units] == raised


def test_a_unit_that_restarts_loses_its_load_and_gets_none_back_without_a_person():
    w = Stepper(PLACE, replace(TEST, segments=(Ramp(Target(120.0), 0.0), Hold(600.0)))).started()
    w.until(lambda w: w.kw() == 120.0)
    w.run(77.0)
    w.plant.units[0].load, w.plant.units[0].uptime_s = 0, 12.0
    w.scan()
    assert "from 1" in w.heard("restarted")[0].text
    assert "to 12" in w.heard("restarted")[0].text
    assert w.state.held
    raised = w.plant.units[0].raised
    w.run(100.0)
    assert w.plant.units[0].raised == raised
    assert not w.state.units[0].joined


def test_a_closing_that_is_refused_is_never_shown_as_commanded():
    w = Stepper(PLACE, TEST).ready()
    for u in w.plant.units:
        u.closing = Write.REFUSED
    w.scan(Command(Verb.START))
    w.until(lambda w: any(u.raised for u in w.plant.units))
    w.scan()
    assert w.ordered_kw() == 0.0
    assert w.state.held
    assert w.heard("refused")
    assert not w.heard("load fell")


def test_of_closings_that_are_partly_refused_what_is_in_force_is_ours_and_not_somebody_elses():
    w = Stepper(TWO).ready()
    w.plant.units[0].closing = Write.REFUSED
    w.scan(asked(60.0))
    w.until(lambda w: w.plant.units[0].raised > 0)
    w.plant.units[0].load = 1
    w.run(3.0)
    assert not w.state.units[0].foreign


def test_a_closing_that_is_not_sent_in_time_is_asked_again_and_nothing_is_said_to_have_fallen():
    w = Stepper(PLACE).ready()
    w.plant.units[0].closing = w.plant.units[1].closing = Write.NOT_SENT
    w.scan(asked(60.0))
    w.scan()
    w.plant.units[0].closing = w.plant.units[1].closing = Write.DONE
    w.run(2.0)
    assert w.kw() == 60.0
    assert not w.heard("load fell")


def test_foreign_load_is_named_and_held_and_never_written_against():
    place = site(stepped(400.0, 50.0), limits=TWO.limits)
    w = Stepper(place, program(Ramp(Target(200.0), 0.0), Hold(3600.0)), dt_s=1.0).started()
    w.until(lambda w: w.kw() == 200.0)
    unit = w.plant.units[0]
    before = (unit.raised, unit.opened)
    for _ in range(20):
        unit.load = 7
        w.run(5.0)
    assert "changed by someone else (350 kW" in w.heard("foreign")[0].text
    assert w.state.held
    assert w.alarm("load changed by someone else", 0)
    assert (unit.raised, unit.opened) == before


def test_a_foreign_load_is_never_written_against_although_the_program_goes_on_when_nobody_answers():
    place = site(stepped(400.0, 50.0))
    w = Stepper(place, program(Ramp(Target(200.0), 0.0), Hold(3600.0), if_silent=Silence.GO_ON)).started()
    w.until(lambda w: w.kw() == 200.0)
    w.plant.units[0].load = 7
    raised = w.plant.units[0].raised
    w.run(300.0)
    assert w.plant.units[0].raised == raised
    assert w.kw() == 0.0


def test_a_silent_unit_counts_as_closed_for_limits_and_not_for_the_target():
    w = Stepper(TWO).loaded(120.0)
    w.plant.units[0].silent = Outcome.SILENT
    w.run(10.0)
    assert w.last.seen.possible_kw == pytest.approx(120.0)
    assert w.last.seen.confirmed_kw == pytest.approx(60.0)


@pytest.mark.parametrize("wrong", [99, -1, 4])
def test_a_load_that_cannot_be_is_not_known(wrong):
    w = Stepper(TWO).loaded(60.0)
    w.plant.units[0].fields = {"load": wrong}
    w.run(1.0)
    assert w.last.seen.units[0].load is None
    assert w.last.seen.units[0].possible_kw == pytest.approx(60.0)


def test_an_emergency_stop_is_seen_though_the_load_of_its_unit_is_not():
    w = Stepper(TWO).loaded(120.0)
    w.plant.units[0].fields = {"load": None, "emergency_stop": True}
    w.scan()
    assert w.state.dropped
    assert w.state.units[0].fan_withdrawn


def test_air_that_blows_without_a_fan_proves_nothing():
    w = Stepper(TWO).ready()
    w.run(5.0)
    w.plant.units[0].air = True
    w.run(40.0)
    assert w.alarm("airflow proof stuck", 0)
    w.scan(asked(120.0))
    w.run(20.0)
    assert w.plant.units[0].load == 0
    assert w.last.seen.units[0].unable == "airflow is not proven"


def test_air_counts_only_when_it_was_seen_off_before():
    w = Stepper(TWO)
    w.plant.units[0].air = True
    w.scan(Command(Verb.TAKE_CHARGE))
    w.run(60.0)
    assert not w.state.units[0].proven
    assert w.state.units[1].proven or not w.state.units[1].fan


def test_a_unit_that_comes_back_is_emptied_and_read_back_before_it_is_fed_and_joins_only_by_command():
    w = Stepper(TWO).loaded(120.0)
    w.plant.units[0].silent = Outcome.SILENT
    w.run(10.0)
    w.plant.units[0].silent = None
    w.scan()
    assert w.plant.units[0].load == 0
    w.scan()
    assert w.state.units[0].emptied
    w.run(30.0)
    assert w.plant.units[0].load == 0
    w.scan(Command(Verb.JOIN, unit=0), asked(120.0))
    w.run(10.0)
    assert w.plant.units[0].load == 3


def test_a_hole_in_time_is_told_once_and_earns_nothing():
    w = Stepper(
        site(staged(100.0, 100.0), staged(100.0, 100.0)),
        program(Ramp(Target(200.0), 0.0), Hold(1800.0), Ramp(Target(300.0), 0.0), Hold(600.0)),
        dt_s=1.0,
    ).started()
    w.until(lambda w: w.kw() == 200.0)
    w.run(600.0)
    hold_s, load = w.state.leg_s, w.kw()
    w.scan(dt_s=2820.0)
    assert w.heard("gap")[0].text == "2820 s not observed"
    w.run(30.0)
    assert w.state.leg_s == hold_s
    assert w.state.target_kw == 200.0
    assert w.kw() == load
    assert w.state.held
    w.scan(Command(Verb.ANSWER, text="yes"))
    w.run(10.0)
    assert hold_s < w.state.leg_s <= hold_s + 11.0
