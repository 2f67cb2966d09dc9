"""The world as a whole: laws that hold whatever is ordered."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.scenario import Fault
from simulator.bench import Bench
from tests.simulator.worlds import bench, loaded, profile, setpoint_profile, site


def test_the_truth_has_the_keys_that_a_rehearsal_reads():
    truth = loaded(bench()).truth()
    assert set(truth) == {"t", "load_kw", "source", "units"}
    assert set(truth["source"]) == {"volts", "hertz", "kw"}
    assert set(truth["units"][0]) == {"name", "kw", "closed", "fan_on", "airflow", "exhaust_c"}
    assert json.loads(json.dumps(truth)) == truth


ORDERS = st.lists(st.tuples(st.floats(0.05, 20.0), st.integers(0, 1), st.integers(0, 15), st.booleans()), max_size=8)


def follow(world: Bench, orders) -> list[float]:
    """Give the orders; the truth's kW after each."""
    now, seen = 0.0, []
    for wait_s, unit, load, fan in orders:
        world.banks[unit].order_fan(fan)
        world.banks[unit].order_load(load)
        world.advance(now := now + wait_s)
        truth = world.truth()
        seen.append(truth["load_kw"])
        assert sum(u["kw"] for u in truth["units"]) == pytest.approx(truth["load_kw"])
        assert truth["source"]["kw"] == pytest.approx(truth["load_kw"])
        for u in truth["units"]:
            assert u["fan_on"] or u["closed"] == 0
            assert u["exhaust_c"] >= 20.0 - 1e-6
    return seen


@settings(max_examples=20, deadline=None)
@given(ORDERS)
def test_the_source_gives_what_the_units_take_and_no_load_stands_without_a_fan(orders):
    # The contactors' own delay is what the shortest wait must allow for.
    follow(bench(profile(), setpoint_profile()), [(w + 0.1, *rest) for w, *rest in orders])


@settings(max_examples=15, deadline=None)
@given(ORDERS)
def test_energy_is_conserved_between_source_and_units(orders):
    world = bench(profile(), profile(), kind="supply")
    follow(world, [(w + 0.1, *rest) for w, *rest in orders])
    now = world.now_s + 2.0
    world.advance(now)
    counted = world.meter("chain meter").electrical().energy_kwh
    drawn = sum(b.energy_kwh for b in world.banks)
    # A meter that samples once a second is wrong by less than a second of full load for each change.
    assert counted == pytest.approx(drawn, abs=(len(orders) + 1) * 80.0 / 3600.0 + 0.002 * drawn)


@settings(max_examples=15, deadline=None)
@given(ORDERS, st.integers(0, 3))
def test_same_site_faults_seed_and_orders_give_the_same_world(orders, seed):
    first, second = (bench(profile(), profile(), seed=seed, site_load_kw=30.0) for _ in range(2))
    assert follow_free(first, orders) == follow_free(second, orders)
    assert first.truth() == second.truth()


def follow_free(world, orders):
    now = 0.0
    for wait_s, unit, load, fan in orders:
        world.banks[unit].order_fan(fan)
        world.banks[unit].order_load(load)
        world.advance(now := now + wait_s)
    return [m.electrical() for m in world.meters]


def test_another_seed_is_another_world():
    worlds = [bench(seed=s, site_load_kw=45.0) for s in (1, 2)]
    for world in worlds:
        world.advance(3600.0)
    assert worlds[0].meters[0].electrical() != worlds[1].meters[0].electrical()


def test_the_sites_own_load_comes_and_goes_within_its_limit():
    world = bench(site_load_kw=45.0)
    seen = set()
    for k in range(720):
        world.advance(10.0 * k)
        seen.add(round(world.site_kw, 1))
        assert 0.0 <= world.site_kw <= 45.0
    assert len(seen) > 10


def test_a_time_in_the_past_changes_nothing():
    world = loaded(bench())
    before = world.truth()
    world.advance(1.0)
    assert world.truth() == before


def test_a_fault_acts_at_its_time_whatever_the_steps():
    world = loaded(bench(kind="supply", faults=(Fault(100.0, "emergency stop", "bank 1"),)))
    world.advance(99.999)
    assert world.banks[0].elements.closed == 0b1111
    world.advance(100.1)
    assert (world.banks[0].elements.closed, world.banks[0].fan_on) == (0, False)


def test_faults_that_wait_for_a_segment_count_from_its_beginning():
    world = bench(faults=(Fault(5.0, "local", "bank 1", during=3),))
    world.advance(100.0)
    assert world.banks[0].remote
    world.segment_reached(3, 100.0)
    world.advance(104.9)
    assert world.banks[0].remote
    world.advance(105.1)
    assert not world.banks[0].remote
    world.segment_reached(3, 110.0)


@pytest.mark.parametrize(
    ("name", "on", "words"),
    [
        ("local", "bank 9", "bank 1"),
        ("meter lost", "bank 1", "source meter"),
        ("cut", "127.0.0.1:1", "127.0.0.1:15000"),
        ("volts sag", "bank 1", "source"),
    ],
)
def test_a_fault_on_what_the_site_has_not_is_told_at_once(name, on, words):
    with pytest.raises(ValueError, match=words):
        bench(faults=(Fault(1.0, name, on, 1.0),))


def test_a_large_block_on_a_turbocharged_set_dips_and_recovers():
    world = loaded(bench(*[profile()] * 5), 0)
    for bank in world.banks:
        bank.order_load(0b1111)
    hertz, volts = [], []
    for k in range(400):
        world.advance(6.0 + k * 0.01)
        hertz.append(world.truth()["source"]["hertz"])
        volts.append(world.truth()["source"]["volts"])
    # 0 to 50 % in one step: -5.01 % and -7.5 % in the reference; the contactors' spread softens the volts.
    assert min(hertz) == pytest.approx(50.0 * (1 - 0.0501), abs=0.1)
    assert 400.0 * 0.925 <= min(volts) <= 400.0 * 0.95
    assert hertz[-1] == pytest.approx(50.0, abs=0.1)


def test_running_volts_that_are_not_the_nameplates_scale_the_load():
    world = loaded(Bench(site(profile(), kind="supply", volts=380.0)))
    assert world.truth()["load_kw"] == pytest.approx(40.0 * 0.9025)
    assert world.truth()["source"]["volts"] == pytest.approx(380.0)
