"""Speed, frequency and the slope after a load step against the synchronous machine's identities."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.electrical import speed


@pytest.mark.parametrize(
    ("hertz", "poles", "rpm"), [(60.0, 4, 1800), (50.0, 4, 1500), (60.0, 6, 1200), (50.0, 2, 3000)]
)
def test_synchronous_speeds(hertz, poles, rpm):
    assert speed.rpm(hertz, poles) == rpm  # n = 120 f / p, exact


def test_C7_hertz_from_a_logged_speed():
    assert speed.hertz(1500.25, 4) == pytest.approx(50.008, abs=0.0005)  # a public log recorded 49 Hz at this speed


def test_a_full_step_at_an_inertia_of_one_second():
    assert speed.frequency_slope_hz_s(1.0, 60.0, 1.0) == pytest.approx(30.0, abs=1e-6)  # ΔP f / 2H
    assert speed.frequency_slope_hz_s(-1.0, 50.0, 1.0) == pytest.approx(25.0, abs=1e-6)


@given(st.floats(0.0, 500.0), st.sampled_from([2, 4, 6, 8, 10, 12]))
def test_speed_and_hertz_are_inverse(hertz, poles):
    assert speed.hertz(speed.rpm(hertz, poles), poles) == pytest.approx(hertz)


@pytest.mark.parametrize(
    "call",
    [
        lambda: speed.rpm(50.0, 3),
        lambda: speed.rpm(-1.0, 4),
        lambda: speed.hertz(1500.0, 0),
        lambda: speed.frequency_slope_hz_s(1.0, 50.0, 0.0),
    ],
)
def test_nonsense_is_refused(call):
    with pytest.raises(ValueError, match=r"expected|negative|above 0"):
        call()
