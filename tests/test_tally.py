"""Totals of a run: from a rehearsal without bytes, against what the simulator says is true."""

import pytest

from benchctl.core.decision import Settings
from benchctl.core.program import Hold, LoadIs, Program, Ramp, Target
from benchctl.files import read_site
from benchctl.rehearsal import Rehearsal
from benchctl.tally import Tally


@pytest.fixture(scope="module")
def rehearsed():
    site, _ = read_site("northquay")
    segments = (Ramp(Target(120.0), 20.0), Hold(60.0), Ramp(Target(0.0), 10.0))
    settings = Settings.of(site, Program("short", "short", segments, load_is=LoadIs.CHAIN, check_load=False))
    tally = Tally(settings)
    truth: list[tuple[float, float, tuple[tuple[float, bool], ...]]] = []
    rehearsal = Rehearsal(settings, seed=3, listeners=(tally,), with_bytes=False)

    def watch(frame):
        said = rehearsal.bench.truth()
        units = tuple((u["kw"], u["fan_on"]) for u in said["units"])
        truth.append((frame.inputs.now_s, said["load_kw"], units))

    rehearsal._listeners = (*rehearsal._listeners, watch)
    rehearsal.run()
    return tally, truth


def test_the_peak_is_the_largest_true_load_within_the_meters_noise(rehearsed):
    tally, truth = rehearsed
    assert tally.peak_kw == pytest.approx(max(kw for _, kw, _ in truth), rel=0.01)
    assert tally.peak_from == "units"


def test_the_cool_down_is_the_longest_minimum_at_least_and_each_fan_ran_through_its_own(rehearsed):
    tally, truth = rehearsed
    longest_s = 0.0
    for unit, minimum_s in enumerate((300.0, 300.0, 300.0, 240.0)):  # of the profiles of northquay's units
        unloaded_s = max(t for t, _, units in truth if units[unit][0] > 0.0)
        stopped_s = min(t for t, _, units in truth if t > unloaded_s and not units[unit][1])
        assert stopped_s - unloaded_s >= minimum_s
        longest_s = max(longest_s, stopped_s - unloaded_s)
    assert tally.cool_down_s == pytest.approx(longest_s, abs=1.0)


def test_scans_time_and_events_are_counted(rehearsed):
    tally, truth = rehearsed
    assert tally.scans == len(truth)
    assert tally.virtual_s == truth[-1][0]
    assert tally.trips == 0
    assert tally.events > 5
    assert tally.curve[0][0] == truth[0][0]
