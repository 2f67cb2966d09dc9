"""What a unit gives at another voltage, against figures worked by hand from P = V²/R."""

from dataclasses import replace

import pytest

from benchctl.planning.fits import available_kw, place_warnings
from tests.core.worlds import site, staged, stepped


@pytest.mark.parametrize(
    ("rated_v", "source_v", "kw"),  # 100 kW x (source / rated)²
    [(480.0, 415.0, 74.8), (480.0, 400.0, 69.4), (480.0, 208.0, 18.8), (400.0, 400.0, 100.0), (415.0, 400.0, 92.9)],
)
def test_a_unit_below_its_rated_volts_gives_less_by_the_square(rated_v, source_v, kw):
    place = site(staged(100.0, rated_v=rated_v))
    place = replace(place, nameplate=replace(place.nameplate, volts=source_v))
    assert available_kw(place, place.units[0]) == pytest.approx(kw, abs=0.05)


def test_more_than_the_highest_volts_is_not_counted_on():
    place = site(staged(100.0, rated_v=240.0))
    assert available_kw(place, place.units[0]) == pytest.approx(121.0)  # at 110 %
    assert place_warnings(place, place.units[0]) == ["rated 240 V, but the source has 400 V: no stage may close"]


def test_a_unit_that_corrects_for_volts_gives_what_it_says():
    profile = stepped(80.0, 2.5, rated_v=480.0)
    assert profile.setpoint is not None
    place = site(replace(profile, setpoint=replace(profile.setpoint, actual=True)))
    assert available_kw(place, place.units[0]) == 80.0


def test_a_large_loss_is_told_and_a_unit_that_fits_is_not():
    place = site(staged(100.0, rated_v=480.0), staged(100.0))
    assert place_warnings(place, place.units[0]) == ["rated 480 V on a source of 400 V: it gives 69 % of its rating"]
    assert place_warnings(place, place.units[1]) == []
