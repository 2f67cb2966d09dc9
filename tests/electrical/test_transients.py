"""Transients on lines and on samples. T1 to T6: exact by hand, each from its own straight lines; tolerance 1e-6.

Limits of the classes are those of ISO 8528-5 (G2 read in a public specification, the tolerance bands from memory).
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.electrical.transients import Instant, first_leaving, line_mean, line_value, respond

T1 = ((0, 50), (1, 50), (1.5, 46), (3.5, 49.5), (4.5, 50), (10, 50))
T2 = ((0, 60), (1, 60), (1.4, 57), (2.4, 60.9), (3, 59.2), (4, 60), (10, 60))
T3 = ((0, 400), (1, 400), (1.02, 344), (1.52, 390), (2, 400), (10, 400))
T4 = ((0, 60), (1, 60), (1.3, 65.4), (3.3, 60.3), (4.3, 60), (10, 60))
T6 = ((0, 50), (1, 50), (1.5, 46), (3.5, 49.4), (10, 49.4))
# Half widths in percent of rated: steady-state band whose leaving counts, tolerance band.
CLASSES = {"G1": (1.25, 1.75), "G2": (0.75, 1.0), "G3": (0.25, 1.0)}
AT = Instant(1.0, 1.0, 1.0)


def judged(trace, leave=1.0, band=1.0, centre=None, at=AT, **more):
    """Percents of rated; rated = the first value."""
    rated = float(trace[0][1])
    times, values = [float(t) for t, _ in trace], [float(v) for _, v in trace]
    falls = min(values) < rated - (max(values) - rated)
    return respond(
        times, values, switched=at, rated=rated, falls=falls, leave_half=leave * rated / 100,
        band_half=band * rated / 100, centre=centre, **more,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("trace", "deviation", "overshoot"), [(T1, -8, 0), (T2, -5, 1.5), (T3, -14, 0), (T4, 9, 0), (T6, -8, 0)]
)
def test_deviation_and_overshoot_are_percents_of_rated(trace, deviation, overshoot):
    found = judged(trace)
    assert found.deviation_percent == pytest.approx(deviation, abs=1e-9)
    assert found.overshoot_percent == pytest.approx(overshoot, abs=1e-9)


@pytest.mark.parametrize(
    ("trace", "percent", "left", "back"),
    [
        (T1, 0.25, 1.015625, 4.25),
        (T1, 1.0, 1.0625, 3.5),
        (T1, 1.75, 1.109375, 3.285714),
        (T2, 1.0, 1.08, 3.25),
        (T3, 2.5, 1.003571, 1.52),
        (T3, 1.0, 1.001429, 1.808),
        (T4, 1.0, 1.033333, 3.182353),
    ],
)
def test_a_band_is_left_once_and_entered_for_good(trace, percent, left, back):
    found = judged(trace, percent, percent)
    assert found.left.at_s == pytest.approx(left, abs=1e-6)
    assert found.back.at_s == pytest.approx(back, abs=1e-6)


@pytest.mark.parametrize(
    ("trace", "cls", "recovery"),
    [
        (T1, "G1", 2.207589), (T1, "G2", 2.453125), (T1, "G3", 2.484375),
        (T2, "G1", 0.80), (T2, "G2", 2.19), (T2, "G3", 2.23),
        (T4, "G1", 1.964216), (T4, "G2", 2.157353), (T4, "G3", 2.174020),
    ],
)  # fmt: skip
def test_iso_recovery_runs_from_leaving_the_steady_band_to_entering_the_tolerance_band(trace, cls, recovery):
    assert judged(trace, *CLASSES[cls]).from_leaving.at_s == pytest.approx(recovery, abs=1e-6)


def test_military_recovery_leaves_and_enters_the_same_band():
    assert judged(T1, 1.0, 1.0).from_leaving.at_s == pytest.approx(2.4375, abs=1e-6)
    assert judged(T3, 2.5, 2.5).from_leaving.at_s == pytest.approx(0.516429, abs=1e-6)
    assert judged(T3, 1.0, 1.0).from_leaving.at_s == pytest.approx(0.806571, abs=1e-6)


@pytest.mark.parametrize(
    ("trace", "percent", "recovery"),
    [(T1, 1.0, 2.5), (T2, 1.0, 2.25), (T3, 2.5, 0.52), (T3, 1.0, 0.808), (T4, 1.0, 2.182353)],
)
def test_recovery_from_the_switching_instant_is_longer(trace, percent, recovery):
    found = judged(trace, percent, percent)
    assert found.from_switching.at_s == pytest.approx(recovery, abs=1e-6)
    assert found.from_switching.at_s > found.from_leaving.at_s


def test_T2_the_first_entry_is_not_the_answer():
    times, values = [t for t, _ in T2], [float(v) for _, v in T2]
    assert line_value(times, values, 2.015385) == pytest.approx(59.4, abs=1e-4)  # inside for the first time
    assert line_value(times, values, 2.323077) == pytest.approx(60.6, abs=1e-4)  # and out again
    assert judged(T2).back.at_s == pytest.approx(3.25, abs=1e-6)


def test_T6_about_rated_is_not_recovered_and_about_its_own_final_value_is():
    about_rated = judged(T6, centre=50.0)
    assert not about_rated.recovered
    assert (about_rated.back, about_rated.from_switching, about_rated.from_leaving) == (None, None, None)
    # On the line from (1.5, 46) to (3.5, 49.4) ± 0.5 Hz about 49.4 begins at 48.9: 1.5 + 2.9 / 1.7.
    assert judged(T6).back.at_s == pytest.approx(1.5 + 2.9 / 1.7, abs=1e-9)


D9 = tuple(enumerate((50.0, 47.8, 44.0, 45.5, 49.2, 50.1, 50.0)))


def test_D9_coarse_samples_leave_an_interval():
    found = judged(D9, at=Instant(0.0, 0.0, 0.0), centre=50.0, settled_s=1.5)
    assert (found.extreme, found.extreme_s, found.deviation_percent) == (44.0, 2.0, -12.0)
    assert (found.from_switching.low_s, found.from_switching.high_s) == (4.0, 5.0)
    assert (found.from_leaving.low_s, found.from_leaving.high_s) == (3.0, 5.0)


def test_what_never_leaves_has_recovered_in_no_time():
    found = judged(((0, 50), (1, 50), (2, 49.9), (3, 50), (10, 50)))
    assert found.recovered
    assert found.left is None
    assert found.from_switching == Instant(0.0, 0.0, 0.0)


def test_what_swings_until_the_end_is_not_recovered():
    swings = [(0.0, 50.0), (1.0, 50.0), *((1 + k, 50.0 + (-1) ** k) for k in range(1, 10))]
    assert not judged(swings, centre=50.0).recovered


@pytest.mark.parametrize(
    ("times", "values"),
    [([], []), ([0.0, 1.0], [1.0]), ([0.0, 1.0, 0.5, 3.0], [1.0] * 4), ([0.0, 1.0, 2.0], [1.0, math.nan, 1.0])],
)
def test_what_is_no_trace_is_refused(times, values):
    with pytest.raises(ValueError, match=r"expected|back"):
        respond(times, values, switched=AT, rated=50.0, falls=True, leave_half=1.0, band_half=1.0)


def test_a_change_outside_the_trace_is_refused():
    with pytest.raises(ValueError, match="points until"):
        judged(T1, at=Instant(20.0, 20.0, 20.0))


def test_a_mean_over_the_line_weighs_time_not_points():
    assert line_mean([0.0, 1.0, 10.0], [0.0, 10.0, 10.0], 0.0, 10.0) == pytest.approx(9.5)


def test_leaving_is_at_once_for_what_begins_outside():
    assert first_leaving([3.0, 4.0], [9.0, 1.0], 1.0, 1.0) == Instant(3.0, 3.0, 3.0)


depths = st.floats(-20.0, -1.5)
traces = st.lists(st.tuples(st.floats(0.05, 2.0), st.floats(-8.0, 8.0)), min_size=1, max_size=8)


def made(depth, moves):
    points, at = [(0.0, 50.0), (1.0, 50.0), (1.4, 50.0 + depth)], 1.4
    for apart, value in moves:
        at += apart
        points.append((at, 50.0 + value))
    return [*points, (at + 1.0, 50.0), (at + 40.0, 50.0)]


def figures(found):
    return (
        found.deviation_percent, found.overshoot_percent, found.left.at_s, found.back.at_s, found.from_leaving.at_s,
        found.from_switching.at_s,
    )  # fmt: skip


def run(points, scale=1.0, shift=0.0, stretch=1.0):
    times, values = [t * stretch + shift for t, _ in points], [v * scale for _, v in points]
    t0 = stretch + shift
    return respond(
        times, values, switched=Instant(t0, t0, t0), rated=50.0 * scale, falls=True, leave_half=0.5 * scale,
        band_half=0.6 * scale, before_s=stretch, settled_s=5.0 * stretch,
    )  # fmt: skip


@given(depths, traces, st.floats(0.5, 20.0), st.floats(-100.0, 1000.0), st.floats(0.1, 10.0))
def test_moving_and_scaling_time_and_value_move_and_scale_the_figures(depth, moves, scale, shift, stretch):
    plain, moved = run(made(depth, moves)), run(made(depth, moves), scale, shift, stretch)
    assert moved.deviation_percent == pytest.approx(plain.deviation_percent, abs=1e-6)
    assert moved.overshoot_percent == pytest.approx(plain.overshoot_percent, abs=1e-6)
    assert moved.left.at_s == pytest.approx(plain.left.at_s * stretch + shift, abs=1e-6)
    assert moved.from_leaving.at_s == pytest.approx(plain.from_leaving.at_s * stretch, abs=1e-6)
    assert moved.from_switching.at_s == pytest.approx(plain.from_switching.at_s * stretch, abs=1e-6)


@given(depths, traces, st.lists(st.floats(0.0, 1.0), min_size=1, max_size=10))
def test_points_on_the_line_change_nothing_but_narrow_the_bounds(depth, moves, shares):
    points = made(depth, moves)
    times, values = [t for t, _ in points], [v for _, v in points]
    more = {points[-1][0] * share: 0.0 for share in shares}
    fine = sorted({*points, *((t, line_value(times, values, t)) for t in more)}, key=lambda point: point[0])
    coarse, finer = run(points), run(fine)
    assert figures(finer) == pytest.approx(figures(coarse), abs=1e-6)
    for a, b in ((coarse.from_switching, finer.from_switching), (coarse.from_leaving, finer.from_leaving)):
        assert a.low_s - 1e-9 <= b.low_s <= b.at_s + 1e-9
        assert b.at_s <= b.high_s + 1e-9 <= a.high_s + 2e-9


@given(depths, traces, st.integers(2, 40))
def test_samples_of_a_line_bound_what_the_line_does_at_a_last_crossing(depth, moves, per_s):
    """Where the line is only sampled, its extreme is never less deep than the samples show."""
    points = made(depth, moves)
    times, values = [t for t, _ in points], [v for _, v in points]
    at = [k / per_s for k in range(int(times[-1] * per_s) + 1)]
    sampled = run([(t, line_value(times, values, t)) for t in at])
    assert run(points).deviation_percent <= sampled.deviation_percent + 1e-9
