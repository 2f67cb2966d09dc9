"""Heat against a numerical integrator (scipy.integrate.solve_ivp) and against figures of a first-order system."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from simulator.heat import CP, RHO_SEA, Heat, density


def make(inlet_c: float = 20.0, altitude_m: float = 0.0) -> Heat:
    return Heat(inlet_c, 4.0, 20.0, 8.0, 600.0, altitude_m)


@settings(deadline=None, max_examples=40)
@given(st.floats(1.0, 200.0), st.floats(0.0, 300.0), st.floats(0.0, 1.0), st.floats(0.0, 80.0))
def test_heating_and_cooling_follow_the_differential_equations(dt_s, power_kw, flow, first_s):
    heat = make()
    heat.elapse(first_s, 150.0, 1.0)
    start = [heat.element_c, heat.exhaust_c]
    heat.elapse(dt_s, power_kw, flow)
    full_g = RHO_SEA * CP * 4.0 / 1000.0
    g, mass = max(full_g * flow, full_g * 20.0 / 600.0), full_g * 20.0

    def slope(_, y):
        return [(power_kw - g * (y[0] - 20.0)) / mass, (y[0] - y[1]) / 8.0]

    found = solve_ivp(slope, (0.0, dt_s), start, rtol=1e-9, atol=1e-9).y[:, -1]
    assert heat.element_c == pytest.approx(found[0], abs=2e-4)
    assert heat.exhaust_c == pytest.approx(found[1], abs=2e-4)


@settings(deadline=None, max_examples=40)
@given(st.lists(st.floats(0.01, 50.0), min_size=2, max_size=6), st.floats(0.0, 300.0))
def test_two_short_times_are_one_long_time(parts, power_kw):
    whole, cut = make(), make()
    whole.elapse(sum(parts), power_kw, 1.0)
    for part in parts:
        cut.elapse(part, power_kw, 1.0)
    assert cut.exhaust_c == pytest.approx(whole.exhaust_c, abs=1e-3)


@pytest.mark.parametrize(("seconds", "share"), [(20.0, 0.6321), (60.0, 0.9502)])
def test_elements_reach_the_shares_of_a_first_order_system(seconds, share):
    """1 - exp(-t/tau), tau 20 s: 0.6321 and 0.9502 of the final rise."""
    heat = make()
    heat.elapse(seconds, 100.0, 1.0)
    assert (heat.element_c - 20.0) / (heat.final_c(100.0, 1.0) - 20.0) == pytest.approx(share, abs=1e-4)


def test_the_steady_rise_is_power_over_mass_flow_and_heat_capacity():
    """500 kW in 8 m³/s of air of 1.2041 kg/m³ and 1006 J/(kg K): 51.60 K."""
    heat = Heat(20.0, 8.0, 20.0, 8.0, 600.0)
    heat.elapse(5000.0, 500.0, 1.0)
    assert heat.exhaust_c - 20.0 == pytest.approx(51.60, abs=0.01)


def test_thin_air_cools_less():
    """The same at 1500 m, density ratio 0.8637 (standard atmosphere): 59.74 K."""
    heat = Heat(20.0, 8.0, 20.0, 8.0, 600.0, 1500.0)
    assert heat.final_c(500.0, 1.0) - 20.0 == pytest.approx(59.74, abs=0.02)


@pytest.mark.parametrize(
    ("height_m", "ratio"), [(0, 1.0), (500, 0.953), (1000, 0.907), (1500, 0.864), (2000, 0.822), (3000, 0.742)]
)
def test_density_falls_as_in_the_standard_atmosphere(height_m, ratio):
    assert density(height_m) / RHO_SEA == pytest.approx(ratio, abs=6e-4)


def test_without_air_the_elements_get_too_hot_within_seconds():
    heat = Heat(20.0, 1.0, 20.0, 8.0, 600.0)
    heat.elapse(60.0, 100.0, 0.0)
    assert heat.element_c > 250.0


def test_still_air_cools_slowly():
    heat = make()
    heat.elapse(500.0, 300.0, 1.0)
    hot = heat.element_c
    heat.elapse(60.0, 0.0, 0.0)
    assert heat.element_c > 20.0 + 0.85 * (hot - 20.0)


@settings(deadline=None, max_examples=50)
@given(st.floats(0.0, 300.0), st.floats(0.0, 300.0))
def test_more_power_is_hotter(first_kw, second_kw):
    low, high = make(), make()
    low.elapse(30.0, min(first_kw, second_kw), 1.0)
    high.elapse(30.0, max(first_kw, second_kw), 1.0)
    assert high.exhaust_c >= low.exhaust_c
