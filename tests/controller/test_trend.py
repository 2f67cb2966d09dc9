"""The trend in memory and the energy of a run: against sums written out, over days, bounded."""

from dataclasses import replace
from functools import cache
from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import pytest

from benchctl.controller.energy import Energy
from benchctl.controller.trend import COLUMNS, TIERS, Trend, row
from benchctl.core.decision import Frame
from tests.controller.test_ending import Kept
from tests.core.worlds import site, staged

BENCH = Kept(site(staged(40, 60, own=True), staged(20, 80)))
BENCH.loaded(100.0)
DAY_S = 86_400.0


def scan(now_s: float, dt_s: float = 0.5, **seen: Any) -> Frame:
    """A scan of a bench under load at that time; seen: figures that are others."""
    decision = replace(BENCH.last, seen=replace(BENCH.last.seen, **seen))
    return Frame(7, 0.0, replace(BENCH.inputs, now_s=now_s, dt_s=dt_s), decision, ())


def test_a_row_has_the_figures_of_the_scan_in_the_order_of_the_columns():
    told = dict(zip(COLUMNS, row(scan(12.5)), strict=True))
    amps = 100.0 / (3**0.5 * 0.4)  # I = P / (sqrt(3) U), a balanced resistive load
    assert told == {
        "now_s": 12.5, "target_kw": 100.0, "delivered_kw": 100.0, "source_kw": 100.0, "volts_v": 400.0, "hertz": 50.0,
        "hottest_c": 25.0, "amps_a": round(amps, 3), "amps_b": round(amps, 3), "amps_c": round(amps, 3)}  # fmt: skip


def test_what_is_not_known_is_none():
    told = dict(zip(COLUMNS, row(scan(1.0, delivered_kw=None, hertz=None)), strict=True))
    assert told["delivered_kw"] is None
    assert told["hertz"] is None


@cache
def filled(length_s: float, step_s: float) -> Trend:
    """Scans that differ in their time only: one object, because days have many."""
    trend, one = Trend(), scan(0.0)
    clock = SimpleNamespace(now_s=0.0, units=one.inputs.units)
    frame: Any = SimpleNamespace(inputs=clock, decision=one.decision)
    for i in range(round(length_s / step_s)):
        clock.now_s = i * step_s
        trend.put(frame)
    return trend


def test_the_last_hour_has_a_row_a_second_a_day_one_in_ten_and_what_is_older_one_a_minute():
    times = [kept[0] or 0.0 for kept in filled(1.2 * DAY_S, 1.0).rows(0.0, 100_000)]
    end_s = 1.2 * DAY_S - 1.0
    assert times == sorted(set(times))
    assert times[-3600:] == [end_s - i for i in range(3599, -1, -1)]
    steps = [(at_s, next_s - at_s) for at_s, next_s in pairwise(times)]
    assert {s for at_s, s in steps if at_s >= end_s - 3599.0} == {1.0}
    assert {s for at_s, s in steps if end_s - DAY_S + 60.0 < at_s < end_s - 3610.0} == {10.0}
    assert {s for at_s, s in steps if at_s < end_s - DAY_S - 60.0} == {60.0}


def test_memory_is_bounded_however_long_it_goes_on():
    trend = filled(8 * DAY_S, 10.0)
    assert len(trend.rows(0.0, 1_000_000)) <= sum(most for _, most in TIERS)


def test_scans_of_half_a_second_give_a_row_a_second():
    assert [r[0] for r in filled(5.0, 0.5).rows(0.0, 100)] == [0.0, 1.0, 2.0, 3.0, 4.0]


@pytest.mark.parametrize("points", [1, 7, 100, 999])
def test_fewer_points_are_some_of_the_rows_and_the_newest_is_one_of_them(points):
    trend = filled(1000.0, 1.0)
    rows = trend.rows(0.0, 5000)
    few = trend.rows(0.0, points)
    assert 0 < len(few) <= points
    assert set(few) <= set(rows)
    assert few[-1] == rows[-1]


def test_rows_begin_where_they_are_asked_to():
    assert [r[0] for r in filled(100.0, 1.0).rows(97.0, 100)] == [97.0, 98.0, 99.0]
    assert filled(100.0, 1.0).rows(100.0, 100) == []
    assert Trend().rows(0.0, 10) == []


RUN, NEXT = object(), object()


def energy(*kws: float | None, dt_s: float = 1800.0, **seen: Any) -> Any:
    made = Energy()
    for i, kw in enumerate(kws):
        made.put(scan(i * dt_s, dt_s, delivered_kw=kw, **(seen if i == len(kws) - 1 else {})), RUN)
    return told(made)


def told(made: Energy) -> Any:
    """Its figures."""
    return made.figures


def test_energy_is_the_sum_of_trapezoids():
    assert energy(0.0, 100.0, 100.0, 40.0) == (25.0 + 50.0 + 35.0, True)


def test_a_run_begins_without_energy_and_the_time_before_it_is_not_its_own():
    made = Energy()
    made.put(scan(0.0, 3600.0, delivered_kw=100.0), None)
    assert told(made) == (None, True)
    made.put(scan(0.0, 3600.0, delivered_kw=100.0), RUN)
    assert told(made) == (0.0, True)
    made.put(scan(0.0, 3600.0, delivered_kw=100.0), RUN)
    assert told(made) == (100.0, True)
    made.put(scan(0.0, 3600.0, delivered_kw=100.0), NEXT)
    assert told(made) == (0.0, True)
    made.put(scan(0.0, 3600.0, delivered_kw=100.0), None)
    assert told(made) == (None, True)


def test_what_was_not_measured_adds_nothing_and_is_told():
    assert energy(100.0, 100.0, None, 100.0, 100.0) == (50.0 + 50.0, False)
    assert energy(None, None) == (None, False)
    assert energy(None, 100.0, 100.0) == (50.0, False)


def test_a_hole_in_time_adds_nothing():
    assert energy(100.0, 100.0, gap_s=1799.0) == (0.0, False)
