"""Load on uneven volts against circuit theory and published figures for resistive elements."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.profile import Stage
from benchctl.core.site import Wiring
from simulator.network import add, currents_ka, phasors, power_kw, scaled, stage_conductances
from tests.simulator.worlds import profile, stage

FOUR, THREE = Wiring.THREE_PHASE_4W, Wiring.THREE_PHASE_3W


@pytest.mark.parametrize(
    ("rated_v", "volts", "share"),
    [
        (480.0, 416.0, 0.7511),
        (480.0, 460.0, 0.9184),
        (400.0, 380.0, 0.9025),
        (400.0, 415.0, 1.0764),
    ],
)
@pytest.mark.parametrize("connection", ["wye", "delta"])
def test_power_follows_the_square_of_the_volts(rated_v, volts, share, connection):
    """P = P_rated (U / U_rated)²; the shares are those of 480 V and 400 V banks on other volts."""
    bank = profile(rated_v=rated_v, connection=connection)
    g = stage_conductances(stage("all", 100.0), bank, True)
    assert power_kw(g, phasors(FOUR, volts)) == pytest.approx(100.0 * share, abs=0.01)


def test_amps_of_a_balanced_load_are_those_of_the_trade_formula():
    """500 kW at 480 V, power factor 1: P / (sqrt(3) U) = 601.41 A."""
    g = stage_conductances(stage("all", 500.0), profile(rated_v=480.0), True)
    assert [1000 * abs(i) for i in currents_ka(g, phasors(FOUR, 480.0))] == pytest.approx([601.41] * 3, abs=0.01)


def test_delta_elements_take_the_square_of_each_lines_volts():
    """6.912 ohm elements (100 kW, 480 V, delta) on 460, 467 and 450 V: 30.613, 31.552 and 29.297 kW."""
    g = stage_conductances(stage("all", 100.0), profile(rated_v=480.0, connection="delta"), False)
    assert [1000 / 6.912 * v * v / 1e6 for v in (460, 467, 450)] == pytest.approx(
        [g[3] * 460**2, g[4] * 467**2, g[5] * 450**2], abs=0.001
    )


@pytest.mark.parametrize(
    ("wiring", "connection", "share"),
    [
        (FOUR, "wye", 2 / 3),  # two of three elements
        (THREE, "wye", 1 / 2),  # two in series across one line: (sqrt(3)/2)² of each of two
        (THREE, "delta", 1 / 2),  # one whole, two at half volts: 1/3 + 2/3/4
    ],
)
def test_a_lost_phase_leaves_what_circuit_theory_leaves(wiring, connection, share):
    g = stage_conductances(stage("all", 90.0), profile(connection=connection), wiring.has_neutral)
    assert power_kw(g, phasors(wiring, 400.0, frozenset({0}))) == pytest.approx(90.0 * share, rel=1e-9)


@pytest.mark.parametrize(
    ("neutral", "connection", "share"),
    [
        (True, "wye", 2 / 3),
        (False, "wye", 1 / 2),
        (False, "delta", 1 / 2),
    ],
)
def test_a_blown_fuse_leaves_what_circuit_theory_leaves(neutral, connection, share):
    g = stage_conductances(stage("all", 90.0), profile(connection=connection), neutral, frozenset({1}))
    u = phasors(FOUR if neutral else THREE, 400.0)
    assert power_kw(g, u) == pytest.approx(90.0 * share, rel=1e-9)
    assert abs(currents_ka(g, u)[1]) == pytest.approx(0.0, abs=1e-12)


def test_an_element_between_two_lines_counts_half_to_each():
    g = stage_conductances(stage("one", 10.0, "ab"), profile(), True)
    u = phasors(FOUR, 400.0)
    power = [(x * i.conjugate()).real for x, i in zip(u, currents_ka(g, u), strict=True)]
    assert power == pytest.approx([5.0, 5.0, 0.0], abs=1e-9)


def test_single_phase_units_draw_their_rating_at_their_leg_volts():
    bank = profile(phases=1, connection="single", rated_v=120.0)
    g = stage_conductances(Stage("leg a", (6.0, 0.0, 0.0), "a"), bank, True)
    assert power_kw(g, phasors(Wiring.SINGLE_PHASE_3W, 240.0)) == pytest.approx(6.0)
    assert power_kw(g, phasors(Wiring.SINGLE_PHASE_2W, 120.0)) == pytest.approx(6.0)


@settings(deadline=None, max_examples=50)
@given(
    st.lists(st.tuples(st.floats(0.1, 50), st.sampled_from(["abc", "a", "ab"])), min_size=1, max_size=5),
    st.floats(300, 450),
)
def test_elements_take_exactly_what_the_lines_give(stages, volts):
    g = (0.0,) * 6
    for kw, across in stages:
        g = add(g, stage_conductances(stage("s", kw, across), profile(), True))
    u = phasors(FOUR, volts)
    fed = sum((x * i.conjugate()).real for x, i in zip(u, currents_ka(g, u), strict=True))
    assert fed == pytest.approx(power_kw(g, u), rel=1e-9)
    assert power_kw(scaled(g, 2.0), u) == pytest.approx(2 * fed, rel=1e-9)


def test_phasors_are_a_third_of_a_turn_apart():
    a, b, c = phasors(FOUR, 400.0)
    assert abs(a + b + c) < 1e-9
    assert [abs(a - b), abs(b - c), abs(c - a)] == pytest.approx([400.0] * 3)
    assert abs(a) == pytest.approx(400.0 / math.sqrt(3))
