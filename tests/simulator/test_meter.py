"""Meters: their own interval, their noise, and what wrong wiring does to them."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.scenario import Fault
from benchctl.core.site import Wiring
from tests.simulator.worlds import bench, loaded, profile, stage


def reading(world, name="source meter"):
    return world.meter(name).electrical()


@pytest.mark.parametrize("name", ["source meter", "chain meter"])
def test_a_meter_shows_what_flows_within_its_class(name):
    world = loaded(bench(kind="supply"))
    world.advance(10.0)
    e = reading(world, name)
    assert e.power_kw == pytest.approx(40.0, rel=0.003)
    assert e.volts_ll == pytest.approx((400.0,) * 3, rel=0.001)
    assert e.volts_ln == pytest.approx((400 / 3**0.5,) * 3, rel=0.001)
    assert e.amps == pytest.approx((40000 / 3**0.5 / 400,) * 3, rel=0.002)  # P / (sqrt(3) U)
    assert e.hertz == pytest.approx(50.0, rel=0.001)


def test_a_meter_keeps_its_value_between_two_samples():
    world = loaded(bench(kind="supply"))
    values = []
    for k in range(200):
        world.advance(10.0 + k * 0.05)
        values.append(reading(world).power_kw)
    changes = sum(a != b for a, b in pairwise(values))
    assert 9 <= changes <= 10


def test_the_refresh_count_moves_once_a_sample():
    world = bench()
    world.advance(10.0)
    before = reading(world).refresh_count
    world.advance(110.0)
    assert reading(world).refresh_count - before == 100


def test_a_turned_transformer_makes_its_phases_kw_negative():
    world = loaded(bench(kind="supply", faults=(Fault(8.0, "transformer reversed", "source meter", 2.0),)))
    world.advance(12.0)
    e = reading(world)
    assert e.phase_kw == pytest.approx((40 / 3, -40 / 3, 40 / 3), rel=0.003)
    assert e.power_kw == pytest.approx(40 / 3, rel=0.01)


def test_two_exchanged_transformers_show_minus_half_of_their_kw_each():
    """cos(120°) = -1/2: phases A and B show -1/2 of theirs, C its own, together nothing."""
    world = loaded(bench(kind="supply", faults=(Fault(8.0, "transformers exchanged", "source meter", 12.0),)))
    world.advance(12.0)
    e = reading(world)
    assert e.phase_kw == pytest.approx((-20 / 3, -20 / 3, 40 / 3), rel=0.003)
    assert e.power_kw == pytest.approx(0.0, abs=0.1)


def test_the_energy_counter_is_the_integral_of_the_power():
    world = loaded(bench(kind="supply"))
    world.advance(10.0)
    before = reading(world).energy_kwh
    world.advance(10.0 + 1800.0)
    assert reading(world).energy_kwh - before == pytest.approx(20.0, rel=0.002)


def test_a_site_load_is_seen_at_the_source_and_not_at_the_chain():
    world = loaded(bench(kind="supply", faults=(Fault(7.0, "site load", "source", 30.0),)))
    world.advance(10.0)
    assert reading(world).power_kw == pytest.approx(70.0, rel=0.003)
    assert reading(world, "chain meter").power_kw == pytest.approx(40.0, rel=0.003)
    assert reading(world, "site meter").power_kw == pytest.approx(30.0, rel=0.003)
    assert reading(world).reactive_kvar == pytest.approx(30.0 * (1 / 0.95**2 - 1) ** 0.5, rel=0.01)


def test_an_unbalanced_load_shows_on_its_own_phase():
    unit = profile(stages=(stage("one", 6.0, "a"), stage("two", 6.0, "ab")))
    world = loaded(bench(unit, kind="supply"), 0b11)
    world.advance(9.0)
    assert reading(world).phase_kw == pytest.approx((9.0, 3.0, 0.0), abs=0.03)


def test_where_there_is_no_neutral_there_are_no_volts_to_it():
    world = bench(wiring=Wiring.THREE_PHASE_3W)
    world.advance(5.0)
    assert reading(world).volts_ln == (None, None, None)
    assert reading(world).volts_ll == pytest.approx((400.0,) * 3, rel=0.001)


def test_a_single_phase_source_has_no_third_phase():
    world = bench(wiring=Wiring.SINGLE_PHASE_3W)
    world.advance(5.0)
    e = reading(world)
    assert e.volts_ln[2] is None
    assert e.volts_ll[0] == pytest.approx(400.0, rel=0.001)
    assert e.volts_ll[1:] == (None, None)


@settings(deadline=None, max_examples=15)
@given(
    st.lists(st.tuples(st.floats(0.02, 15.0), st.booleans()), max_size=12),
    st.sampled_from(["supply", "generating set"]),
    st.integers(0, 3),
)
def test_who_looks_when_changes_nothing_of_what_a_meter_counts(glances, kind, seed):
    worlds = [loaded(bench(kind=kind, seed=seed, site_load_kw=30.0)) for _ in range(2)]
    first, second = worlds
    now = 6.0
    for wait_s, looks in glances:
        now += wait_s
        second.advance(now)
        if looks:
            reading(second)
    for world in worlds:
        world.advance(200.0)
        world.banks[0].order_load(0b0011)
        world.advance(260.3)
    for name in ("source meter", "chain meter", "site meter"):
        one, other = reading(first, name), reading(second, name)
        assert (one.refresh_count, one.hertz) == (other.refresh_count, pytest.approx(other.hertz, abs=2e-4))
        assert one.volts_ll == pytest.approx(other.volts_ll, abs=1e-6)
        assert one.power_kw == pytest.approx(other.power_kw, abs=1e-6)
        assert one.energy_kwh == pytest.approx(other.energy_kwh, abs=1e-4)


def test_a_frozen_meter_counts_nothing_until_it_is_free():
    world = loaded(bench(kind="supply", faults=(Fault(20.0, "meter frozen", "source meter", for_s=600.0),)))
    world.advance(21.0)
    before = reading(world)
    world.advance(619.0)
    assert reading(world) == before
    world.advance(630.0)
    after = reading(world)
    assert 9 <= after.refresh_count - before.refresh_count <= 11
    assert after.energy_kwh - before.energy_kwh == pytest.approx(40.0 * 10.0 / 3600.0, rel=0.11)
