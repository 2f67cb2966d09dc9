"""Values over time: no peak is lost, none invented; gaps stay gaps; memory stays flat; the past is filled in once."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.tui.view.rings import KEPT, REMEMBERED, STEPS_S, Rings
from benchctl.tui.view.traces import CHANNELS, Row, Traces, rows_of
from tests.tui.pictures import bank, scan, source

values = st.one_of(st.none(), st.floats(-1e6, 1e6), st.sampled_from([math.nan, math.inf, -math.inf, 0.0]))
samples = st.lists(st.tuples(st.floats(0.05, 400.0), values), min_size=1, max_size=25)


def fed(steps: list[tuple[float, float | None]]) -> tuple[Rings, list[tuple[float, float]]]:
    """One channel, values at growing times; and those of them that are figures."""
    rings, at_s, known = Rings(1), 0.0, []
    for step_s, value in steps:
        at_s += step_s
        rings.put(at_s, (value,), held=False)
        if value is not None and math.isfinite(value):
            known.append((at_s, value))
    return rings, known


@settings(max_examples=60)
@given(samples, st.integers(1, 200))
def test_every_value_is_in_the_column_of_its_time(steps, columns):
    rings, known = fed(steps)
    last_s = rings.last_s or 0.0
    wide_s = (last_s + 1.0) / columns
    found = rings.of(0, 0.0, last_s + 1.0, columns)
    assert len(found) == columns
    for at_s, value in known:
        near = [found[max(0, min(columns - 1, int(at_s / wide_s + edge)))] for edge in (-1e-6, 0.0, 1e-6)]
        assert any(r is not None and r[0] <= value <= r[1] for r in near)


@settings(max_examples=60)
@given(samples, st.integers(1, 200))
def test_no_value_is_invented(steps, columns):
    rings, known = fed(steps)
    last_s = (rings.last_s or 0.0) + 1.0
    wide_s = last_s / columns
    for i, found in enumerate(rings.of(0, 0.0, last_s, columns)):
        if found is None:
            continue
        step_s = max(s for s in STEPS_S if s <= max(wide_s, STEPS_S[0]))
        near = [v for t, v in known if (i - 1) * wide_s - step_s <= t <= (i + 2) * wide_s + step_s]
        assert found[0] <= found[1]
        assert found[0] in near
        assert found[1] in near


def test_a_peak_of_one_scan_is_still_seen_after_a_day():
    rings = Rings(1)
    for i in range(5400):  # every 16 s
        rings.put(i * 16.0, (999.0 if i == 25 else float(i % 7),), held=True)
    found = rings.of(0, 0.0, 86400.0, 150)
    assert None not in found
    assert max(r[1] for r in found if r) == 999.0
    assert found.index(max(found, key=lambda r: r[1] if r else 0.0)) == int(400.0 / 86400.0 * 150)


def test_memory_is_flat_over_a_day():
    rings = Rings(1)
    for i in range(3000):
        rings.put(i * 28.8, (float(i),), held=True)
        if i % 20 == 0:
            rings.of(0, 0.0, i * 28.8 + 1.0, 20)
    assert all(len(ring) == KEPT for level in rings.levels for ring in (*level.lowest, *level.highest))
    assert len(rings._final) <= REMEMBERED
    assert all(len(done) <= 20 for done in rings._final.values())


@settings(max_examples=30)
@given(samples, st.integers(1, 80))
def test_an_answer_that_is_asked_for_again_is_the_same_as_a_fresh_one(steps, columns):
    """Columns in which nothing changes any more are remembered: that must not be seen."""
    rings, at_s = Rings(1), 0.0
    end_s = sum(s for s, _ in steps) + 10.0
    for i, (step_s, value) in enumerate(steps):
        at_s += step_s
        rings.put(at_s, (value,), held=i % 2 == 0)
        found = rings.of(0, 0.0, end_s, columns)
        rings._final.clear()
        assert found == rings.of(0, 0.0, end_s, columns)


def test_a_value_holds_until_the_next_unless_something_was_missed():
    rings = Rings(1)
    rings.put(10.0, (5.0,), held=True)
    rings.put(14.0, (6.0,), held=True)
    rings.put(20.0, (7.0,), held=False)
    assert rings.of(0, 10.0, 22.0, 12) == [
        *[(5.0, 5.0)] * 4, (6.0, 6.0), *[None] * 5, (7.0, 7.0), None,
    ]  # fmt: skip


def test_a_missing_value_is_a_gap():
    rings = Rings(1)
    for i in range(10):
        rings.put(float(i), (None if 3 <= i < 6 else 1.0,), held=True)
    assert [v is None for v in rings.of(0, 0.0, 10.0, 10)] == [3 <= i < 6 for i in range(10)]


@given(st.floats(allow_nan=True), st.floats(allow_nan=True), st.integers(-3, 50))
def test_any_window_can_be_asked_for(from_s, to_s, columns):
    rings = Rings(1)
    rings.put(5.0, (1.0,), held=True)
    rings.put(math.nan, (1.0,), held=True)
    assert len(rings.of(0, from_s, to_s, columns)) == max(0, columns)


# -- of scans


def run(traces: Traces, *times: float, kw: float = 100.0, **given) -> None:
    for at_s in times:
        traces.feed(scan(now_s=at_s, delivered_kw=kw, **given))


def test_a_scan_is_kept_by_what_it_says():
    traces = Traces()
    run(traces, 600.0)
    newest = {name: traces.newest(name) for name in CHANNELS}
    assert newest == {
        "target_kw": 300.0, "given_kw": 300.0, "delivered_kw": 100.0, "source_kw": 299.6, "site_kw": 12.0,
        "volts_v": 399.2, "hertz": 49.98, "amps_a": 433.1, "amps_b": 434.0, "amps_c": 432.6, "hottest_c": 184.0,
    }  # fmt: skip
    assert traces.newest_s == 600.0


def test_what_does_not_move_any_more_or_is_not_heard_is_a_gap():
    traces = Traces()
    units = (bank(age_s=0.2, exhaust_c=90.0), bank("bank 2", age_s=30.0, exhaust_c=300.0))
    traces.feed(scan(*units, source=source(frozen=True), read_back_units=1))
    assert traces.newest("volts_v") is None
    assert traces.newest("amps_a") is None
    assert traces.newest("hottest_c") == 90.0
    assert traces.newest("given_kw") is None, "a part of the banks is no sum"
    assert traces.newest("delivered_kw") == 299.6


def test_a_jump_back_in_time_is_another_bench():
    traces = Traces()
    run(traces, 100.0, 101.0, 102.0)
    run(traces, 5.0, kw=7.0)
    assert traces.length_s == 0.0
    assert traces.of("delivered_kw", 0.0, 200.0, 2) == [(7.0, 7.0), None]


def test_a_hole_in_time_is_a_gap():
    traces = Traces()
    run(traces, 100.0, 101.0)
    traces.feed(scan(now_s=160.0, gap_s=59.0, delivered_kw=100.0))
    assert traces.of("delivered_kw", 110.0, 150.0, 4) == [None] * 4


def test_the_course_is_over_program_time_and_only_while_it_runs():
    traces = Traces()
    run(traces, 100.0, 110.0, mode="checks", program="ladder")
    assert traces.course_s is None
    for i in range(5):
        run(traces, 120.0 + i, kw=10.0 * i, mode="running", program="ladder", program_s=float(i), chain_target_kw=40.0)
    run(traces, 126.0, mode="cooling down", program="ladder", program_s=4.0)
    assert traces.program == "ladder"
    assert traces.course("delivered_kw", 0.0, 5.0, 5) == [(10.0 * i, 10.0 * i) for i in range(5)]
    assert traces.course("asked_kw", 0.0, 5.0, 1) == [(40.0, 40.0)]
    run(traces, 200.0, kw=3.0, mode="running", program="blocks", program_s=4.5)
    assert traces.course("delivered_kw", 0.0, 5.0, 5) == [None, None, None, None, (3.0, 3.0)]


def test_a_program_that_starts_again_begins_its_course_anew():
    traces = Traces()
    run(traces, 100.0, mode="running", program="ladder", program_s=50.0)
    run(traces, 200.0, kw=1.0, mode="running", program="ladder", program_s=0.0)
    assert traces.course("delivered_kw", 0.0, 60.0, 6) == [(1.0, 1.0), *[None] * 5]


# -- the past


def past(*times: float, kw: float = 50.0) -> list[Row]:
    return rows_of(("now_s", "target_kw", "delivered_kw", "hottest_c"), [(t, kw, kw, None) for t in times])


def test_the_past_fills_what_was_before_the_first_scan():
    traces = Traces()
    run(traces, 100.0, 101.0)
    traces.before(past(*(float(t) for t in range(40, 103))))
    assert traces.of("delivered_kw", 40.0, 102.0, 62) == [*[(50.0, 50.0)] * 60, (100.0, 100.0), (100.0, 100.0)]
    assert traces.of("volts_v", 40.0, 99.0, 59) == [None] * 59
    assert traces.length_s == 61.0


def test_rows_that_are_far_apart_are_joined_and_a_hole_among_them_is_not():
    traces = Traces()
    run(traces, 1000.0)
    traces.before(past(*(60.0 * i for i in range(5)), 700.0, 760.0, 820.0))
    found = traces.of("delivered_kw", 0.0, 900.0, 15)
    assert [v is not None for v in found] == [True] * 5 + [False] * 6 + [True] * 3 + [False]


@settings(max_examples=20)
@given(st.lists(st.floats(0.0, 300.0), min_size=1, max_size=20), st.floats(-500.0, 500.0))
def test_the_past_changes_nothing_that_was_seen_and_comes_in_once(times, kw):
    traces = Traces()
    run(traces, *(150.0 + i / 2.0 for i in range(40)))
    seen = traces.of("delivered_kw", 151.0, 169.0, 36)
    rows = past(*sorted(times), kw=kw)
    traces.before(rows)
    once = traces.of("delivered_kw", 0.0, 300.0, 300)
    traces.before(rows)
    assert traces.of("delivered_kw", 0.0, 300.0, 300) == once
    assert traces.of("delivered_kw", 151.0, 169.0, 36) == seen
    traces.filled()
    traces.before(past(*sorted(times), kw=kw + 1.0))
    assert traces.of("delivered_kw", 0.0, 300.0, 300) == once
    assert traces.newest_s == 169.5


def test_what_was_missed_while_the_run_host_was_away_is_filled_too():
    traces = Traces()
    run(traces, 100.0, 101.0)
    traces.filled()
    traces.feed(scan(now_s=131.0, delivered_kw=100.0), joined=False)
    assert traces.of("delivered_kw", 105.0, 130.0, 25) == [None] * 25
    traces.before(past(*(float(t) for t in range(80, 140))))
    assert traces.of("delivered_kw", 105.0, 130.0, 25) == [(50.0, 50.0)] * 25
    assert traces.of("delivered_kw", 80.0, 99.0, 19) == [None] * 19, "what was there before is known already"


def test_the_course_is_filled_from_when_the_program_began():
    traces = Traces()
    run(traces, 130.0, mode="running", program="ladder", program_s=30.0, chain_target_kw=80.0)
    traces.before(past(*(float(t) for t in range(90, 131))), begun_s=100.0)
    assert traces.course("delivered_kw", 0.0, 29.0, 29) == [(50.0, 50.0)] * 29
    assert traces.course("asked_kw", 0.0, 29.0, 29) == [None] * 29, "what was asked of the chain is not in the past"


@pytest.mark.parametrize("age_s", [None, 30.0])
def test_a_measurement_whose_age_is_not_known_or_that_is_old_leaves_a_gap(age_s):
    traces = Traces()
    for n in range(3):
        traces.feed(scan(now_s=float(n), source=source(age_s=0.3)))
    for n in range(3, 6):
        traces.feed(scan(now_s=float(n), source=source(age_s=age_s)))
    assert traces.at("hertz", 1.5) is not None
    assert traces.at("hertz", 4.5) is None
