"""The program clock against worked examples: zero-length ramps, levels finer than the load, pauses."""

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.legs import lay_out, length_s, staircase_kw
from benchctl.core.program import (
    Block,
    Drop,
    ExpectLoss,
    Hold,
    LoadIs,
    Program,
    Ramp,
    Rounding,
    Segment,
    Silence,
    Staircase,
    Starts,
    Target,
    Wait,
)
from benchctl.core.reading import Outcome
from benchctl.core.state import Mode
from tests.core.worlds import Stepper, program, site, staged

FIVES = (5.0, 5.0, 10.0, 20.0, 20.0, 40.0)
PLACE = site(staged(*FIVES), staged(*FIVES))
TENS = site(staged(*[25.0] * 8), staged(*[25.0] * 8))


def targets(w: Stepper, seconds: int) -> list[float]:
    """The target after each further second of program time; the scan that began the program is time 0."""
    found = []
    for _ in range(seconds):
        w.scan()
        found.append(w.state.target_kw)
    return found


def test_a_flat_ramp_stands_a_ramp_of_no_length_jumps_and_the_end_is_exact():
    segments: tuple[Segment, ...] = (Ramp(Target(0.0), 60.0), Ramp(Target(100.0), 0.0), Hold(10.0), Hold(0.0))
    assert length_s(lay_out(program(*segments), 400.0)) == 70.0
    w = Stepper(PLACE, program(*segments), dt_s=1.0).started()
    found = targets(w, 69)
    assert found[:59] == [0.0] * 59
    assert found[59:] == [100.0] * 10
    assert w.mode() is Mode.RUN
    w.scan()
    assert w.mode() is Mode.UNLOAD
    assert w.state.program_s == pytest.approx(70.0)


def test_between_equal_targets_there_is_no_dip():
    w = Stepper(
        TENS, program(Ramp(Target(300.0), 0.0), Hold(5.0), Ramp(Target(300.0), 5.0), Hold(5.0)), dt_s=1.0
    ).started()
    assert set(targets(w, 14)) == {300.0}


@pytest.mark.parametrize(("rounding", "at_30"), [(Rounding.AT_MOST, 50.0), (Rounding.NEAREST, 50.0)])
def test_a_ramp_finer_than_the_load_is_monotone_near_and_ends_exactly(rounding, at_30):
    w = Stepper(PLACE, program(Ramp(Target(100.0), 60.0), Hold(60.0), rounding=rounding), dt_s=1.0).started()
    found = [w.ordered_kw()]
    ideal = [0.0]
    for second in range(1, 61):
        w.scan()
        found.append(w.ordered_kw())
        ideal.append(100.0 * second / 60.0)
    assert found == sorted(found)
    assert len(set(found)) == 21
    assert found[60] == 100.0
    assert found[30] == at_30
    assert found[1] == 0.0
    assert found[59] == (95.0 if rounding is Rounding.AT_MOST else 100.0)
    assert max(abs(a - b) for a, b in zip(found, ideal, strict=True)) <= 5.0


@pytest.mark.parametrize(
    ("rounding", "expected"), [(Rounding.AT_MOST, 325.0), (Rounding.AT_LEAST, 350.0), (Rounding.NEAREST, 325.0)]
)
def test_a_target_between_levels_falls_on_the_side_that_its_rounding_says(rounding, expected):
    w = Stepper(TENS, program(Ramp(Target(333.0), 0.0), Hold(60.0), rounding=rounding)).started()
    w.run(5.0)
    assert w.kw() == expected


def test_a_staircase_has_one_level_more_than_steps_and_its_ends_are_exact():
    assert staircase_kw(0.0, 300.0, 3) == (0.0, 100.0, 200.0, 300.0)
    assert staircase_kw(0.0, 0.3, 3) == (0.0, 0.1, 0.2, 0.3)
    assert staircase_kw(100.0, 400.0, 8) == (100.0, 137.5, 175.0, 212.5, 250.0, 287.5, 325.0, 362.5, 400.0)
    assert staircase_kw(100.0, 400.0, 9)[-1] == 400.0
    assert len(staircase_kw(100.0, 400.0, 9)) == 10
    legs = lay_out(program(Staircase(Target(25.0, True), Target(100.0, True), 9, 60.0)), 400.0)
    assert [leg.to_kw for leg in legs if leg.to_kw is not None][-1] == 400.0


def test_a_pause_keeps_the_load_and_moves_every_end_by_its_own_length():
    """Ramp 100 s, hold 600 s, paused from 40 s to 340 s of the wall: 100 kW at 400 s, over at 1000 s."""
    w = Stepper(PLACE, program(Ramp(Target(100.0), 100.0), Hold(600.0)), dt_s=1.0).started()
    begin_s = w.now_s
    w.run(40.0)
    assert w.state.target_kw == pytest.approx(40.0)
    for second in range(41, 341):
        w.scan(*([Command(Verb.PAUSE)] if second == 41 else []))
        assert w.state.target_kw == pytest.approx(40.0)
        assert w.ordered_kw() == 40.0
    w.scan(Command(Verb.RESUME))
    w.until(lambda w: w.state.target_kw == 100.0)
    assert w.now_s - begin_s == 400.0
    w.until(lambda w: w.state.mode is not Mode.RUN, 700.0)
    assert w.now_s - begin_s == 1000.0
    assert w.state.program_s == pytest.approx(700.0)
    assert w.state.paused_s == 300.0


