"""Time in limits: the minimum of every sample, unbroken. Cases from field reports of rejected load tests."""

import math

import pytest

from benchctl.assessment.trail import NAN, Hole, Noted, Stretch
from benchctl.core.ruleset import Duty, Readings, SampleBase, Unbroken
from tests.assessment.trails import NOT_MET, OPEN, ORIGIN, SHOWN, duty, trail, verdict, verdicts

MINUTE = SampleBase.MINUTE


def minutes(*levels_kw: float):
    """One reading a minute, each of the minute that starts at its stamp."""
    return trail([60.0 * k for k in range(len(levels_kw))], levels_kw)


def test_a_mean_just_below_the_level_is_not_met():
    # An accreditor's newsletter on "not less than 50 %": 248 kW of 500 kW are 49.6 %.
    found = verdict(minutes(*[248.0] * 30), duty(50.0, 1800.0), base=MINUTE)
    assert found.outcome is NOT_MET


def test_one_reading_below_breaks_the_time_although_the_mean_is_above():
    # The same: 29 × 252 and one of 246: the mean is 50.4 %, the minimum 49.2 %.
    levels = [252.0] * 29
    levels.insert(17, 246.0)
    assert sum(levels) / 30.0 > 250.0
    found = verdict(minutes(*levels), duty(50.0, 1800.0), base=MINUTE)
    assert found.outcome is NOT_MET
    assert "ended by 246 kW (49.2 %) at 0:17:00" in found.why
    assert (found.from_s, found.to_s) == (0.0, 17.0 * 60.0)


def test_the_climb_between_two_duties_counts_for_neither_but_not_against_a_time_without_break():
    # The same: 30 min at 50 %, four minutes up, 60 min at 75 %; "continuous 90 min" allows the climb at >= 50 %.
    made = minutes(*[252.0] * 30, 280.0, 310.0, 340.0, 370.0, *[376.0] * 60)
    half, three, whole = verdicts(
        made,
        duty(50.0, 1800.0, "half"),
        duty(75.0, 3600.0, "three"),
        Unbroken("whole", 50.0, 5400.0, ORIGIN),
        base=MINUTE,
    )
    assert [half.outcome, three.outcome, whole.outcome] == [SHOWN, SHOWN, SHOWN]
    assert (three.from_s, three.to_s) == (34.0 * 60.0, 93.0 * 60.0)  # its last minute begins at 93 min
    assert half.to_s is not None
    assert half.to_s <= 34.0 * 60.0


def test_no_minute_counts_for_two_duties():
    made = trail([10.0 * k for k in range(361)], [500.0] * 361)  # one hour at 100 %
    first, second = verdicts(made, duty(30.0, 1800.0, "a"), duty(50.0, 1800.0, "b"))
    assert [first.outcome, second.outcome] == [SHOWN, SHOWN]
    assert first.to_s == second.from_s == 1800.0
    first, second = verdicts(made, duty(30.0, 1800.0, "a"), duty(50.0, 1801.0, "b"))
    assert [first.outcome, second.outcome] == [SHOWN, NOT_MET]


@pytest.mark.parametrize(
    ("length_min", "outcome"),
    [(15, NOT_MET), (20, NOT_MET), (30, SHOWN)],
)
def test_a_run_is_as_long_as_its_load(length_min, outcome):
    # A survey's finding: eight of twelve monthly runs too short. 08:15 to 08:30, 08:40 to 09:00, 09:00 to 09:30.
    t_s = [5.0 * k for k in range(length_min * 12 + 1)]
    found = verdict(trail(t_s, [170.0] * len(t_s)), duty(30.0, 1800.0))
    assert found.outcome is outcome
    assert (found.from_s, found.to_s) == (0.0, 60.0 * length_min)
    assert found.origin.clause == "8.4.2"


@pytest.mark.parametrize(("length_min", "outcome"), [(15, NOT_MET), (20, NOT_MET), (30, OPEN)])
def test_where_kw_were_not_recorded_the_percentage_is_not_demonstrated(length_min, outcome):
    # The same survey: percent of nameplate recorded in one run only. What was too short is so whatever the kW were.
    t_s = [5.0 * k for k in range(length_min * 12 + 1)]
    found = verdict(trail(t_s, [NAN] * len(t_s)), duty(30.0, 1800.0))
    assert found.outcome is outcome


