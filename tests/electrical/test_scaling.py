"""Voltage scaling and connections against published heater tables and worked examples."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.electrical import scaling

VOLTS = st.floats(50.0, 800.0)

# Published tables of heater makers' trade pages: share of rated power on another voltage, in percent.
PUBLISHED = [
    (240.0, 208.0, 75.111, 0.001),
    (480.0, 575.0, 144.0, 0.6),
    (480.0, 440.0, 84.0, 0.6),
    (480.0, 240.0, 25.0, 0.6),
    (480.0, 120.0, 6.0, 0.6),
    (277.0, 240.0, 75.0, 0.5),
    (277.0, 230.0, 69.0, 0.5),
    (277.0, 208.0, 56.0, 0.5),
]
# Computed from P = U²/R.
COMPUTED = [
    (480.0, 416.0, 75.11, 0.01),
    (480.0, 460.0, 91.84, 0.01),
    (400.0, 380.0, 90.25, 0.01),
    (400.0, 415.0, 107.64, 0.01),
]


@pytest.mark.parametrize(("rated_v", "volts", "percent", "tolerance"), PUBLISHED + COMPUTED)
def test_power_falls_with_the_square_of_the_volts(rated_v, volts, percent, tolerance):
    assert 100.0 * scaling.power_ratio(rated_v, volts) == pytest.approx(percent, abs=tolerance)


@pytest.mark.parametrize(
    ("watts", "rated_v", "volts", "expected", "tolerance"),
    [  # published worked examples of the heater trade
        (5500.0, 240.0, 208.0, 4131.0, 1.0),
        (1000.0, 240.0, 208.0, 751.1, 0.1),
        (1000.0, 240.0, 480.0, 4000.0, 0.1),
        (1000.0, 208.0, 240.0, 1331.4, 0.1),
    ],
)
def test_elements_on_another_voltage(watts, rated_v, volts, expected, tolerance):
    assert 1000.0 * scaling.scaled_kw(watts / 1000.0, rated_v, volts) == pytest.approx(expected, abs=tolerance)


def test_rated_kw_to_switch_on_for_600_kw():
    assert scaling.rated_needed_kw(600.0, 480.0, 460.0) == pytest.approx(653.31, abs=0.01)  # computed
    assert scaling.rated_needed_kw(600.0, 480.0, 416.0) == pytest.approx(798.82, abs=0.01)
    assert 3 * scaling.scaled_kw(500.0, 480.0, 460.0) == pytest.approx(1377.60, abs=0.01)


def test_element_ohms_of_100_kw_at_480_v():
    assert scaling.wye_ohms(100.0, 480.0) == pytest.approx(2.304, abs=1e-3)  # computed
    assert scaling.delta_ohms(100.0, 480.0) == pytest.approx(6.912, abs=1e-3)
    assert scaling.wye_kw(6.912, 480.0) == pytest.approx(33.33, abs=0.01)  # delta elements put in wye


def test_delta_elements_on_unequal_line_volts_sum_squares():
    each = [scaling.delta_kw(6.912, u, 0.0, 0.0) for u in (460.0, 467.0, 450.0)]
    assert each == pytest.approx([30.613, 31.552, 29.297], abs=0.001)  # computed
    total = scaling.delta_kw(6.912, 460.0, 467.0, 450.0)
    assert total == pytest.approx(91.4625, abs=0.001)
    assert total != pytest.approx(3 * 459.0**2 / 6.912 / 1000.0, abs=0.01)  # 91.4414: the mean squared is wrong


def test_D7_banks_below_their_rated_voltage():
    for volts, kw in ((415.0, 74.8), (400.0, 69.4), (208.0, 18.8)):  # P = U²/R, rounded in the case
        assert scaling.scaled_kw(100.0, 480.0, volts) == pytest.approx(kw, abs=0.06)
    assert 6 * scaling.scaled_kw(100.0, 480.0, 400.0) == pytest.approx(416.7, abs=0.05)
    assert scaling.units_needed(500.0, 100.0, 480.0, 400.0) == 8
    assert 8 * scaling.scaled_kw(100.0, 480.0, 400.0) == pytest.approx(555.6, abs=0.05)
    assert 100.0 * (1.0 - scaling.power_ratio(400.0, 0.97 * 400.0)) == pytest.approx(5.9, abs=0.05)


def test_D3_a_sag_of_2_percent_asks_for_a_margin():
    assert 50.0 * scaling.power_ratio(1.0, 0.98) == pytest.approx(48.02, abs=0.005)
    assert scaling.setting_for_sag(50.0, 2.0) == pytest.approx(52.06, abs=0.005)
    assert scaling.setting_for_sag(250.0, 2.0) == pytest.approx(260.3, abs=0.05)


@given(VOLTS, VOLTS, st.floats(0.1, 5000.0))
def test_scaling_there_and_back_changes_nothing(rated_v, volts, kw):
    assert scaling.rated_needed_kw(scaling.scaled_kw(kw, rated_v, volts), rated_v, volts) == pytest.approx(kw)
    assert scaling.scaled_kw(scaling.scaled_kw(kw, rated_v, volts), volts, rated_v) == pytest.approx(kw)
    sag_percent = 100.0 * (1.0 - min(volts, rated_v) / max(volts, rated_v))
    assert scaling.setting_for_sag(kw, sag_percent) * (1 - sag_percent / 100.0) ** 2 == pytest.approx(kw)


@given(VOLTS, VOLTS, VOLTS, st.floats(0.1, 1000.0))
def test_scaling_in_two_legs_is_scaling_in_one(first, second, third, amps):
    assert scaling.power_ratio(first, second) * scaling.power_ratio(second, third) == pytest.approx(
        scaling.power_ratio(first, third)
    )
    assert scaling.scaled_amps(amps, first, second) * first == pytest.approx(amps * second)


@given(VOLTS, st.floats(0.1, 5000.0))
def test_wye_at_root_3_volts_is_delta_and_parallel_at_half_volts_is_series(volts, kw):
    ohms = scaling.wye_ohms(kw, volts)
    assert scaling.wye_kw(ohms, volts) == pytest.approx(kw)
    assert scaling.delta_kw(ohms, volts, volts, volts) == pytest.approx(scaling.wye_to_delta_kw(kw))
    assert scaling.wye_kw(ohms, math.sqrt(3.0) * volts) == pytest.approx(scaling.wye_to_delta_kw(kw))
    assert scaling.delta_kw(scaling.delta_ohms(kw, volts), volts, volts, volts) == pytest.approx(kw)
    halves_in_series, halves_in_parallel = scaling.wye_kw(2.0 * ohms, volts), scaling.wye_kw(ohms / 2.0, volts)
    assert halves_in_parallel == pytest.approx(scaling.series_to_parallel_kw(halves_in_series))
    assert scaling.wye_kw(ohms / 2.0, volts / 2.0) == pytest.approx(halves_in_series)


@given(VOLTS, st.floats(1.0, 5000.0), VOLTS, st.floats(1.0, 500.0))
def test_the_units_needed_suffice_and_one_less_does_not(rated_v, target, volts, unit_kw):
    needed = scaling.units_needed(target, unit_kw, rated_v, volts)
    each = scaling.scaled_kw(unit_kw, rated_v, volts)
    assert needed * each >= target * (1 - 1e-6)
    assert (needed - 1) * each < target


@pytest.mark.parametrize(
    "call",
    [
        lambda: scaling.power_ratio(0.0, 400.0),
        lambda: scaling.power_ratio(400.0, -1.0),
        lambda: scaling.scaled_kw(math.nan, 400.0, 400.0),
        lambda: scaling.rated_needed_kw(1.0, 400.0, 0.0),
        lambda: scaling.setting_for_sag(50.0, 100.0),
        lambda: scaling.wye_ohms(0.0, 400.0),
        lambda: scaling.delta_kw(1.0, 400.0, -1.0, 400.0),
        lambda: scaling.units_needed(1.0, 0.0, 400.0, 400.0),
    ],
)
def test_nonsense_is_refused(call):
    with pytest.raises(ValueError, match=r"expected|negative|above 0"):
        call()
