"""Cool-down is a debt: what makes it, what pays it, and what cannot shorten it."""

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.reading import Outcome
from tests.core.worlds import Stepper, site, staged

PLACE = site(staged(20.0, 40.0), staged(20.0, 40.0))


def off(w: Stepper) -> Stepper:
    """Loaded, then everything off and read back off."""
    w.loaded(120.0)
    w.scan(Command(Verb.DROP))
    w.until(lambda w: not w.last.seen.loaded)
    return w


def test_at_first_contact_every_unit_owes_the_whole_debt():
    w = Stepper(PLACE)
    w.scan()
    assert all(u.hot and u.owed_s == 20.0 and u.near_s == 5.0 for u in w.state.units)


def test_a_debt_is_paid_by_time_with_air_and_an_exhaust_near_its_reference():
    w = off(Stepper(PLACE))
    begin_s = w.now_s
    w.plant.units[0].exhaust_c = 31.0  # more than 10 K above the inlet of 20
    w.run(40.0)
    assert [u.hot for u in w.state.units] == [True, False]
    w.plant.units[0].exhaust_c = 29.0
    seconds = w.until(lambda w: not w.state.units[0].hot) - begin_s
    assert seconds == pytest.approx(45.0, abs=1.0)


def test_a_warm_sample_in_between_starts_the_time_near_the_reference_anew():
    w = off(Stepper(PLACE))
    w.run(17.0)
    w.plant.units[0].exhaust_c = 35.0
    w.scan()
    w.plant.units[0].exhaust_c = 25.0
    w.run(4.5)
    assert w.state.units[0].hot
    assert w.until(lambda w: not w.state.units[0].hot) > 0.0


@pytest.mark.parametrize(
    "trouble", [{"air": False}, {"silent": Outcome.SILENT}, {"fields": {"airflow": None}}, {"fields": {"load": None}}]
)
def test_time_without_known_air_pays_nothing(trouble):
    w = off(Stepper(PLACE))
    owed = w.state.units[0].owed_s
    for name, value in trouble.items():
        setattr(w.plant.units[0], name, value)
    w.run(60.0)
    assert w.state.units[0].hot
    assert w.state.units[0].owed_s >= owed - 0.5


def test_a_unit_that_was_not_known_for_a_while_owes_everything_again():
    w = off(Stepper(PLACE))
    w.run(15.0)
    w.plant.units[0].silent = Outcome.SILENT
    w.run(4.0)
    w.plant.units[0].silent = None
    w.scan()
    assert w.state.units[0].owed_s >= 19.0


@pytest.mark.parametrize("verb", [v for v in Verb if v is not Verb.OVERRIDE])
def test_no_command_shortens_a_debt(verb):
    w = off(Stepper(PLACE))
    before = [(u.owed_s, u.near_s) for u in w.state.units]
    w.scan(Command(verb, why="because", value=20.0, text="yes", unit=0))
    assert all(u.owed_s >= owed - 0.5 and u.hot for u, (owed, _) in zip(w.state.units, before, strict=True))
    assert all(o.fan for o in w.last.orders.units)


def test_a_restart_of_the_unit_shortens_nothing():
    w = off(Stepper(PLACE))
    w.plant.units[0].uptime_s = 0.0
    w.scan()
    assert w.state.units[0].hot
    assert w.last.orders.units[0].fan is True


def test_a_hole_in_time_pays_nothing():
    w = off(Stepper(PLACE))
    owed = w.state.units[0].owed_s
    w.scan(dt_s=3600.0)
    assert w.state.units[0].owed_s == owed


def test_fans_start_one_after_the_other_and_stop_when_nothing_is_owed():
    w = Stepper(PLACE)
    w.scan()
    w.scan(Command(Verb.TAKE_CHARGE))
    assert [u.fan for u in w.state.units] == [True, False]
    begin_s = w.now_s
    assert w.until(lambda w: w.state.units[1].fan) - begin_s == pytest.approx(2.0, abs=0.51)
    w.until(lambda w: not any(u.fan for u in w.state.units))
    assert not any(u.hot for u in w.state.units)


def test_after_an_emergency_stop_fans_wait_until_they_are_confirmed():
    w = Stepper(PLACE).loaded(120.0)
    w.plant.units[0].fields = {"emergency_stop": True}
    w.run(2.0)
    assert w.last.orders.units[0].fan is None
    assert w.last.orders.units[1].fan is True
    assert w.alarm("hot, fans stopped", 0)
    w.scan(Command(Verb.CONFIRM_FANS, unit=0))
    assert w.heard("refused")
    w.plant.units[0].fields = {}
    w.scan(Command(Verb.RESET))
    w.run(10.0)
    assert w.last.orders.units[0].fan is None
    w.scan(Command(Verb.CONFIRM_FANS, unit=0))
    assert w.last.orders.units[0].fan is True
