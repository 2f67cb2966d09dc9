"""Sudden changes of load through a trail. T1 to T6: exact by hand; D9: a published log of a set, a value a second."""

import math
from array import array
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.assessment.trail import NAN, Change, Hole, Stretch, Trace, Trail
from benchctl.assessment.transients import transients
from benchctl.assessment.verdict import ORDER, Outcome
from benchctl.core.ruleset import Centre, Direction, Known, Origin, Quantity, Transient
from benchctl.electrical.transients import line_value
from tests.electrical.test_transients import D9, T1, T2, T3, T4, T6

ORIGIN = Origin("5.3", Known.MEMORY)
# ISO 8528-5 as half widths: G2 read in a public specification but for the tolerance band, the others from memory.
UP = {
    "G1": Transient("up", Quantity.HERTZ, Direction.UP, 15.0, 10.0, 1.75, ORIGIN, exit_percent=1.25),
    "G2": Transient("up", Quantity.HERTZ, Direction.UP, 10.0, 5.0, 1.0, ORIGIN, exit_percent=0.75),
    "G3": Transient("up", Quantity.HERTZ, Direction.UP, 7.0, 3.0, 1.0, ORIGIN, exit_percent=0.25),
}
G3_DOWN = Transient("down", Quantity.HERTZ, Direction.DOWN, 10.0, 3.0, 1.0, ORIGIN, exit_percent=0.25)
G3_VOLTS = Transient("volts", Quantity.VOLTS, Direction.UP, 15.0, 4.0, 1.0, ORIGIN, exit_percent=1.0)


def column(values):
    return array("d", map(float, values))


def trail(**more):
    keys: dict[str, Any] = {"rated_v": 400.0, "rated_hz": 50.0, "changes": (Change(1.0, 0.0, 250.0, "block"),)} | more
    return Trail("2026-03-01T10:00:00+01:00", 250.0, **keys)


def captured(points, quantity=Quantity.HERTZ, each_s=0.01, **more):
    """A trace refreshed each half cycle, or so, of a line."""
    times, values = [t for t, _ in points], [float(v) for _, v in points]
    t_s = [k * each_s for k in range(round(times[-1] / each_s) + 1)]
    seen = column(line_value(times, values, t) for t in t_s)
    keys: dict[str, Any] = {"switched_s": (1.0,)} | more
    return Trace("captured", quantity, column(t_s), seen, each_s, told="a capture", **keys)


def one(run, rule):
    (verdict,) = transients(run, [rule])
    return verdict


def figure(verdict, words):
    return next(w for w in verdict.working if words in w.name)


@pytest.mark.parametrize(("cls", "outcome"), [("G1", Outcome.SHOWN), ("G2", Outcome.SHOWN), ("G3", Outcome.NOT_MET)])
def test_T1_is_inside_G1_and_G2_and_too_deep_for_G3(cls, outcome):
    verdict = one(trail(traces=(captured(T1),)), UP[cls])
    assert verdict.outcome is outcome
    assert figure(verdict, "deviation").value == pytest.approx(-8.0, abs=1e-6)
    if cls == "G3":
        assert "-8 %" in verdict.why


@pytest.mark.parametrize(("cls", "recovery_s"), [("G1", 2.207589), ("G2", 2.453125), ("G3", 2.484375)])
def test_T1_recovery_is_bounded_by_its_samples_and_both_origins_are_worked_out(cls, recovery_s):
    verdict = one(trail(traces=(captured(T1),)), UP[cls])
    left, switched = figure(verdict, "leaving"), figure(verdict, "the switching")
    assert left.low <= recovery_s <= left.high
    assert left.value == pytest.approx(recovery_s, abs=0.01)
    assert switched.value > left.value


def test_T2_and_T4_are_inside_G3_and_T3_says_its_band():
    sixty = {"rated_hz": 60.0}
    assert one(trail(traces=(captured(T2),), **sixty), UP["G3"]).outcome is Outcome.SHOWN
    off = (Change(1.0, 250.0, 0.0),)
    assert one(trail(traces=(captured(T4),), changes=off, **sixty), G3_DOWN).outcome is Outcome.SHOWN
    verdict = one(trail(traces=(captured(T3, Quantity.VOLTS),)), G3_VOLTS)
    assert verdict.outcome is Outcome.SHOWN
    assert "± 1 %" in verdict.criterion
    assert figure(verdict, "deviation").value == pytest.approx(-14.0, abs=1e-6)


