"""Units and how numbers are written. Equivalents are exact by definition (inch, US gallon, pound, standard gravity)."""

import math

import pytest

from benchctl.report.measures import Measures, clock, number


@pytest.mark.parametrize(
    ("value", "unit", "decimals", "told"),
    [
        (100.0, "°C", 0, "212 °F"),
        (-40.0, "°C", 0, "−40 °F"),
        (3.785411784, "L", 3, "1.000 gal"),  # US gallon: 231 cubic inches
        (6.894757, "kPa", 3, "1.000 psi"),
        (0.3048, "m", 3, "1.000 ft"),
        (1.0, "m³/s", 0, "2119 CFM"),
        (400.0, "V", 0, "400 V"),
        (None, "kPa", 0, "–"),
        (math.nan, "L", 0, "–"),
    ],
)
def test_us_units(value, unit, decimals, told):
    assert Measures("us").say(value, unit, decimals).replace("\u00a0", " ") == told


def test_metric_units_stay_as_they_are():
    assert Measures().say(85.0, "°C", 0) == "85\u00a0°C"


@pytest.mark.parametrize(("value", "told"), [(-0.04, "0.0"), (-0.06, "−0.1"), (0.0, "0.0"), (None, "–")])
def test_there_is_no_negative_zero(value, told):
    assert number(value) == told


@pytest.mark.parametrize(
    ("seconds", "told"),
    [(0.0, "0:00:00"), (3661.5, "1:01:01.5"), (59.99, "0:01:00"), (-1.0, "−0:00:01"), (math.inf, "–"), (None, "–")],
)
def test_times(seconds, told):
    assert clock(seconds) == told
