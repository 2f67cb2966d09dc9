"""One-cycle rms and per-cycle frequency against numpy, scipy and signals whose answers are known.

That U_rms(1/2) is an rms over one cycle refreshed each half cycle is from memory of IEC 61000-4-30.
"""

import math
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import hilbert

from benchctl.capture.waves import crossings, cycle_means, frequency_hz, middles, rms
from tests.capture.signals import column, sine, times

RATE = 10_000.0


def seen(wave, rate=RATE, hertz=50.0):
    found = crossings(column(wave), rate / hertz)
    return (
        np.array(middles(found, 1.0 / rate)),
        np.array(rms(column(wave), found)),
        np.array(frequency_hz(found, 1.0 / rate)),
    )


@pytest.mark.parametrize("hertz", [45.0, 49.3, 50.0, 50.7, 55.0])
@pytest.mark.parametrize("rate", [1_200.0, 3_200.0, 10_000.0, 15_360.0])
def test_a_sine_has_its_rms_and_its_frequency(hertz, rate):
    t = times(2.0, rate)
    at, volts, f = seen(sine(t, 230.0, hertz, 0.7), rate)
    close = 2e-3 if rate < 3000.0 else 2e-4
    assert volts == pytest.approx(230.0, rel=close)
    assert f == pytest.approx(hertz, rel=close)
    assert np.diff(at) == pytest.approx(0.5 / hertz, rel=1e-2)


def test_rms_of_each_cycle_is_that_of_numpy_over_the_same_samples():
    """200 samples a cycle, crossings on samples: the same mean square, the halves of the two ends being equal."""
    t = times(1.0, RATE)
    wave = sine(t, 230.0, 50.0) + sine(t, 20.0, 250.0) + sine(t, 7.0, 550.0, 1.0)
    at, volts, _ = seen(wave)
    for middle, value in zip(at, volts, strict=True):
        first = round(middle * RATE) - 100
        assert value == pytest.approx(np.sqrt(np.mean(wave[first : first + 200] ** 2)), rel=1e-9)


def test_harmonics_and_what_is_constant_count_in_the_rms_and_not_in_the_frequency():
    t = times(2.0, RATE)
    wave = 12.0 + sine(t, 230.0, 50.2) + sine(t, 30.0, 150.6, 0.4) + sine(t, 15.0, 251.0, 2.0) + sine(t, 10.0, 351.4)
    _, volts, f = seen(wave)
    assert volts == pytest.approx(math.sqrt(12.0**2 + 230.0**2 + 30.0**2 + 15.0**2 + 10.0**2), rel=5e-4)
    assert f == pytest.approx(50.2, abs=0.01)


def test_noise_does_not_make_crossings():
    t = times(5.0, RATE)
    noise = np.random.default_rng(1).normal(0.0, 10.0, t.size)
    at, volts, f = seen(sine(t, 230.0, 50.0) + noise)
    assert len(at) == 495  # one each half cycle but for the ends, where there is no whole window of the filter
    assert np.mean(volts) == pytest.approx(math.hypot(230.0, 10.0), rel=1e-3)
    assert np.max(np.abs(f - 50.0)) < 0.25


def test_a_dip_is_as_deep_and_as_long_as_it_was_made():
    """To 80 % for 0.2 s: whole cycles inside have it exactly, and only one cycle about each edge is between."""
    t = times(2.0, RATE)
    wave = sine(t, np.where((t >= 1.0) & (t < 1.2), 184.0, 230.0), 50.0)
    at, volts, _ = seen(wave)
    inside, outside = (at > 1.0101) & (at < 1.1899), (at < 0.9899) | (at > 1.2101)
    assert volts[inside] == pytest.approx(184.0, rel=6e-4)  # the jump itself moves the crossing beside it a little
    assert volts[outside] == pytest.approx(230.0, rel=6e-4)
    half = (184.0 + 230.0) / 2.0
    assert at[volts < half][0] == pytest.approx(1.0, abs=0.011)
    assert at[volts < half][-1] == pytest.approx(1.2, abs=0.011)


def test_a_sliding_frequency_is_followed_as_by_the_analytic_signal():
    """50 Hz falling by 4 Hz/s and coming back, against the slope of the phase of scipy's analytic signal."""
    t = times(4.0, RATE)
    f = 50.0 - 4.0 * np.interp(t, [0.0, 1.0, 2.0, 3.5, 4.0], [0.0, 0.0, 1.0, 0.0, 0.0])
    wave = sine(t, 230.0, f)
    at, volts, found = seen(wave)
    analytic = np.gradient(np.unwrap(np.angle(hilbert(wave)))) * RATE / (2.0 * np.pi)
    smooth = np.convolve(analytic, np.ones(200) / 200.0, "same")
    middle = (at > 0.2) & (at < 3.8)
    assert found[middle] == pytest.approx(np.interp(at[middle], t, smooth), abs=0.03)
    assert found[middle] == pytest.approx(np.interp(at[middle], t, f), abs=0.03)
    assert np.min(found) == pytest.approx(46.0, abs=0.05)
    assert volts == pytest.approx(230.0, rel=1e-3)


