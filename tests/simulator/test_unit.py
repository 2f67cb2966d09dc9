"""What a unit does by itself. Behaviour of real units' own protection: common practice, no source."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.profile import Fan, FanSupply, Watchdog
from benchctl.core.scenario import Fault
from tests.simulator.worlds import STAGE_KW, bench, loaded, profile, setpoint_profile


def test_no_contactor_pulls_in_with_the_fan_off():
    world = bench()
    world.banks[0].order_load(0b1111)
    world.advance(10.0)
    assert world.banks[0].elements.closed == 0


def test_a_load_ordered_early_pulls_in_when_airflow_is_proven():
    world = bench()
    bank = world.banks[0]
    bank.order_load(0b1111)
    bank.order_fan(True)
    world.advance(1.1)
    assert not bank.airflow
    assert bank.elements.closed == 0
    world.advance(1.4)
    assert bank.airflow
    assert bank.elements.closed == 0b1111


def test_switching_the_fan_off_drops_the_load():
    world = loaded(bench())
    world.banks[0].order_fan(False)
    world.advance(6.2)
    assert world.banks[0].elements.closed == 0


def test_contactors_take_their_time_and_not_all_the_same():
    world = bench()
    bank = world.banks[0]
    bank.order_fan(True)
    world.advance(5.0)
    bank.order_load(0b1111)
    seen = []
    for ms in range(1, 100):
        world.advance(5.0 + ms / 1000)
        seen.append(bank.elements.closed)
    assert seen[38] == 0
    assert seen[61] == 0b1111
    assert len(set(seen)) > 2


@pytest.mark.parametrize("load", range(16))
def test_the_sum_of_the_closed_stages_is_drawn(load):
    world = loaded(bench(kind="supply"), load)
    expected = sum(kw for i, kw in enumerate(STAGE_KW) if load >> i & 1)
    assert world.truth()["load_kw"] == pytest.approx(expected)


def test_the_watchdog_drops_the_load_and_keeps_the_fan():
    world = bench()
    bank = world.banks[0]
    bank.heard("request")
    loaded(world)
    bank.heard("request")
    world.advance(20.9)
    assert bank.elements.closed == 0b1111
    world.advance(21.2)
    assert (bank.elements.closed, bank.elements.order, bank.fan_on, bank.airflow) == (0, 0, True, True)


def test_after_the_watchdog_a_unit_stays_off_when_contact_returns():
    world = bench()
    bank = world.banks[0]
    bank.heard("request")
    loaded(world)
    world.advance(30.0)
    bank.heard("request")
    world.advance(40.0)
    assert bank.elements.closed == 0


def test_a_unit_that_resumes_takes_its_load_again_when_contact_returns():
    world = bench(profile(watchdog=Watchdog(15.0, "any request", on_return="resumes")))
    bank = world.banks[0]
    bank.heard("request")
    loaded(world)
    world.advance(30.0)
    assert bank.elements.closed == 0
    bank.heard("request")
    world.advance(31.0)
    assert bank.elements.closed == 0b1111


@pytest.mark.parametrize(
    ("fed_by", "what", "holds"),
    [
        ("any request", "request", True),
        ("any write", "request", False),
        ("any write", "write", True),
        ("register", "write", False),
        ("register", "register", True),
    ],
)
def test_a_watchdog_is_fed_by_what_its_profile_says(fed_by, what, holds):
    world = bench(profile(watchdog=Watchdog(3.0, fed_by)))
    bank = world.banks[0]
    bank.heard("register")
    for now in range(1, 20):
        world.advance(float(now))
        bank.heard(what)
        bank.order_fan(True)
        bank.order_load(0b1111)
    world.advance(19.5)
    assert bool(bank.elements.closed) is holds


def test_loss_of_air_under_load_trips_and_does_not_come_back_by_itself():
    world = loaded(bench(faults=(Fault(10.0, "fan fails", "bank 1", for_s=20.0),)))
    bank = world.banks[0]
    world.advance(13.0)
    assert not bank.airflow
    assert bank.elements.closed == 0b1111
    world.advance(18.0)
    assert (bank.elements.closed, bank.air_tripped) == (0, True)
    world.advance(60.0)
    assert bank.airflow
    assert (bank.elements.closed, bank.elements.order) == (0, 0)


def test_without_air_and_with_a_lying_switch_the_exhaust_trips_the_unit():
    faults = (Fault(10.0, "airflow proof stuck", "bank 1", 1.0), Fault(20.0, "fan fails", "bank 1"))
    world = loaded(bench(profile(exhaust_trip_c=100.0), faults=faults))
    bank = world.banks[0]
    world.advance(400.0)
    assert bank.overheat_tripped
    assert bank.elements.closed == 0


@given(st.floats(0.05, 5.0))
@settings(max_examples=10, deadline=None)
def test_the_over_temperature_trip_comes_at_the_same_time_however_time_is_cut(step_s):
    def world():
        return loaded(bench(profile(exhaust_trip_c=35.0), faults=(Fault(20.0, "inlet blocked", "bank 1", 0.45),)))

    whole, cut = world(), world()
    whole.advance(200.0)
    now = 6.0
    while now < 200.0:
        now = min(200.0, now + step_s)
        cut.advance(now)
    assert whole.banks[0].overheat_tripped
    assert cut.banks[0].overheat_tripped
    assert cut.banks[0].heat.exhaust_c == pytest.approx(whole.banks[0].heat.exhaust_c, abs=0.3)


def test_fans_fed_by_the_source_stop_with_it_and_count_on_it():
    world = loaded(bench(profile(fan=Fan(1.5, FanSupply.SOURCE)), kind="supply"))
    assert world.truth()["source"]["kw"] == pytest.approx(41.5)
    assert world.truth()["load_kw"] == pytest.approx(40.0)
    world.source.stop()
    world.changed()
    world.advance(12.0)
    assert not world.banks[0].fan_supply
    assert not world.banks[0].airflow


def test_a_fan_that_nobody_orders_runs_for_load_and_until_it_is_cool():
    world = bench(profile(fan=Fan(1.5, FanSupply.SEPARATE, controllable=False)))
    bank = world.banks[0]
    assert not bank.fan_on
    bank.order_load(0b1111)
    world.advance(120.0)
    assert bank.elements.closed == 0b1111
    bank.order_load(0)
    world.advance(121.0)
    assert bank.fan_on
    world.advance(400.0)
    assert not bank.fan_on
    assert bank.heat.exhaust_c < bank.heat.inlet_c + 10.0


def test_a_set_point_is_accepted_after_a_while_and_quantised():
    world = bench(setpoint_profile(), kind="supply")
    bank = world.banks[0]
    bank.order_fan(True)
    world.advance(5.0)
    bank.order_load(7)
    world.advance(5.3)
    assert bank.elements.feedback == 0
    world.advance(5.6)
    assert bank.elements.feedback == 7
    assert world.truth()["load_kw"] == pytest.approx(35.0)


def test_a_set_point_climbs_by_its_ramp_and_falls_at_once():
    world = loaded(bench(setpoint_profile(ramp=10.0), kind="supply"), 16)
    world.advance(8.0)
    assert 15.0 <= world.truth()["load_kw"] <= 35.0
    world.advance(20.0)
    assert world.truth()["load_kw"] == pytest.approx(80.0)
    world.banks[0].order_load(2)
    world.advance(20.6)
    assert world.truth()["load_kw"] == pytest.approx(10.0)


def test_a_unit_that_holds_actual_kw_makes_up_for_low_volts():
    faults = (Fault(20.0, "volts sag", "source", 90.0),)
    actual, rated = (loaded(bench(setpoint_profile(actual=a), kind="supply", faults=faults), 8) for a in (True, False))
    actual.advance(30.0)
    rated.advance(30.0)
    assert rated.truth()["load_kw"] == pytest.approx(40.0 * 0.81)
    assert actual.truth()["load_kw"] == pytest.approx(40.0, abs=2.1)


def test_asking_often_or_once_finds_the_same_heat_and_energy():
    often, once = (loaded(bench(profile(), kind="supply")) for _ in range(2))
    for k in range(1, 200):
        often.advance(6.0 + 0.5 * k)
        assert often.banks[0].exhaust_c is not None
    once.advance(6.0 + 0.5 * 199)
    assert often.banks[0].heat.exhaust_c == pytest.approx(once.banks[0].heat.exhaust_c, abs=1e-3)
    assert often.banks[0].energy_kwh == pytest.approx(once.banks[0].energy_kwh, rel=1e-9)


def test_heat_and_energy_follow_the_square_of_the_sources_volts():
    faults = (Fault(10.0, "volts sag", "source", 90.0),)
    low, full = (loaded(bench(profile(), kind="generating set", faults=f)) for f in (faults, ()))
    for world in (low, full):
        world.advance(12.0)
    begun = [w.banks[0].energy_kwh for w in (low, full)]
    for world in (low, full):
        world.advance(1200.0)
    drawn = [w.banks[0].energy_kwh - b for w, b in zip((low, full), begun, strict=True)]
    assert drawn[0] / drawn[1] == pytest.approx(0.81, rel=1e-3)
    rises = [w.banks[0].heat.exhaust_c - w.banks[0].heat.inlet_c for w in (low, full)]
    assert rises[0] / rises[1] == pytest.approx(0.81, rel=1e-3)
