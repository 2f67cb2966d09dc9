"""What time has passed: standing still, steps of the wall clock, and telling one from the other."""

import sys
import time

import pytest

from benchctl.clocks import Passed, Passing, running_clock

PERIOD_S = 1.0


class Clocks:
    """A computer's clocks, which are moved by hand."""

    def __init__(self, runs_on: bool) -> None:
        self.loop_s, self.running_s, self.wall_s = 1000.0, 50_000.0, 1.8e9
        self.passing = Passing(lambda: self.wall_s, (lambda: self.running_s) if runs_on else None)

    def pass_(self, seconds: float, asleep_s: float = 0.0, stepped_s: float = 0.0) -> Passed:
        self.loop_s += seconds
        self.running_s += seconds + asleep_s
        self.wall_s += seconds + asleep_s + stepped_s
        return self.passing.scan(self.loop_s, PERIOD_S)


both = pytest.mark.parametrize("runs_on", [True, False])


@both
def test_the_first_scan_has_nothing_before_it(runs_on):
    assert Clocks(runs_on).pass_(0.0) == Passed(1000.0, 0.0, 1.8e9, 0.0, 0.0)


@both
def test_time_is_the_loops_while_nothing_happens(runs_on):
    clocks = Clocks(runs_on)
    clocks.pass_(0.0)
    assert clocks.pass_(1.0) == Passed(1001.0, 1.0, 1.8e9 + 1.0, 0.0, 0.0)


@both
def test_a_sleep_that_the_loops_clock_did_not_see_is_part_of_the_time_and_told(runs_on):
    clocks = Clocks(runs_on)
    clocks.pass_(0.0)
    assert clocks.pass_(3.0, asleep_s=2817.0) == Passed(3820.0, 2820.0, 1.8e9 + 2820.0, 2817.0, 0.0)
    assert clocks.pass_(1.0) == Passed(3821.0, 1.0, 1.8e9 + 2821.0, 0.0, 0.0)


@both
def test_a_step_of_the_wall_clock_is_told_in_both_directions_and_moves_nothing(runs_on):
    clocks = Clocks(runs_on)
    clocks.pass_(0.0)
    ahead, back = clocks.pass_(1.0, stepped_s=3600.0), clocks.pass_(1.0, stepped_s=-3600.0)
    assert (ahead.dt_s, ahead.clock_stepped_s, ahead.stood_still_s) == (1.0, 3600.0, 0.0)
    assert (back.dt_s, back.clock_stepped_s, back.stood_still_s) == (1.0, -3600.0, 0.0)
    assert back.now_s == 1002.0


def test_where_a_clock_runs_on_a_step_in_sleep_is_told_apart_from_the_sleep():
    clocks = Clocks(runs_on=True)
    clocks.pass_(0.0)
    passed = clocks.pass_(0.5, asleep_s=600.0, stepped_s=-40.0)
    assert (passed.dt_s, passed.stood_still_s, passed.clock_stepped_s) == (600.5, 600.0, -40.0)


def test_where_none_does_a_wall_clock_that_falls_back_in_a_hole_is_a_step():
    clocks = Clocks(runs_on=False)
    clocks.pass_(0.0)
    passed = clocks.pass_(30.0, stepped_s=-3600.0)
    assert (passed.dt_s, passed.stood_still_s, passed.clock_stepped_s) == (30.0, 0.0, -3600.0)


def test_less_than_a_second_is_not_told_but_counts():
    clocks = Clocks(runs_on=True)
    clocks.pass_(0.0)
    passed = clocks.pass_(1.0, asleep_s=0.75)
    assert (passed.dt_s, passed.stood_still_s, passed.clock_stepped_s) == (1.75, 0.0, 0.0)


def test_what_was_given_before_a_sleep_is_old_after_it():
    clocks = Clocks(runs_on=True)
    clocks.pass_(0.0)
    given_s = clocks.passing.now_s(clocks.loop_s)
    assert clocks.pass_(0.5, asleep_s=100.0).now_s - given_s == 100.5


@pytest.mark.skipif(sys.platform not in ("linux", "darwin"), reason="no running clock there")
def test_this_computer_has_a_clock_that_runs_on():
    # clock_gettime(2): CLOCK_BOOTTIME is CLOCK_MONOTONIC and the time in suspension, so never behind it.
    clock = running_clock()
    assert clock is not None
    first = clock()
    time.sleep(0.02)
    assert 0.015 < clock() - first < 5.0
    if sys.platform == "linux":
        before_s = time.clock_gettime(time.CLOCK_MONOTONIC)
        assert clock() >= before_s


def test_where_there_is_none_the_loops_own_is_all_there_is(monkeypatch):
    monkeypatch.setattr(sys, "platform", "win32")
    assert running_clock() is None
