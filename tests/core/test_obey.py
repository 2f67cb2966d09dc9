"""Commands: each verb with the refusals that it knows; a refusal is an event with its reason."""

from collections.abc import Callable
from typing import Any

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.program import Hold, Ramp, Target
from benchctl.core.reading import Outcome
from benchctl.core.state import Mode
from tests.core.worlds import Stepper, program, site, staged

PLACE = site(staged(20.0, 40.0), staged(20.0, 40.0))
TEST = program(Ramp(Target(60.0), 0.0), Hold(600.0))
NAN, INF = float("nan"), float("inf")


def fresh(w: Stepper) -> None:
    w.scan()


def ready(w: Stepper) -> None:
    w.ready()


def running(w: Stepper) -> None:
    w.started()
    w.run(5.0)


def tripped(w: Stepper) -> None:
    w.loaded(60.0)
    w.plant.needs_set = True
    w.scan()
    w.plant.needs_set = None


def stuck(w: Stepper) -> None:
    w.loaded(60.0)
    w.plant.units[0].wont_open = 3
    w.scan(Command(Verb.DROP))


def silent(w: Stepper) -> None:
    w.ready()
    w.plant.units[0].silent = Outcome.SILENT
    w.run(6.0)


def loaded(w: Stepper) -> None:
    w.loaded(120.0)


def swapped(w: Stepper) -> None:
    w.ready()
    w.plant.units[0].fields = {"serial": "T"}
    w.run(1.0)


def local(w: Stepper) -> None:
    w.ready()
    w.plant.units[0].fields = {"remote": False}
    w.run(1.0)


def found(w: Stepper) -> None:
    """Somebody takes charge of a chain in which load is on that the session did not start."""
    w.plant.units[0].load, w.plant.units[0].fan = 1, True
    w.scan()
    w.scan(Command(Verb.TAKE_CHARGE))


def found_and_tripped(w: Stepper) -> None:
    w.plant.needs_set = True
    w.plant.units[0].load, w.plant.units[0].fan = 1, True
    w.scan()
    w.plant.units[0].wont_open = 1
    w.scan(Command(Verb.TAKE_CHARGE))


def found_in_a_stranger(w: Stepper) -> None:
    w.plant.units[0].fields = {"identity_ok": False}
    found(w)