def test_without_a_nameplate_nothing_is_a_percentage():
    t_s = [5.0 * k for k in range(361)]
    found = verdict(trail(t_s, [170.0] * len(t_s), nameplate_kw=0.0), duty(30.0, 1800.0))
    assert found.outcome is OPEN
    assert "nameplate kW is not recorded" in found.why


def slept(gap_s: float):
    """Ten minutes at 200 kW, a hole, twenty minutes more."""
    before = [float(k) for k in range(601)]
    after = [600.0 + gap_s + k for k in range(1201)]
    return trail(before + after, [200.0] * (len(before) + len(after)), holes=(Hole(600.0, 600.0 + gap_s, "asleep"),))


def test_a_computer_that_slept_has_seen_nothing_meanwhile():
    # A laptop's lid closed for 47 min in a 30 min hold: 2820 s not observed are credited to nobody.
    found = verdict(slept(2820.0), duty(40.0, 1800.0))
    assert found.outcome is OPEN
    assert "asleep" in found.why
    timed = found.working[0]
    assert timed.value == timed.low == 1200.0
    assert timed.high == 600.0 + 2820.0 + 1200.0


def test_a_gap_that_the_rules_tolerate_is_listed():
    found = verdict(slept(9.0), duty(40.0, 1800.0))
    assert found.outcome is SHOWN
    assert "tolerated gaps: 1: 0:10:00 to 0:10:09 (asleep)" in found.why
    assert verdict(slept(9.0), duty(40.0, 1800.0), gap_s=5.0).outcome is OPEN


def test_a_gap_with_one_side_out_of_limits_is_not_tolerated():
    t_s = [float(k) for k in range(21)]
    kw = [200.0] * 8 + [NAN, NAN, 10.0] + [200.0] * 10
    found = verdict(trail(t_s, kw), duty(40.0, 12.0))
    assert found.outcome is NOT_MET


def test_values_that_are_not_known_break_a_time_like_a_hole():
    t_s = [float(k) for k in range(101)]
    kw = [NAN if 40 <= k < 60 else 200.0 for k in range(101)]
    found = verdict(trail(t_s, kw), duty(40.0, 90.0))
    assert found.outcome is OPEN
    assert found.working[0].low == 40.0


def test_coarse_samples_leave_bounds():
    # 10 s between samples: load came between 0 and 10 s and went between 1790 and 1800 s.
    t_s = [10.0 * k for k in range(182)]
    kw = [0.0] + [200.0] * 179 + [0.0, 0.0]
    made = trail(t_s, kw)
    timed = verdict(made, duty(40.0, 1785.0)).working[0]
    assert (timed.low, timed.high) == (1780.0, 1800.0)
    assert verdict(made, duty(40.0, 1780.0)).outcome is SHOWN
    assert verdict(made, duty(40.0, 1790.0)).outcome is OPEN
    assert verdict(made, duty(40.0, 1801.0)).outcome is NOT_MET


def test_what_came_after_a_record_that_was_cut_off_is_not_known():
    t_s = [float(k) for k in range(101)]
    made = trail(t_s, [200.0] * 101, complete=False)
    assert verdict(made, duty(40.0, 200.0)).outcome is OPEN
    made.complete = True
    assert verdict(made, duty(40.0, 200.0)).outcome is NOT_MET


def test_an_upper_limit_counts_too():
    t_s = [float(k) for k in range(101)]
    kw = [200.0] * 101
    kw[50] = 260.0
    rule = Duty("band", 30.0, 50.0, 60.0, ORIGIN)
    assert verdict(trail(t_s, kw), rule).outcome is NOT_MET
    assert verdict(trail(t_s, [250.0] * 101), rule).outcome is SHOWN  # the limit itself is inside


def test_a_pause_is_only_time_that_was_or_was_not_in_limits():
    # A pause holds the level: ramp to 100 kW in 100 s, paused from 40 to 340 s at 40 kW, then on to 600 s at 100 kW.
    t_s = [float(k) for k in range(1001)]
    kw = [min(100.0, t) if t < 40 else 40.0 if t < 340 else min(100.0, 40.0 + t - 340.0) for t in t_s]
    made = trail(t_s, kw, nameplate_kw=100.0)
    found = verdict(made, duty(100.0, 600.0))
    assert (found.outcome, found.from_s, found.to_s) == (SHOWN, 400.0, 1000.0)
    assert verdict(made, duty(40.0, 960.0)).outcome is SHOWN
    assert verdict(made, duty(40.1, 961.0)).outcome is NOT_MET


