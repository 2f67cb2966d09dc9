"""Diesel consumption against the generic table of the trade (four independent copies agree on these cells)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.electrical import fuel

US_GALLON_L = 3.785411784


def test_500_kw_at_full_load():
    assert fuel.litres_per_hour(500.0, 500.0) == pytest.approx(135.1, abs=0.001)
    assert fuel.litres_per_kwh(500.0, 500.0) == pytest.approx(0.2702, abs=0.001)


def test_100_kw_between_two_cells():
    assert fuel.litres_per_hour(100.0, 62.5) == pytest.approx(18.75, abs=0.01)  # half way from 15.5 to 22.0


@pytest.mark.parametrize(
    ("rated_kw", "gallons"),
    [(100.0, (2.6, 4.1, 5.8, 7.4)), (500.0, (11.0, 18.5, 26.4, 35.7)), (1000.0, (21.6, 36.4, 52.1, 71.1))],
)
def test_cells_agree_with_the_table_in_us_gallons(rated_kw, gallons):
    for share, gallon in zip(fuel.SHARES, gallons, strict=True):
        assert fuel.litres_per_hour(rated_kw, share * rated_kw) == pytest.approx(gallon * US_GALLON_L, abs=0.06)


def test_between_two_ratings_it_is_linear_and_outside_in_proportion():
    half_way = (fuel.litres_per_hour(100.0, 100.0) + fuel.litres_per_hour(250.0, 250.0)) / 2.0
    assert fuel.litres_per_hour(175.0, 175.0) == pytest.approx(half_way)
    assert fuel.litres_per_hour(4000.0, 2000.0) == pytest.approx(2.0 * fuel.litres_per_hour(2000.0, 1000.0))
    assert fuel.litres_per_hour(10.0, 5.0) == pytest.approx(0.5 * fuel.litres_per_hour(20.0, 10.0))


@given(st.floats(10.0, 3000.0), st.floats(0.0, 1.2), st.floats(0.0, 1.2))
def test_more_load_never_burns_less_and_idling_burns_some(rated_kw, one, other):
    low, high = sorted((one, other))
    less, more = fuel.litres_per_hour(rated_kw, low * rated_kw), fuel.litres_per_hour(rated_kw, high * rated_kw)
    assert 0.0 < less <= more + 1e-9


@pytest.mark.parametrize(("rated_kw", "power_kw"), [(0.0, 1.0), (100.0, -1.0), (100.0, 130.0), (float("nan"), 1.0)])
def test_nonsense_is_refused(rated_kw, power_kw):
    with pytest.raises(ValueError, match=r"expected|negative|above 0|says nothing"):
        fuel.litres_per_hour(rated_kw, power_kw)