def test_volts_that_go_away_are_nearly_nothing_and_never_missing():
    t = times(3.0, RATE)
    wave = sine(t, np.where((t >= 1.0) & (t < 2.0), 0.0, 230.0), 50.0) + np.random.default_rng(2).normal(
        0.0, 0.5, t.size
    )
    at, volts, f = seen(wave)
    gone = (at > 1.03) & (at < 1.97)
    assert gone.sum() == pytest.approx(94, abs=3)
    assert np.all(volts[gone] < 1.0)
    assert np.isnan(f[gone]).all()
    assert f[(at < 0.95) | (at > 2.1)] == pytest.approx(50.0, abs=0.1)


def test_samples_that_are_missing_are_missing_in_their_cycles_only():
    t = times(1.0, RATE)
    wave = sine(t, 230.0, 50.0)
    found = crossings(column(wave), 200.0)
    wave[5000:5010] = np.nan
    at, volts = np.array(middles(found, 1.0 / RATE)), np.array(rms(column(wave), found))
    near = np.abs(at - 0.5005) < 0.0101
    assert np.isnan(volts[near]).all()
    assert volts[np.abs(at - 0.5005) > 0.0115] == pytest.approx(230.0, rel=1e-4)


def test_the_mean_of_a_product_is_the_power():
    t = times(1.0, RATE)
    product = sine(t, 230.0, 50.0) * sine(t, 10.0, 50.0, -math.pi / 3.0)
    found = crossings(column(sine(t, 230.0, 50.0)), 200.0)
    assert np.array(cycle_means(column(product), found)) == pytest.approx(230.0 * 10.0 * 0.5, rel=1e-6)


def test_too_few_samples_a_cycle_are_refused_and_too_short_a_wave_has_no_cycle():
    with pytest.raises(ValueError, match=r"7\.0 samples a cycle"):
        crossings([0.0] * 100, 7.0)
    assert not crossings([0.0] * 10, 200.0).at
    assert not crossings([0.0] * 1000, 200.0).at
    assert not middles(crossings(column(sine(times(0.03, RATE), 1.0, 50.0)), 200.0), 1e-4)


@settings(max_examples=30)
@given(
    st.floats(1.0, 1e4), st.floats(44.0, 56.0), st.floats(0.0, 6.28), st.floats(-0.2, 0.2), st.sampled_from([2e3, 1e4])
)
def test_any_steady_wave_has_one_value_each_half_cycle(volts, hertz, shift, constant, rate):
    wave = sine(times(0.5, rate), volts, hertz, shift) + constant * volts
    at, found, f = seen(wave, rate)
    assert len(at) >= 0.5 * 2 * hertz - 8
    assert found == pytest.approx(volts * math.hypot(1.0, constant), rel=2e-3)
    assert f == pytest.approx(hertz, rel=2e-3)


@settings(max_examples=20)
@given(st.floats(0.01, 100.0), st.integers(0, 150))
def test_scaling_scales_and_shifting_by_samples_shifts(scale, moved):
    t = times(1.0, 4_000.0)
    wave = sine(t, np.where(t > 0.5, 180.0, 230.0), 50.0) + sine(t, 9.0, 150.0)
    at, volts, f = seen(wave, 4_000.0)
    at2, volts2, f2 = seen(wave[moved:] * scale, 4_000.0)
    keep = at > at2[0] + moved / 4_000.0 - 1e-9
    assert at2[-keep.sum() :] + moved / 4_000.0 == pytest.approx(at[keep], abs=1e-9)
    assert volts2[-keep.sum() :] == pytest.approx(volts[keep] * scale, rel=1e-6)
    assert f2[-keep.sum() :] == pytest.approx(f[keep], rel=1e-6)


def test_six_channels_are_quick_without_numpy():
    """10 s at 10 kHz: 0.25 s of processor time when measured, so 60 s take 1.5 s; ten times that would be no use."""
    wave = column(sine(times(10.0, RATE), 230.0, 50.0))
    begun = time.process_time()
    found = crossings(wave, 200.0)
    for _ in range(6):
        rms(wave, found)
    assert time.process_time() - begun < 2.5
