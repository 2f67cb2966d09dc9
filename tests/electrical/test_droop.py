"""Droop, regulation and bands against a US guide specification's example and the definitions of ISO 8528-5."""

import math

import pytest

from benchctl.electrical import droop


def test_D5_droop_of_hertz_is_divided_by_hertz():
    # Formula of a US guide specification (diesel sets 100 to 2500 kW), whose printed hertz form divides by volts.
    assert droop.droop_percent(61.8, 60.0) == pytest.approx(3.000, abs=1e-6)
    assert droop.droop_percent(484.0, 480.0) == pytest.approx(0.83, abs=0.005)
    assert droop.droop_percent(61.8, 60.0) != pytest.approx(100.0 * (61.8 - 60.0) / 480.0)  # 0.375: the misprint


def test_regulation_of_488_to_480_volts():
    assert droop.droop_percent(488.0, 480.0) == pytest.approx(1.6667, abs=1e-4)  # computed
    assert droop.regulation_percent(488.0, (484.0, 480.0), 480.0) == pytest.approx(1.6667, abs=1e-4)


def test_regulation_takes_the_worst_load_even_above_no_load():
    assert droop.regulation_percent(480.0, (478.0, 487.0), 480.0) == pytest.approx(100.0 * 7.0 / 480.0)


def test_bands_are_full_width_and_deviation_is_half_of_it():
    assert droop.band_percent((49.9, 50.15, 50.0), 50.0) == pytest.approx(0.5)
    assert droop.voltage_deviation_percent((395.0, 405.0), 400.0) == pytest.approx(1.25)


def test_a_dip_is_negative():
    assert droop.deviation_percent(44.0, 50.0, 50.0) == pytest.approx(-12.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: droop.droop_percent(50.0, 0.0),
        lambda: droop.droop_percent(math.nan, 50.0),
        lambda: droop.band_percent((), 50.0),
        lambda: droop.regulation_percent(480.0, (), 480.0),
        lambda: droop.deviation_percent(44.0, 50.0, -50.0),
    ],
)
def test_nonsense_is_refused(call):
    with pytest.raises(ValueError, match=r"expected|above 0"):
        call()