def test_T6_about_rated_is_not_recovered_in_the_window():
    verdict = one(
        trail(traces=(captured(T6),)), replace(UP["G1"], band_percent=1.0, recovery_s=5.0, centre=Centre.RATED)
    )
    assert verdict.outcome is Outcome.NOT_MET
    assert "not recovered in the window" in verdict.why
    assert figure(verdict, "leaving").value is None


def test_D9_a_recovery_between_samples_is_told_as_an_interval():
    run = trail(changes=(Change(0.0, 0.0, 250.0),), t_s=column(t for t, _ in D9), hertz=column(v for _, v in D9))
    verdict = one(run, replace(UP["G1"], exit_percent=None, band_percent=1.0, centre=Centre.RATED))
    worked = figure(verdict, "the switching")
    assert (worked.low, worked.high) == (4.0, 5.0)
    assert worked.note == "between 4.00 and 5.00 s later"
    assert verdict.outcome is Outcome.NOT_DEMONSTRATED  # -12 % was seen, 15 % allowed: more may have been between
    assert "cannot show how far" in verdict.why
    assert one(run, UP["G2"]).outcome is Outcome.NOT_MET  # -12 % is beyond 10 % however coarse


def test_D9_a_value_that_is_read_twice_is_no_second_value():
    """Read each half second from a meter that has a value each second: the bounds are those of the meter."""
    twice = [(t + half, v) for t, v in D9 for half in (0.0, 0.5)]
    run = trail(changes=(Change(0.0, 0.0, 250.0),), t_s=column(t for t, _ in twice), hertz=column(v for _, v in twice))
    worked = figure(
        one(run, replace(UP["G1"], exit_percent=None, band_percent=1.0, centre=Centre.RATED)), "the switching"
    )
    assert (worked.low, worked.high) == (4.0, 5.0)


def steps(refresh_s, dip=(), rule_s=20.0):
    t_s = [k * refresh_s for k in range(int(rule_s / refresh_s) + 1)]
    return {"t_s": column(t_s), "volts_v": column(dict(dip).get(t, 400.0) for t in t_s), "refresh_s": refresh_s}


def test_a_meter_each_second_cannot_show_a_recovery_in_half_a_second():
    """Rated-load step of the precise sets: 12 % and back in 0.5 s (MIL-DTL-53133, read)."""
    rule = Transient("volts", Quantity.VOLTS, Direction.UP, 12.0, 0.5, 2.0, ORIGIN, exit_percent=2.0)
    verdict = one(trail(changes=(Change(5.0, 0.0, 250.0),), **steps(1.0)), rule)
    assert verdict.outcome is Outcome.NOT_DEMONSTRATED
    assert "a meter with a value each 1 s cannot show a recovery within 0.5 s" in verdict.why
    late = one(trail(changes=(Change(5.0, 0.0, 250.0),), **steps(1.0, [(6.0, 380.0), (7.0, 385.0)])), rule)
    assert late.outcome is Outcome.NOT_MET  # outside at 6 and at 7 s: a second at least, and that can be seen


def test_a_quick_meter_that_is_asked_seldom_is_a_slow_one():
    """Refreshed each 20 ms, read each half second: what lies between two readings is not seen."""
    t_s = [k * 0.5 for k in range(60)]
    run = trail(t_s=column(t_s), hertz=column(line_value([t for t, _ in T1], [v for _, v in T1], t) for t in t_s))
    verdict = one(replace(run, refresh_s=0.02), UP["G1"])
    assert verdict.outcome is Outcome.NOT_DEMONSTRATED
    assert "a value each 0.5 s cannot show how far" in verdict.why


def test_each_line_is_judged_and_the_worst_counts():
    good, bad = captured(T3, Quantity.VOLTS), captured([(t, v - 30 * (1.01 < t < 1.1)) for t, v in T3], Quantity.VOLTS)
    run = trail(traces=(replace(good, name="volts AB"), replace(bad, name="volts BC")))
    verdict = one(run, G3_VOLTS)
    assert verdict.outcome is Outcome.NOT_MET
    assert verdict.why.startswith("volts BC")


def test_a_capture_goes_before_the_meter_and_only_where_it_shows_the_change():
    slow = {"t_s": column(range(60)), "hertz": column([50.0] * 60)}
    changes = (Change(1.0, 0.0, 250.0), Change(30.0, 0.0, 250.0))
    first, second = transients(trail(traces=(captured(T1),), changes=changes, **slow), [UP["G2"]])
    assert (first.outcome, second.outcome) == (Outcome.SHOWN, Outcome.NOT_DEMONSTRATED)
    assert "captured" in first.why
    assert "frequency" in second.why


