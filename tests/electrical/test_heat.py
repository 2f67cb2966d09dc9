"""Heat and air against a published fan-engineering figure, the standard atmosphere's table and closed forms."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.electrical import heat

CFM_PER_M3_S = 60.0 / 0.3048**3


def test_heat_of_100_kw_in_btu_per_hour():
    assert heat.btu_per_hour(100.0) == pytest.approx(341_214.0, abs=1.0)  # 3 600 000 J / 1055.056 J


def test_air_for_100_kw_and_a_rise_of_100_f():
    assert heat.airflow_cfm(100.0, 100.0) == pytest.approx(3160.0)  # published fan-engineering figure
    si = heat.airflow_m3_s(100.0, 100.0 / 1.8)
    assert si == pytest.approx(1.4860, rel=1e-4)  # computed, ρ = 1.2041 kg/m³
    assert si * CFM_PER_M3_S == pytest.approx(heat.airflow_cfm(100.0, 100.0), rel=0.005)


def test_rise_of_500_kw_in_8_m3_s_at_sea_level_and_at_1500_m():
    assert heat.rise_k(500.0, 8.0) == pytest.approx(51.60, abs=0.01)  # computed
    thin = heat.AIR_20C_KG_M3 * heat.density_ratio(1500.0)
    assert heat.rise_k(500.0, 8.0, thin) == pytest.approx(59.74, abs=0.01)


@pytest.mark.parametrize(  # ISO 2533 table, as computed from its formula; 1500 m also published widely
    ("altitude_m", "density", "ratio"),
    [
        (0, 1.2250, 1.0),
        (500, 1.1673, 0.953),
        (1000, 1.1116, 0.907),
        (1500, 1.0581, 0.864),
        (2000, 1.0065, 0.822),
        (3000, 0.9091, 0.742),
    ],
)
def test_density_of_the_standard_atmosphere(altitude_m, density, ratio):
    assert heat.standard_air(altitude_m).density_kg_m3 == pytest.approx(density, abs=1e-4)
    assert heat.density_ratio(altitude_m) == pytest.approx(ratio, abs=6e-4)


def test_the_standard_atmosphere_at_1500_m():
    air = heat.standard_air(1500.0)
    assert air.temperature_k == pytest.approx(278.40, rel=1e-3)
    assert air.pressure_pa == pytest.approx(84_560.0, rel=1e-3)
    assert air.density_kg_m3 == pytest.approx(1.0581, rel=1e-3)


def test_a_first_order_rise_with_a_time_constant_of_20_s():
    assert heat.settled_share(20.0, 20.0) == pytest.approx(0.6321, abs=1e-4)  # 1 - 1/e
    assert heat.settled_share(60.0, 20.0) == pytest.approx(0.9502, abs=1e-4)
    assert heat.decay_s(0.2, 20.0) == pytest.approx(32.19, abs=0.01)


@given(st.floats(0.1, 3000.0), st.floats(0.1, 50.0), st.floats(0.5, 1.3))
def test_air_for_a_rise_gives_that_rise(power_kw, flow, density):
    assert heat.airflow_m3_s(power_kw, heat.rise_k(power_kw, flow, density), density) == pytest.approx(flow)


@given(st.floats(0.001, 1.0), st.floats(0.1, 1000.0))
def test_the_time_to_fall_to_a_share_leaves_that_share(share, tau_s):
    assert 1.0 - heat.settled_share(heat.decay_s(share, tau_s), tau_s) == pytest.approx(share)


@pytest.mark.parametrize(
    "call",
    [
        lambda: heat.btu_per_hour(-1.0),
        lambda: heat.airflow_cfm(1.0, 0.0),
        lambda: heat.rise_k(1.0, 0.0),
        lambda: heat.rise_k(math.nan, 1.0),
        lambda: heat.standard_air(20_000.0),
        lambda: heat.settled_share(-1.0, 1.0),
        lambda: heat.decay_s(1.5, 1.0),
    ],
)
def test_nonsense_is_refused(call):
    with pytest.raises(ValueError, match=r"expected|negative|above 0"):
        call()