REFUSALS: tuple[tuple[Verb, dict[str, Any], Callable[[Stepper], None], str], ...] = (
    (Verb.TAKE_CHARGE, {"who": ""}, fresh, "who watches"),
    (Verb.TAKE_CHARGE, {"text": "unattended"}, fresh, "does not allow unattended"),
    (Verb.TAKE_OVER, {"who": ""}, ready, "who watches"),
    (Verb.TAKE_OVER, {}, fresh, "nobody has taken charge: take it"),
    (Verb.TAKE_OVER, {}, ready, "you have charge already"),
    (Verb.START, {}, fresh, "nobody has taken charge"),
    (Verb.START, {}, found, "did not start: adopt, unload or drop it first"),
    (Verb.START, {}, running, "load is on or a program runs"),
    (Verb.START, {}, tripped, "a trip is latched"),
    (Verb.SET_LOAD, {}, ready, "say a load"),
    (Verb.SET_LOAD, {"value": -1.0}, ready, "say a load"),
    (Verb.SET_LOAD, {"value": NAN}, ready, "say a load"),
    (Verb.SET_LOAD, {"value": INF}, ready, "say a load"),
    (Verb.SET_LOAD, {"value": 20.0}, fresh, "nobody has taken charge"),
    (Verb.SET_LOAD, {"value": 20.0}, tripped, "a trip is latched"),
    (Verb.SET_LOAD, {"value": 20.0}, running, "a program runs"),
    (Verb.SET_LOAD, {"value": 20.0}, found, "did not start: adopt, unload or drop it first"),
    (Verb.SET_LOAD, {"value": 421.0}, ready, "above the limit of 420 kW"),
    (Verb.SWITCH, {"text": "1", "value": 1.0}, ready, "say which unit"),
    (Verb.SWITCH, {"unit": 0, "text": "3", "value": 1.0}, ready, "say which stage: 1, 2"),
    (Verb.SWITCH, {"unit": 0, "text": "1"}, ready, "say 1 to close the stage, 0 to open it"),
    (Verb.SWITCH, {"unit": 0, "text": "1", "value": NAN}, ready, "say 1 to close the stage, 0 to open it"),
    (Verb.SWITCH, {"unit": 0, "text": "1", "value": 0.0}, ready, "that is ordered already"),
    (Verb.SWITCH, {"unit": 0, "text": "1", "value": 1.0}, fresh, "nobody has taken charge"),
    (Verb.SWITCH, {"unit": 0, "text": "1", "value": 0.0}, running, "a program runs"),
    (Verb.SWITCH, {"unit": 0, "text": "1", "value": 0.0}, tripped, "a trip is latched"),
    (Verb.SWITCH, {"unit": 0, "text": "1", "value": 0.0}, found, "did not start: adopt, unload or drop it first"),
    (Verb.SWITCH, {}, fresh, "nobody has taken charge"),
    (Verb.PAUSE, {}, ready, "no program runs"),
    (Verb.RESUME, {}, ready, "no program runs"),
    (Verb.RESUME, {}, running, "not paused"),
    (Verb.EXTEND, {}, running, "how many seconds"),
    (Verb.EXTEND, {"value": 90000.0}, running, "how many seconds"),
    (Verb.EXTEND, {"value": 60.0}, ready, "no hold runs"),
    (Verb.SKIP, {}, ready, "no program runs"),
    (Verb.ANSWER, {"text": "yes"}, running, "no question is open"),
    (Verb.RESET, {}, stuck, "load is not read back open yet"),
    (Verb.ACKNOWLEDGE, {}, ready, "nothing to acknowledge"),
    (Verb.ADOPT, {}, fresh, "nobody has taken charge"),
    (Verb.ADOPT, {}, ready, "no load was found on"),
    (Verb.ADOPT, {}, found_and_tripped, "a trip is latched"),
    (Verb.ADOPT, {}, found_in_a_stranger, "not what its profile says"),
    (Verb.CHECK_IN, {"who": ""}, ready, "say who is there"),
    (Verb.JOIN, {}, ready, "say which unit"),
    (Verb.JOIN, {"unit": 0}, fresh, "nobody has taken charge"),
    (Verb.JOIN, {"unit": 0}, silent, "does not answer"),
    (Verb.JOIN, {"unit": 0}, loaded, "still has load on"),
    (Verb.JOIN, {"unit": 0}, local, "under its own panel"),
    (Verb.JOIN, {"unit": 0}, swapped, "another unit answers"),
    (Verb.JOIN, {"unit": 5}, ready, "there is no such unit"),
    (Verb.OVERRIDE, {"text": "safety", "why": "x"}, ready, "can be overridden"),
    (Verb.OVERRIDE, {"text": "cool-down", "unit": 0}, ready, "needs a reason"),
    (Verb.OVERRIDE, {"text": "cool-down", "why": "x"}, ready, "say which unit"),
    (Verb.OVERRIDE, {"text": "cool-down", "why": "x", "unit": 0}, loaded, "has load on"),
    (Verb.OVERRIDE, {"text": "cool-down", "why": "x", "unit": 0}, silent, "does not answer"),
    (Verb.CONFIRM_FANS, {}, ready, "say which unit"),
    (Verb.SHELVE, {"text": "airflow lost", "unit": 0, "value": 60.0, "why": "x"}, fresh, "can be shelved: draws less"),
    (Verb.SHELVE, {"text": "draws less", "value": 60.0, "why": "x"}, fresh, "say which unit"),
    (Verb.SHELVE, {"text": "volts off", "why": "x"}, fresh, "say for how many seconds, up to 28800; 0 ends it"),
    (Verb.SHELVE, {"text": "volts off", "why": "x", "value": NAN}, fresh, "say for how many seconds"),
    (Verb.SHELVE, {"text": "volts off", "why": "x", "value": 28801.0}, fresh, "say for how many seconds"),
    (Verb.SHELVE, {"text": "volts off", "value": 60.0}, fresh, "shelving needs a name and a reason"),
    (Verb.SHELVE, {"text": "volts off", "value": 60.0, "why": "x"}, fresh, "no such alarm stands"),
    (Verb.SHELVE, {"text": "volts off", "value": 0.0}, fresh, "it is not shelved"),
    (Verb.READING, {}, fresh, "found '', expected a name and a value"),
    (Verb.READING, {"text": "oil_kpa=420; 88.5"}, fresh, "found '88.5', expected a name and a value"),
    (Verb.READING, {"text": "oil_kpa=420; oil=3"}, fresh, "found 'oil', expected one of oil_kpa, oil_c"),
    (Verb.READING, {"text": "oil_kpa=420; oil_kpa=3"}, fresh, "oil_kpa: found twice, expected once"),
    (Verb.READING, {"text": "coolant_c=88,5"}, fresh, "coolant_c: found '88,5', expected a number from -40 to 130"),
    (Verb.READING, {"text": "coolant_c=nan"}, fresh, "coolant_c: found 'nan', expected a number from -40 to 130"),
    (Verb.READING, {"text": "coolant_c=885"}, fresh, "coolant_c: found '885', expected a number from -40 to 130"),
    (Verb.READING, {"text": "oil_kpa=420", "value": -1.0}, fresh, "taken: found -1 s ago, expected 0 to 86400 s"),
    (Verb.READING, {"text": "oil_kpa=420", "value": NAN}, fresh, "taken: found nan s ago, expected 0 to 86400 s"),
    (Verb.READING, {"text": "correct 1: oil_kpa=420"}, fresh, "reading 1 was not taken: 0 are there to be corrected"),
    (Verb.CONFIRM_FANS, {"unit": 0}, silent, "not known"),
)
NEVER_REFUSED = {Verb.DROP, Verb.UNLOAD, Verb.REMARK}


