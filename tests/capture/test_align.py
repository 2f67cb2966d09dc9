"""A recording laid over a run: the step of one is the step of the other, or it is said why not."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.capture.align import AlignFault, Moved, by_clock, by_step, moves, moves_of
from benchctl.capture.curves import curves_of
from tests.capture.signals import recording, three, times


def step(at_s, before, after, wide=0.25):
    return Moved(at_s, at_s - wide, at_s + wide, before, after)


RUN = (step(100.0, 0.0, 100.0), step(200.0, 100.0, 0.0), step(300.0, 0.0, 200.0), step(360.0, 200.0, 320.0))


def test_a_load_step_in_waveforms_is_found_to_a_fraction_of_a_cycle():
    t = times(3.0, 5_000.0)
    amps = np.where(t >= 1.2345, 160.0, 100.0)
    for waves in (three(t, 230.0, amps, 50.0), {k: v for k, v in three(t, 230.0, amps, 50.0).items() if "amps" in k}):
        curves, _ = curves_of(recording(t, **waves), 50.0)
        (move,) = moves_of(curves)
        assert move.at_s == pytest.approx(1.2345, abs=0.003)
        assert move.low_s <= move.at_s <= move.high_s
        assert move.share == pytest.approx(0.625, abs=0.01)
        assert move.up


def test_contactors_that_close_one_after_the_other_are_one_step():
    t = times(3.0, 5_000.0)
    amps = 100.0 + 20.0 * ((t >= 1.0) * 1.0 + (t >= 1.02) + (t >= 1.05))
    curves, _ = curves_of(recording(t, **three(t, 230.0, amps, 50.0)), 50.0)
    assert [m.at_s for m in moves_of(curves)] == [pytest.approx(1.02, abs=0.015)]


@given(st.floats(-50.0, 50.0), st.floats(0.5, 3.0), st.lists(st.floats(2.0, 30.0), min_size=2, max_size=6, unique=True))
def test_a_pattern_of_steps_finds_its_place_wherever_it_lies(offset, scale, gaps):
    recorded = [step(sum(gaps[: k + 1]), 100.0 * k, 100.0 * (k + 1)) for k in range(len(gaps))]
    shown = [step(r.at_s - offset, r.before * scale, r.after * scale, 0.01) for r in recorded]
    assert by_step(shown, recorded, None).offset_s == pytest.approx(offset, abs=1e-6)


def test_a_step_goes_to_the_one_that_has_its_share_of_load():
    found = by_step([step(2.0, 400.0, 640.0)], RUN, None)
    assert (found.by, found.offset_s, found.doubt_s) == ("step", 358.0, 0.25)
    assert "2.0000 s is the run's at 360.00 s" in found.told
    assert "1 of 1 steps fit" in found.told


def test_a_step_that_fits_several_is_refused_unless_a_guess_decides():
    twice = (step(100.0, 0.0, 100.0), step(300.0, 0.0, 100.0))
    with pytest.raises(AlignFault, match=r"fits 2 steps of the run: state --offset near one of 98\.0, 298\.0"):
        by_step([step(2.0, 0.0, 5.0)], twice, None)
    assert by_step([step(2.0, 0.0, 5.0)], twice, 290.0).offset_s == 298.0


def test_what_has_no_step_or_the_other_direction_is_refused():
    with pytest.raises(AlignFault, match="shows no load step"):
        by_step([], RUN, None)
    with pytest.raises(AlignFault, match=r"shows a fall of load at 2\.000 s, and the run has none"):
        by_step([step(2.0, 5.0, 0.0)], RUN[:1], None)


@pytest.mark.parametrize(("at_s", "told"), [(5000.0, "4000 s after the run's end"), (-100.0, "100 s before it began")])
def test_clocks_that_never_met_are_refused(at_s, told):
    with pytest.raises(AlignFault, match=told):
        by_clock(at_s, 10.0, 1000.0, "")


def test_values_that_are_not_known_are_no_step():
    nan = float("nan")
    assert moves([0.0, 1.0, 2.0, 3.0, 4.0], [100.0, nan, nan, 100.0, 100.0], 1, 10.0) == ()
