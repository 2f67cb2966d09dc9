"""Load without air, fans stopped hot, a proof or a sensor that lies: the whole bench, held against the truth."""

import pytest

from benchctl.core.command import Verb
from benchctl.core.scenario import Answer, Fault
from tests.safety.world import HOLD, YES, live, short

SCAN_S = 0.5


def test_load_whose_air_fails_is_off_within_two_scans_and_the_fan_stays_ordered_on():
    # by the fan alone: the switch of this bank follows its fan, and nothing reports the motor at bank 3
    seen = live(Fault(10.0, "fan fails", "bank 3", during=HOLD), until_s=75.0)
    gone_s = next(s.at_s for s in seen.sights if s.at_s > 40.0 and not s.air[2])
    assert all(s.kw[2] == 0.0 for s in seen.since(gone_s + 2 * SCAN_S))
    assert seen.alarmed_s("airflow lost") is not None
    assert all(s.frame.decision.orders.units[2].fan for s in seen.since(gone_s))
    assert seen.sights[-1].load_kw > 100.0  # the others carry on
    assert not seen.texts("trip")


def test_after_an_emergency_stop_hot_fans_wait_to_be_confirmed_and_that_is_told():
    pressed = Fault(10.0, "emergency stop", "bank 1", during=HOLD, for_s=20.0)
    confirm = Answer("confirm fans", unit="bank 1", at_s=40.0, during=HOLD)
    seen = live(pressed, answers=(YES, confirm), until_s=85.0)
    at_s = seen.alarmed_s("emergency stop")
    assert at_s is not None
    assert seen.texts("trip") == ["emergency stop operated at bank 1"]
    assert all(s.load_kw == 0.0 for s in seen.since(at_s + 2 * SCAN_S))
    assert seen.alarmed_s("hot, fans stopped") == pytest.approx(at_s, abs=SCAN_S)
    confirmed_s = next(c.at_s for c in seen.sights if any(x.verb is Verb.CONFIRM_FANS for x in c.frame.inputs.commands))
    assert confirmed_s > at_s + 20.0
    waits = [s for s in seen.since(at_s + SCAN_S) if s.at_s < confirmed_s]
    assert not any(s.fan_on[0] for s in waits)  # not even after the stop is pulled out again
    assert seen.sights[-1].fan_on[0]


def test_fans_without_supply_take_the_load_of_their_unit_off():
    seen = live(Fault(10.0, "fan supply lost", "bank 1", during=HOLD), until_s=60.0)
    at_s = seen.alarmed_s("fan supply lost")
    assert at_s is not None
    assert all(s.kw[0] == 0.0 for s in seen.since(at_s + SCAN_S))
    assert seen.sights[-1].load_kw > 100.0


def test_a_source_that_stops_under_fans_that_hang_on_it_is_told():
    seen = live(Fault(10.0, "source stops", "source", during=HOLD), until_s=60.0)
    at_s = seen.alarmed_s("hot, no fan supply")
    assert at_s is not None
    assert at_s <= 42.0
    assert [seen.sights[-1].air[i] for i in (0, 1, 2)] == [
        True,
        True,
        False,
    ]  # nobody can give bank 3 air but the source
    assert seen.sights[-1].frame.decision.state.units[2].hot
    assert seen.texts("trip") == ["volts below 80 %"]


def test_a_proof_that_lies_from_the_beginning_keeps_its_unit_without_load():
    seen = live(Fault(0.0, "airflow proof stuck", "bank 1", 1.0), until_s=100.0)
    assert any("airflow is proven at every unit" in text for text in seen.texts("prompt"))
    assert all(s.kw[0] == 0.0 for s in seen.sights)
    assert not any(o.orders.units[0].raise_to for o in (s.frame.decision for s in seen.sights))


def test_a_proof_that_lies_under_load_is_backed_by_what_the_fan_reports():
    lies = Fault(5.0, "airflow proof stuck", "bank 1", 1.0, during=HOLD)
    seen = live(lies, Fault(6.0, "fan fails", "bank 1", during=HOLD), until_s=60.0)
    assert any("the fan motor's overload relay has operated" in text for text in seen.texts("alarm"))
    began_s = next(s.at_s for s in seen.sights if any(e.text == "segment 2: hold" for e in s.frame.decision.events))
    assert any(s.kw[0] > 50.0 for s in seen.since(began_s))
    assert all(s.kw[0] == 0.0 for s in seen.since(began_s + 6.0 + 2 * SCAN_S))
    assert max(s.exhaust_c[0] for s in seen.sights) < 140.0  # that unit's own trip


def test_air_that_is_short_is_noticed_before_the_unit_trips():
    seen = live(Fault(0.0, "inlet blocked", "bank 2", 0.5, during=HOLD), program=short(440.0, 120.0), until_s=150.0)
    at_s = seen.alarmed_s("exhaust warm") or seen.alarmed_s("over-temperature")
    assert at_s is not None
    assert max(s.exhaust_c[1] for s in seen.sights) < 140.0
    assert not any("own over-temperature trip" in text for text in seen.texts("alarm"))


def test_a_unit_that_trips_by_its_own_temperature_stays_off():
    seen = live(Fault(10.0, "over-temperature", "bank 1", during=HOLD, for_s=5.0), until_s=85.0)
    assert any("own over-temperature trip has operated" in text for text in seen.texts("alarm"))
    assert all(s.kw[0] == 0.0 for s in seen.since(41.0))


def test_a_frozen_sensor_shortens_no_cool_down():
    frozen = Fault(0.0, "temperature sensor frozen", "bank 1")  # it reads cold from the beginning to the end
    seen = live(frozen, until_s=420.0)
    profile = seen.site.units[0].profile
    loaded_s = max(s.at_s for s in seen.sights if s.kw[0] > 0.0)
    ended_s = next(s.at_s for s in seen.sights if s.at_s > loaded_s and not s.fan_on[0])
    assert ended_s - loaded_s >= profile.cooldown.minimum_s
    at_end = next(s for s in seen.sights if s.at_s == ended_s)
    assert at_end.exhaust_c[0] <= (seen.site.ambient_c or 0.0) + profile.cooldown.margin_k  # and so it is really cool


def test_a_sensor_lost_under_load_is_told_and_nothing_more_closes_in_its_unit():
    lost = Fault(2.0, "temperature sensor lost", "bank 1", during=1)
    seen = live(lost, until_s=60.0)
    assert seen.alarmed_s("temperature missing") is not None
    unread = [s for s in seen.sights if s.frame.inputs.units[0].exhaust_c is None and s.frame.inputs.units[0].load]
    assert unread
    assert all(s.frame.decision.orders.units[0].raise_to is None for s in unread)