@pytest.mark.parametrize(("verb", "fields", "scene", "why"), REFUSALS)
def test_the_verb_is_refused_with_its_reason(verb, fields, scene, why):
    w = Stepper(PLACE, TEST)
    scene(w)
    w.scan(Command(verb, **fields))
    assert why in w.last.events[[e.kind for e in w.last.events].index("refused")].text


def test_every_verb_that_can_be_refused_is_refused_in_some_test():
    assert {row[0] for row in REFUSALS} | NEVER_REFUSED == set(Verb)


def test_what_is_older_than_two_seconds_is_refused_except_what_takes_load_off():
    w = Stepper(PLACE, TEST).loaded(60.0)
    w.scan(Command(Verb.SET_LOAD, value=120.0, age_s=2.1))
    assert "older than 2 s" in w.heard("refused")[-1].text
    w.scan(Command(Verb.UNLOAD, age_s=60.0))
    assert w.mode() is Mode.UNLOAD
    w.scan(Command(Verb.DROP, age_s=60.0))
    assert w.state.dropped


def test_a_program_without_a_program_is_refused():
    w = Stepper(PLACE).ready()
    w.scan(Command(Verb.START))
    assert "no program is chosen" in w.heard("refused")[-1].text


def test_a_burst_of_reset_and_start_closes_nothing_on_a_unit_that_is_hot():
    w = Stepper(PLACE, TEST).loaded(120.0)
    w.plant.units[0].exhaust_c = 450.0
    w.run(1.0)
    for _ in range(20):
        w.scan(
            Command(Verb.RESET), Command(Verb.JOIN, unit=0), Command(Verb.SET_LOAD, value=120.0), Command(Verb.START)
        )
        assert w.last.orders.units[0].raise_to is None
        assert w.plant.units[0].load == 0


def test_an_override_is_recorded_with_who_and_why_and_ends_the_debt_of_that_unit_only():
    w = Stepper(PLACE).loaded(120.0)
    w.scan(Command(Verb.DROP))
    w.until(lambda w: not w.last.seen.loaded)
    w.scan(Command(Verb.OVERRIDE, "witness", "sensor is broken", text="cool-down", unit=1))
    assert [u.hot for u in w.state.units] == [True, False]
    assert w.state.overrides == (("cool-down", 1, "witness", "sensor is broken"),)


def test_a_drop_needs_nobody_in_charge_and_writes_to_units_that_were_never_heard():
    w = Stepper(PLACE)
    w.plant.units[0].load = 3
    w.plant.units[1].silent = Outcome.SILENT
    w.scan(Command(Verb.DROP))
    assert w.last.orders.urgent
    assert all(o.lower and not o.silent and o.keep == 0 for o in w.last.orders.units)
    assert w.plant.units[0].load == 0


def test_a_reset_in_the_scan_of_a_drop_does_not_call_it_off():
    w = Stepper(PLACE).ready()
    w.plant.units[1].silent = Outcome.SILENT
    w.scan(Command(Verb.DROP), Command(Verb.RESET))
    assert w.last.orders.urgent
    assert w.state.dropped


def test_nothing_is_written_before_somebody_has_taken_charge_whatever_the_interlocks_say():
    w = Stepper(PLACE)
    w.plant.units[0].load = 3
    w.plant.needs_set = True
    w.run(5.0)
    assert all(o.silent for o in w.last.orders.units)
    assert w.plant.units[0].load == 3
    w.scan(Command(Verb.TAKE_CHARGE))
    assert w.plant.units[0].load == 0


def test_a_unit_in_local_gets_no_orders_but_a_drop():
    w = Stepper(PLACE).loaded(120.0)
    w.plant.units[0].fields = {"remote": False}
    w.run(2.0)
    assert w.last.orders.units[0].silent
    assert w.alarm("unit in local", 0)
    assert w.state.held
    w.scan(Command(Verb.DROP))
    assert not w.last.orders.units[0].silent
    assert w.last.orders.units[0].lower


def test_reset_starts_nothing():
    w = Stepper(PLACE, TEST).started()
    w.until(lambda w: w.kw() == 60.0)
    w.plant.hertz = 40.0
    w.until(lambda w: w.state.trip is not None)
    w.plant.hertz = 50.0
    w.run(5.0)
    w.scan(Command(Verb.RESET))
    assert w.state.trip is None
    raised = [u.raised for u in w.plant.units]
    w.run(60.0)
    assert [u.raised for u in w.plant.units] == raised
    assert w.kw() == 0.0


@pytest.mark.parametrize("verb", [Verb.UNLOAD, Verb.DROP])
def test_taking_load_off_is_never_refused_whatever_comes_with_the_command(verb):
    w = Stepper(site(staged(20.0, 40.0), meter=True)).loaded(40.0)
    w.scan(Command(verb, "somebody", unit=7, age_s=99.0))
    assert "refused" not in [e.kind for e in w.last.events]
    assert w.state.units[0].wanted == 0 if verb is Verb.DROP else w.state.mode is Mode.UNLOAD
