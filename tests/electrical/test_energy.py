"""Energy against test profiles of standards (levels from memory or as marked) and trapezoids by numpy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.electrical import energy

# Percent of a 1000 kW set and hours; expected hours and kWh are sums of products.
PROFILES = [
    ("acceptance, NFPA 110 7.13 (steps from memory)", [(30, 0.5), (50, 0.5), (100, 1.0)], 2.0, 1400.0),
    ("annual, NFPA 110 8.4.2.3", [(50, 0.5), (75, 1.0)], 1.5, 1000.0),
    ("annual, 1999 edition", [(25, 0.5), (50, 0.5), (75, 1.0)], 2.0, 1125.0),
    ("36 months with annual, accreditor's pages", [(30, 3.0), (75, 1.0)], 4.0, 1650.0),
    ("US guide specification, prime", [(75, 2.0), (100, 4.0), (110, 2.0), (100, 2.0)], 10.0, 9700.0),
    ("US guide specification, standby", [(75, 2.0), (100, 4.0), (100, 2.0)], 8.0, 7500.0),
    ("a consultant's schedule", [(25, 0.5), (50, 1.0), (75, 1.0), (100, 3.0), (110, 1.0)], 6.5, 5475.0),
]


@pytest.mark.parametrize(("name", "steps", "hours", "kwh"), PROFILES)
def test_planned_energy_of_known_profiles(name, steps, hours, kwh):
    levels = [(10.0 * percent, h) for percent, h in steps]
    assert sum(h for _, h in levels) == hours
    assert energy.planned_kwh(levels) == kwh


def test_measured_energy_of_a_ramp_is_half_its_end():
    assert energy.measured_kwh((0.0, 3600.0), (0.0, 100.0)) == pytest.approx(50.0)
    assert energy.measured_kwh((), ()) == 0.0
    assert energy.measured_kwh((5.0,), (100.0,)) == 0.0


SAMPLES = st.lists(st.tuples(st.floats(0.0, 1e4), st.floats(-100.0, 5000.0)), min_size=2, max_size=30)


@given(SAMPLES)
def test_measured_energy_agrees_with_numpy(samples):
    times, powers = sorted(t for t, _ in samples), [p for _, p in samples]
    assert energy.measured_kwh(times, powers) == pytest.approx(np.trapezoid(powers, times) / 3600.0, abs=1e-6)


@given(SAMPLES, st.integers(0, 29))
def test_energy_adds_up_wherever_the_run_is_cut(samples, cut):
    times, powers = sorted(t for t, _ in samples), [p for _, p in samples]
    cut = min(cut, len(times) - 1)
    parts = energy.measured_kwh(times[: cut + 1], powers[: cut + 1]) + energy.measured_kwh(times[cut:], powers[cut:])
    assert parts == pytest.approx(energy.measured_kwh(times, powers), abs=1e-6)


def test_the_average_counts_light_load_as_30_percent():
    # ISO 8528-1, from memory: loads below 30 % count as 30 %.
    assert energy.average_percent([(100.0, 1.0), (900.0, 1.0)], 1000.0) == pytest.approx(60.0)
    assert energy.average_percent([(100.0, 1.0), (900.0, 1.0)], 1000.0, least_percent=0.0) == pytest.approx(50.0)
    assert energy.average_percent([], 1000.0) is None


@pytest.mark.parametrize(
    "call",
    [
        lambda: energy.measured_kwh((0.0, 2.0, 1.0), (1.0, 1.0, 1.0)),
        lambda: energy.measured_kwh((0.0, 1.0), (1.0, math.nan)),
        lambda: energy.measured_kwh((0.0,), (1.0, 2.0)),
        lambda: energy.planned_kwh([(1.0, -1.0)]),
        lambda: energy.average_percent([(1.0, 1.0)], 0.0),
    ],
)
def test_nonsense_is_refused(call):
    with pytest.raises(ValueError, match=r"expected|negative|above 0|goes back|zip"):
        call()
