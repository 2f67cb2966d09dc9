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
    truth: list[tuple[float, float, bool]] = []
    loaded: set[str] = set()
    rehearsal = Rehearsal(settings, seed=3, listeners=(tally,), with_bytes=False)

    def watch(frame):
        said = rehearsal.bench.truth()
        loaded.update(u["name"] for u in said["units"] if u["kw"] > 0.0)
        truth.append((frame.inputs.now_s, said["load_kw"], all(u["fan_on"] for u in said["units"] if u["name"] in loaded)))

    rehearsal._listeners = (*rehearsal._listeners, watch)
    rehearsal.run()
    return tally, truth


def test_the_peak_is_the_largest_true_load_within_the_meters_noise(rehearsed):
    tally, truth = rehearsed
    assert tally.peak_kw == pytest.approx(max(kw for _, kw, _ in truth), rel=0.01)
    assert tally.peak_from == "units"


def test_the_cool_down_is_at_least_the_longest_minimum_and_the_fans_of_loaded_units_ran(rehearsed):
    tally, truth = rehearsed
    unloaded_s = max(t for t, kw, _ in truth if kw > 0.0)
    assert 300.0 <= tally.cool_down_s <= truth[-1][0] - unloaded_s + 1.0
    # the fan of every unit that had load ran for its profile's minimum at least: 240 s is the shortest here
    assert all(on for t, _, on in truth if unloaded_s <= t <= unloaded_s + 240.0)


def test_scans_time_and_events_are_counted(rehearsed):
    tally, truth = rehearsed
    assert tally.scans == len(truth)
    assert tally.virtual_s == truth[-1][0]
    assert tally.trips == 0
    assert tally.events > 5
    assert tally.curve[0][0] == truth[0][0]
