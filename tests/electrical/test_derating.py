"""Derating against a published alternator chart's slopes."""

import pytest

from benchctl.electrical.derating import AMBIENT, Slope, derated_share


def test_2000_m_and_50_c():
    # Published alternator derating chart: 3 % for each 500 m above 1000 m, 3 % for each 5 K above 40 °C.
    assert derated_share(2000.0, 50.0) == pytest.approx(0.94 * 0.94, abs=1e-4)


def test_nothing_is_lost_below_the_thresholds():
    assert derated_share(1000.0, 40.0) == 1.0
    assert derated_share(0.0, -20.0) == 1.0


def test_nothing_is_left_far_above_and_never_less():
    assert AMBIENT.share(2000.0) == 0.0


@pytest.mark.parametrize("slope", [Slope(0.0, 0.0, 1.0), Slope(0.0, 1.0, -1.0), Slope(float("nan"), 1.0, 1.0)])
def test_nonsense_is_refused(slope):
    with pytest.raises(ValueError, match=r"expected|negative|above 0"):
        slope.share(1.0)
