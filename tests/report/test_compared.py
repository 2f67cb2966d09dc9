"""Figures of runs side by side, worked out by hand for steps of known shape."""

import math
from array import array

import pytest

from benchctl.assessment.trail import Change
from benchctl.report.compared import _changes
from tests.report.made import made_trail


def stepped(low_hz: float, back_s: float):
    """50 Hz; at 100 s it falls to low_hz at once and is back at 50 Hz after back_s."""
    trail = made_trail(changes=(Change(100.0, 0.0, 200.0),), stretches=())
    trail.hertz = array("d", (low_hz if 100.0 <= t < 100.0 + back_s else 50.0 for t in trail.t_s))
    return trail


@pytest.mark.parametrize(("low_hz", "back_s", "percent", "told_s"), [(47.0, 2.0, -6.0, 2.0), (49.6, 2.0, -0.8, 0.0)])
def test_a_dip_is_told_in_percent_of_rated_with_the_time_until_it_is_back(low_hz, back_s, percent, told_s):
    told = {f.name: f.value for f in _changes(stepped(low_hz, back_s))}
    assert told["0 → 50 %: hertz off rated"] == pytest.approx(percent)
    assert told["0 → 50 %: hertz back after"] == pytest.approx(told_s)
    assert told["0 → 50 %: volts off rated"] == 0.0


def test_what_does_not_come_back_or_is_not_seen_has_no_time():
    assert {f.name: f.value for f in _changes(stepped(47.0, 60.0))}["0 → 50 %: hertz back after"] is None
    dark = stepped(47.0, 2.0)
    dark.hertz[205] = math.nan
    assert {f.name: f.value for f in _changes(dark)}["0 → 50 %: hertz back after"] is None


def test_the_same_step_twice_is_told_twice_and_small_ones_are_left_out():
    trail = made_trail(changes=(Change(20.0, 0.0, 200.0), Change(60.0, 1.0, 199.0), Change(80.0, 199.0, 220.0)))
    names = {f.name.split(":")[0] for f in _changes(trail)}
    assert names == {"0 → 50 %", "0 → 50 % (no. 2)"}