def test_kw_that_contradict_themselves_prove_nothing():
    t_s = [float(k) for k in range(101)]
    why = "phase C shows -23.0 kW: its current transformer is turned round"
    found = verdict(trail(t_s, [230.0] * 101, doubts=(Hole(0.0, 100.0, why),)), duty(40.0, 60.0))
    assert found.outcome is OPEN
    assert why in found.why


def test_readings_by_the_interval_leave_what_lies_between_open_to_their_neighbours():
    t_s = [60.0 * k for k in range(61)]
    kw = [0.0] + [200.0] * 59 + [0.0]
    made = trail(t_s, kw)
    found = verdict(made, duty(40.0, 2700.0), base=SampleBase.READING, reading_interval_s=900.0)
    assert (found.outcome, found.from_s, found.to_s) == (SHOWN, 60.0, 60.0 + 2700.0)


def test_an_empty_trail_shows_nothing():
    assert verdict(trail([], []), duty(40.0, 60.0)).outcome is OPEN


def test_the_working_can_be_done_again():
    t_s = [float(k) for k in range(101)]
    kw = [200.0 + math.sin(k) for k in range(101)]
    timed, lowest = verdict(trail(t_s, kw), duty(30.0, 60.0)).working
    given = {i.name: i for i in timed.inputs}
    first, last = given["first sample in limits"], given["last sample in limits"]
    assert first.at_s is not None
    assert last.at_s is not None
    assert timed.value == last.at_s - first.at_s
    assert given["least: 30 % × 500 kW ÷ 100"].value == 30.0 * 500.0 / 100.0
    assert lowest.value == pytest.approx(100.0 * min(kw) / 500.0)


def test_a_figure_is_never_rounded_to_the_limit_that_it_misses():
    t_s = [float(k) for k in range(101)]
    kw = [150.0] * 101
    kw[50] = 149.9996
    found = verdict(trail(t_s, kw), duty(30.0, 90.0))
    assert found.outcome is NOT_MET
    assert "149.9996 kW (29.9999 %)" in found.why


def test_percents_of_a_derated_source_are_of_what_is_left_and_both_are_told():
    """400 kW derated to 380 kW, where the rule set counts so: 380 kW are 100 %, and 95 % of the nameplate."""
    t_s = [float(k) for k in range(101)]
    made = trail(t_s, [380.0] * 101, nameplate_kw=400.0, derated_kw=380.0)
    found = verdict(made, duty(100.0, 60.0), of_derated=True)
    assert found.outcome is SHOWN
    assert found.criterion == "at least 100 % of derated kW for 1 min"
    assert [(w.name, w.value) for w in found.working[1:]] == [
        ("lowest load, of derated kW", 100.0),
        ("lowest load, of nameplate kW", 95.0),
    ]
    assert verdict(made, duty(100.0, 60.0)).outcome is NOT_MET
    made.derated_kw = None
    assert verdict(made, duty(100.0, 60.0), of_derated=True).outcome is NOT_MET


def test_the_check_load_is_no_load_of_the_test():
    """A tenth of the nameplate before the program's first segment: readings count from the load of the test."""
    t_s = [10.0 * k for k in range(200)]
    kw = [0.0] * 5 + [50.0] * 5 + [0.0] * 10 + [200.0] * 180
    made = trail(t_s, kw, stretches=(Stretch(190.0, 1990.0, 1, "hold", "", 200.0),))
    readings = Readings("readings", 900.0, ("power_kw", "oil_kpa"), ORIGIN)
    made.noted = (Noted(205.0, 1, (("oil_kpa", 400.0),)), Noted(1100.0, 2, (("oil_kpa", 400.0),)))
    found = verdict(made, readings)
    assert (found.outcome, found.from_s) == (SHOWN, 200.0)
    made.stretches = ()
    assert verdict(made, readings).outcome is OPEN  # without a program any load is the test's