def test_a_hold_that_starts_in_band_waits_for_its_meter_then_asks_and_goes_on_with_yes():
    tested = program(Ramp(Target(100.0), 0.0), Hold(30.0, starts=Starts.IN_BAND), load_is=LoadIs.SOURCE_TOTAL)
    w = Stepper(PLACE, tested).ready()
    w.plant.told = lambda e: type(e)()
    w.scan(Command(Verb.START))
    w.run(5.0)
    assert w.mode() is Mode.CHECK  # no volts, no permissive
    w.plant.told = lambda e: e
    w.until(lambda w: w.state.mode is Mode.RUN)
    w.plant.volts = None
    w.until(lambda w: w.state.prompt is not None and w.state.prompt.kind == "band", 70.0)
    assert w.state.leg_s == 0.0
    w.scan(Command(Verb.ANSWER, text="yes"))
    w.run(5.0)
    assert w.state.leg_s > 0.0


def test_the_operator_is_waited_for_and_silence_does_what_the_segment_says():
    for silence, mode in ((Silence.GO_ON, Mode.RUN), (Silence.UNLOAD, Mode.UNLOAD), (Silence.STAY, Mode.RUN)):
        w = Stepper(PLACE, program(Ramp(Target(50.0), 0.0), Wait("clear?", 30.0, silence), Hold(60.0))).started()
        w.run(29.0)
        assert w.state.leg == 1
        w.until(lambda w: w.state.leg == 2 or w.state.mode is Mode.UNLOAD or w.now_s > 100.0)
        assert w.mode() is mode
        assert w.state.leg == (2 if silence is Silence.GO_ON else 1)


def test_two_blocks_never_fall_into_one_scan():
    w = Stepper(TENS, program(Block(Target(100.0)), Block(Target(200.0)), Drop(), Hold(5.0)), dt_s=1.0).started()
    assert targets(w, 3) == [100.0, 200.0, 0.0] or [w.state.target_kw] == [0.0]


def test_a_late_scan_does_not_catch_up():
    w = Stepper(PLACE, program(Ramp(Target(100.0), 100.0), Hold(60.0)), dt_s=1.0).started()
    w.run(10.0)
    w.scan(dt_s=3.9)
    assert w.state.target_kw <= 12.0 + 1e-9


def test_extend_lengthens_the_hold_and_skip_ends_it_and_past_the_last_leg_both_are_refused():
    w = Stepper(PLACE, program(Ramp(Target(50.0), 0.0), Hold(20.0))).started()
    w.run(5.0)
    w.scan(Command(Verb.EXTEND, value=100.0))
    w.run(60.0)
    assert w.mode() is Mode.RUN
    w.scan(Command(Verb.PAUSE), Command(Verb.SKIP), Command(Verb.EXTEND, value=10.0), Command(Verb.SKIP))
    assert [e.text for e in w.heard("refused")] == ["extend 10: no hold runs", "skip: the program is through"]
    w.scan(Command(Verb.RESUME))
    assert w.mode() is Mode.UNLOAD


def lost_supply(reapply: bool) -> Stepper:
    loss = ExpectLoss(60.0, reapply, held_s=5.0, step_percent=25.0, step_s=2.0)
    w = Stepper(
        TENS, Program("t", "T", (Ramp(Target(200.0), 0.0), Hold(5.0), loss, Hold(60.0)), check_load=False)
    ).started()
    w.until(lambda w: w.state.leg == 2)
    w.plant.volts, w.plant.hertz = 0.0, None
    w.run(5.0)
    assert w.state.phase == 1
    return w


def test_an_expected_loss_of_supply_trips_nothing_and_load_may_stay_closed():
    w = lost_supply(reapply=False)
    assert w.kw() == 200.0
    w.plant.volts, w.plant.hertz = 400.0, 50.0
    w.until(lambda w: w.state.leg == 3)
    assert w.state.trip is None
    assert w.kw() == 200.0


def test_after_an_expected_loss_load_comes_back_in_steps_once_volts_and_hertz_have_held():
    w = lost_supply(reapply=True)
    assert w.kw() == 0.0
    w.plant.volts, w.plant.hertz = 400.0, 50.0
    w.run(4.0)
    assert w.kw() == 0.0
    levels = set()
    for _ in range(30):
        w.scan()
        levels.add(w.kw())
    assert levels == {0.0, 100.0, 200.0}
    assert w.state.trip is None


def test_a_dead_source_with_contactors_closed_is_seen_although_they_draw_nothing():
    w = Stepper(TENS).loaded(200.0)
    w.plant.volts, w.plant.hertz = 0.0, None
    w.run(4.0)
    assert w.state.trip is not None
    assert w.kw() == 0.0


def test_an_unload_only_lowers_although_a_unit_loses_load_meanwhile():
    w = Stepper(TENS).loaded(200.0)
    raised = [u.raised for u in w.plant.units]
    w.scan(Command(Verb.UNLOAD))
    w.plant.units[0].load = 0
    w.until(lambda w: w.state.mode is Mode.COOL)
    assert [u.raised for u in w.plant.units] == raised


def test_an_unload_and_a_cool_down_do_not_wait_for_a_unit_that_is_lost():
    tested = program(Ramp(Target(200.0), 0.0), Hold(20.0), source_cooldown_s=10.0)
    w = Stepper(TENS, tested).started()
    w.until(lambda w: w.kw() == 200.0)
    w.plant.units[0].silent = Outcome.SILENT
    w.until(lambda w: w.state.mode is Mode.DONE, 200.0)
    assert w.state.outcome == "completed"