def test_small_steps_and_the_other_direction_are_not_judged():
    for change in (Change(1.0, 0.0, 40.0), Change(1.0, 250.0, 0.0)):
        verdict = one(trail(traces=(captured(T1),), changes=(change,)), UP["G2"])
        assert verdict.outcome is Outcome.NOT_DEMONSTRATED
        assert "no sudden load on" in verdict.why


def test_a_hole_after_the_change_leaves_it_open():
    trace = captured(T1)
    values = column(NAN if 1.2 < t < 3.4 else v for t, v in zip(trace.t_s, trace.values, strict=True))
    verdict = one(trail(traces=(replace(trace, values=values),)), UP["G2"])
    assert verdict.outcome is Outcome.NOT_DEMONSTRATED
    t_s = column(range(20))
    run = trail(t_s=t_s, hertz=column([50.0] * 20), holes=(Hole(2.0, 12.0, "no answer"),))
    assert one(run, UP["G2"]).outcome is Outcome.NOT_DEMONSTRATED


def test_unknown_values_are_never_a_dip_to_zero():
    run = trail(t_s=column(range(20)), hertz=column([NAN] * 20))
    verdict = one(run, UP["G2"])
    assert (verdict.outcome, verdict.working) == (Outcome.NOT_DEMONSTRATED, ())


@pytest.mark.parametrize(
    "more",
    [
        {"stretches": (Stretch(2.0, 9.0, 2, "ramp", "", 100.0),)},
        {"changes": (Change(1.0, 0.0, 250.0), Change(2.0, 250.0, 100.0))},
    ],
)
def test_the_window_ends_where_the_load_changes_again(more):
    """What T1 has done until 2 s is no recovery, although it lies near its own last value then."""
    verdict = transients(trail(traces=(captured(T1),), **more), [UP["G2"]])[0]
    assert verdict.outcome is Outcome.NOT_DEMONSTRATED
    assert "the load changes again" in verdict.why


def test_the_clock_of_the_switching_begins_between_the_order_and_the_load():
    """Contactors follow within a second: how long after the switching is told with what that leaves open."""
    t_s = [k * 0.1 for k in range(200)]
    late = captured(T1, switched_s=())
    kw = column(250.0 if t >= 1.45 else 0.0 for t in t_s)
    worked = figure(one(trail(t_s=column(t_s), power_kw=kw, traces=(late,)), UP["G2"]), "the switching")
    assert worked.low == pytest.approx(3.5 - 1.5, abs=0.03)
    assert worked.high == pytest.approx(3.5 - 1.0, abs=0.03)


def test_a_doubt_about_the_time_widens_what_counts_from_the_switching_only():
    sure, unsure = (captured(T1, switched_s=(), doubt_s=d) for d in (0.0, 0.3))
    a, b = (one(trail(traces=(trace,)), UP["G2"]) for trace in (sure, unsure))
    assert figure(b, "the switching").high == pytest.approx(figure(a, "the switching").high + 0.3, abs=1e-6)
    assert figure(b, "leaving").high == pytest.approx(figure(a, "leaving").high, abs=1e-6)


def test_amps_have_no_rated_value_to_judge_by():
    rule = Transient("amps", Quantity.AMPS, Direction.UP, 10.0, 5.0, 1.0, ORIGIN)
    assert "no rated current" in one(trail(traces=(captured(T1),)), rule).why


@given(st.floats(0.0, 12.0), st.floats(0.0, 12.0), st.floats(0.3, 8.0), st.sampled_from([0.01, 0.1, 0.5, 1.0]))
def test_a_deeper_dip_never_has_a_better_verdict(depth, more, lasts_s, each_s):
    def verdict(deep):
        line = [(0, 50), (1, 50), (1.2, 50 - deep), (1.2 + lasts_s, 50), (30, 50)]
        return one(trail(traces=(captured(line, each_s=each_s),)), UP["G3"]).outcome

    assert ORDER.index(verdict(depth + more)) >= ORDER.index(verdict(depth))


@given(st.floats(0.0, 12.0), st.floats(0.3, 8.0), st.integers(2, 60))
def test_what_coarse_samples_show_fine_ones_show_too(depth, lasts_s, times):
    line = [(0, 50), (1, 50), (1.2, 50 - depth), (1.2 + lasts_s, 50), (40, 50)]
    coarse, fine = (one(trail(traces=(captured(line, each_s=e),)), UP["G3"]) for e in (0.01 * times, 0.01))
    if coarse.outcome is not Outcome.NOT_DEMONSTRATED:
        assert fine.outcome is coarse.outcome
    assert not math.isnan(figure(fine, "deviation").value)
