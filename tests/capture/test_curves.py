"""Waveforms of a source → volts between lines, amps, kW and hertz, with known answers."""

from dataclasses import replace

import numpy as np
import pytest

from benchctl.capture.curves import curves_of
from benchctl.capture.recording import Channel, Recording
from benchctl.core.ruleset import Quantity
from tests.capture.signals import column, recording, sine, three, times

T = times(1.0, 5_000.0)


def named(curves):
    return {c.name: c for c in curves}


def test_three_phases_give_line_volts_amps_power_and_frequency():
    """230 V to neutral are 398.37 V between lines; 3 × 230 V × 100 A at unity power factor are 69 kW (case C1)."""
    curves, notes = curves_of(recording(T, **three(T, 230.0, 100.0, 50.0)), 50.0)
    found = named(curves)
    assert set(found) == {"volts AB", "volts BC", "volts CA", "amps A", "amps B", "amps C", "hertz", "kW"}
    for pair in ("AB", "BC", "CA"):
        assert np.array(found[f"volts {pair}"].values) == pytest.approx(230.0 * np.sqrt(3.0), rel=1e-4)
    assert np.array(found["kW"].values) == pytest.approx(69.0, rel=1e-4)
    assert np.array(found["hertz"].values) == pytest.approx(50.0, abs=1e-3)
    assert (found["kW"].refresh_s, found["kW"].window_s, notes) == (0.01, 0.02, ())


def test_a_clamp_that_is_turned_round_shows_as_less_power_and_is_not_mended():
    """Case C1: 23 + 23 − 23 kW are 23 kW."""
    waves = three(T, 230.0, 100.0, 50.0)
    waves["amps_c"] = -waves["amps_c"]
    assert np.array(named(curves_of(recording(T, **waves), 50.0)[0])["kW"].values) == pytest.approx(23.0, rel=1e-3)


def test_one_line_alone_falls_where_one_phase_falls():
    """A to 80 %: AB and CA to |0.8 + 1∠60°| ÷ √3 = 0.9018 of before, BC stays."""
    waves = three(T, 230.0, 100.0, 50.0)
    waves["volts_a"] = waves["volts_a"] * 0.8
    found = named(curves_of(recording(T, **waves), 50.0)[0])
    assert np.mean(found["volts AB"].values) == pytest.approx(230.0 * abs(0.8 - np.exp(-2j * np.pi / 3)), rel=1e-4)
    assert np.mean(found["volts BC"].values) == pytest.approx(230.0 * np.sqrt(3.0), rel=1e-4)


def test_one_phase_alone_stands_for_lines_by_the_root_of_three_and_says_so():
    found, notes = curves_of(recording(T, volts_a=sine(T, 230.0, 50.0)), 50.0)
    assert found[0].name == "volts A-N × √3"
    assert np.mean(found[0].values) == pytest.approx(398.37, abs=0.05)
    assert "times √3" in notes[0]


def test_a_source_of_one_phase_keeps_its_volts_and_one_of_two_adds_them():
    single, _ = curves_of(recording(T, volts_a=sine(T, 230.0, 50.0), amps_a=sine(T, 10.0, 50.0)), 50.0, phases=1)
    assert np.mean(named(single)["volts A"].values) == pytest.approx(230.0, rel=1e-4)
    assert np.mean(named(single)["kW"].values) == pytest.approx(2.3, rel=1e-4)
    split = recording(T, volts_a=sine(T, 120.0, 60.0), volts_b=sine(T, 120.0, 60.0, np.pi))
    assert np.mean(named(curves_of(split, 60.0, phases=2)[0])["volts AB"].values) == pytest.approx(240.0, rel=1e-4)


def test_values_that_the_recorder_made_are_taken_as_they_are():
    t = times(10.0, 10.0)
    channel = Channel("f", Quantity.HERTZ, "", False, column(50.0 + 0.0 * t), 0.2)
    (curve,), _ = curves_of(Recording("x", "CSV", column(t), (channel,)), 50.0)
    assert (curve.name, curve.window_s) == ("hertz", 0.2)
    assert curve.refresh_s == pytest.approx(0.1)


def test_waveforms_at_a_changing_rate_are_refused_with_the_sample():
    made = recording(T, volts_a=sine(T, 230.0, 50.0))
    uneven = np.array(made.t_s)
    uneven[2000:] += 0.01
    with pytest.raises(ValueError, match=r"sample \d+ is at .* evenly sampled"):
        curves_of(replace(made, t_s=column(uneven)), 50.0)
    with pytest.raises(ValueError, match="no cycle of about 50 Hz"):
        curves_of(recording(T, volts_a=0.0 * T), 50.0)
    with pytest.raises(ValueError, match="samples a cycle"):
        curves_of(recording(times(1.0, 300.0), volts_a=sine(times(1.0, 300.0), 1.0, 50.0)), 50.0)


def test_samples_that_are_missing_leave_the_frequency_open_about_them():
    wave = sine(T, 230.0, 50.0)
    wave[2500:2520] = np.nan
    found = named(curves_of(recording(T, volts_ab=wave), 50.0)[0])
    hertz, t = np.array(found["hertz"].values), np.array(found["hertz"].t_s)
    assert np.isnan(hertz[np.abs(t - 0.502) < 0.02]).all()
    assert hertz[np.abs(t - 0.502) > 0.05] == pytest.approx(50.0, abs=0.01)
