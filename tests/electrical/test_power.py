"""Power against computed vectors and a published table of three-phase heater currents."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.electrical import power


@pytest.mark.parametrize(
    ("kw", "volts", "factor", "amps"),
    [(500.0, 480.0, 1.0, 601.41), (500.0, 480.0, 0.8, 751.76), (1000.0, 400.0, 0.8, 1804.22)],
)
def test_amps_follow_from_power_volts_and_power_factor(kw, volts, factor, amps):
    assert power.three_phase_amps(kw, volts, factor) == pytest.approx(amps, abs=0.01)  # computed, double precision


def test_apparent_and_reactive_power_of_500_kw_at_power_factor_0_8():
    assert power.apparent_kva(500.0, 0.8) == pytest.approx(625.0, abs=1e-9)  # the 3-4-5 triangle
    assert power.reactive_kvar(500.0, 0.8) == pytest.approx(375.0, abs=1e-9)
    assert power.vector_kva(400.0, 300.0) == pytest.approx(500.0, abs=1e-6)
    assert power.power_factor(400.0, 300.0) == pytest.approx(0.8, abs=1e-6)
    assert power.power_factor(0.0, 0.0) is None


# Published three-phase current table of the electric-heater trade; it was made with √3 = 1.73 and rounded.
HEATERS = [
    (20.0, 208.0, 55.6, 0.003),
    (20.0, 240.0, 48.2, 0.003),
    (20.0, 440.0, 26.3, 0.003),
    (20.0, 480.0, 24.1, 0.003),
    (75.0, 208.0, 209.0, 0.005),
    (75.0, 240.0, 181.0, 0.005),
    (75.0, 440.0, 98.6, 0.005),
    (75.0, 480.0, 90.4, 0.005),
]


@pytest.mark.parametrize(("kw", "volts", "amps", "tolerance"), HEATERS)
def test_amps_agree_with_a_published_heater_table(kw, volts, amps, tolerance):
    assert power.three_phase_amps(kw, volts) == pytest.approx(amps, rel=tolerance)


def test_vector_and_arithmetic_sums_differ_when_phases_differ():
    alike = power.totals((100.0, 100.0, 100.0), (75.0, 75.0, 75.0))
    assert alike.vector_kva == pytest.approx(alike.arithmetic_kva) == pytest.approx(375.0)
    mixed = power.totals((30.0, 40.0, 0.0), (40.0, 30.0, 0.0))  # two 3-4-5 triangles, turned
    assert mixed.vector_kva == pytest.approx(math.hypot(70.0, 70.0))
    assert mixed.arithmetic_kva == pytest.approx(100.0)
    with pytest.raises(ValueError, match="zip"):
        power.totals((1.0,), (1.0, 2.0))


@given(st.floats(0.1, 5000.0), st.floats(100.0, 700.0), st.floats(0.05, 1.0))
def test_power_from_its_own_amps_is_the_power(kw, volts, factor):
    assert power.three_phase_kw(volts, power.three_phase_amps(kw, volts, factor), factor) == pytest.approx(kw)
    assert power.single_phase_kw(volts, power.single_phase_amps(kw, volts, factor), factor) == pytest.approx(kw)
    assert power.vector_kva(kw, power.reactive_kvar(kw, factor)) == pytest.approx(power.apparent_kva(kw, factor))


@pytest.mark.parametrize(
    "call",
    [
        lambda: power.three_phase_amps(-1.0, 400.0),
        lambda: power.three_phase_amps(1.0, 0.0),
        lambda: power.three_phase_amps(1.0, 400.0, 1.2),
        lambda: power.single_phase_kw(math.nan, 1.0),
        lambda: power.apparent_kva(math.inf, 1.0),
        lambda: power.reactive_kvar(1.0, 0.0),
        lambda: power.vector_kva(math.nan, 0.0),
    ],
)
def test_nonsense_is_refused(call):
    with pytest.raises(ValueError, match=r"expected|negative|above 0"):
        call()
