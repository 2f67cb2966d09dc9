"""Steady quantities: widths, deviations, droop, unbalance, stability. Each expected figure is worked out beside it."""

import math

import pytest

from benchctl.assessment.trail import NAN, Change, Hole, Logged, Noted, Stretch
from benchctl.core.ruleset import Known, Measure, Origin, Quantity, Stability, Steady
from tests.assessment.trails import NOT_MET, OPEN, ORIGIN, SHOWN, duty, trail, verdict, verdicts


def rule(quantity: Quantity, measure: Measure, limit: float, **more) -> Steady:
    return Steady("steady", quantity, measure, limit, Origin("", Known.READ, "S12"), **more)


def test_the_width_of_a_sine_is_its_full_swing():
    # 50 Hz with ±0.1 Hz at 0.5 Hz, each 0.01 s for 30 s: ±0.20 %, a width of 0.40 % of rated. Computed by hand.
    t_s = [0.01 * k for k in range(3001)]
    hertz = [50.0 + 0.1 * math.sin(math.pi * t) for t in t_s]
    made = trail(t_s, [100.0] * len(t_s), hertz=hertz, refresh_s=0.01)
    found = verdict(made, rule(Quantity.HERTZ, Measure.WIDTH, 0.5))
    assert found.outcome is SHOWN
    assert found.working[0].value == pytest.approx(0.40, abs=1e-6)
    assert verdict(made, rule(Quantity.HERTZ, Measure.WIDTH, 0.39)).outcome is NOT_MET


def test_a_sample_each_period_cannot_see_the_swing_and_says_how_far_apart_its_samples_are():
    t_s = [2.0 * k for k in range(16)]
    hertz = [50.0 + 0.1 * math.sin(math.pi * t) for t in t_s]
    (working,) = verdict(trail(t_s, [100.0] * 16, hertz=hertz), rule(Quantity.HERTZ, Measure.WIDTH, 0.5)).working
    assert working.value == pytest.approx(0.0, abs=1e-9)
    assert "what is faster is not seen" in working.note


HUNTING = [59.0, 60.0, 59.0, 61.0, 60.0, 61.0, 59.0, 64.0, 58.9]  # each 5 s; from a published log of a hunting governor


def test_a_set_that_hunts_is_not_steady_whatever_its_mean():
    made = trail([5.0 * k for k in range(9)], [100.0] * 9, hertz=HUNTING, rated_hz=60.0)
    found = verdict(made, rule(Quantity.HERTZ, Measure.DEVIATION, 0.5))
    assert found.outcome is NOT_MET
    given = {i.name: i.value for i in found.working[0].inputs}
    assert given["mean (decides nothing)"] == pytest.approx(60.21, abs=0.005)
    assert given["standard deviation (population)"] == pytest.approx(1.56, abs=0.005)
    wide = verdict(made, rule(Quantity.HERTZ, Measure.WIDTH, 1.0))
    assert wide.outcome is NOT_MET
    assert wide.working[0].value == pytest.approx(100.0 * 5.1 / 60.0)  # 64 - 58.9 Hz


def test_the_window_slides():
    # A slow drift of 1 % over 100 s is 0.3 % in any 30 s.
    t_s = [float(k) for k in range(101)]
    made = trail(t_s, [100.0] * 101, hertz=[50.0 + 0.005 * t for t in t_s])
    assert verdict(made, rule(Quantity.HERTZ, Measure.WIDTH, 1.0)).working[0].value == pytest.approx(0.3)
    whole = verdict(made, rule(Quantity.HERTZ, Measure.WIDTH, 1.0, over_s=100.0))
    assert whole.outcome is SHOWN
    assert whole.working[0].value == pytest.approx(1.0)
    assert verdict(made, rule(Quantity.HERTZ, Measure.WIDTH, 1.0, over_s=14400.0)).outcome is OPEN


def test_only_holds_count_and_only_when_they_have_settled():
    t_s = [float(k) for k in range(201)]
    hertz = [45.0 if t < 5 or 100 <= t < 109 else 50.0 for t in t_s]
    holds = (Stretch(0.0, 100.0, 1, "hold", "", 100.0), Stretch(100.0, 200.0, 2, "hold", "", 200.0))
    made = trail(t_s, [100.0] * 201, hertz=hertz, stretches=holds)
    assert verdict(made, rule(Quantity.HERTZ, Measure.DEVIATION, 0.5)).outcome is SHOWN
    made.stretches = (Stretch(0.0, 200.0, 1, "hold", "", 100.0),)
    assert verdict(made, rule(Quantity.HERTZ, Measure.DEVIATION, 0.5)).outcome is NOT_MET
    made.changes = (Change(99.0, 100.0, 200.0),)
    assert verdict(made, rule(Quantity.HERTZ, Measure.DEVIATION, 0.5)).outcome is SHOWN


def test_load_that_the_site_itself_switches_is_no_constant_load():
    t_s = [float(k) for k in range(101)]
    kw = [100.0 if t < 50 else 160.0 for t in t_s]
    hertz = [49.0 if t == 50 else 50.0 for t in t_s]
    volts = [396.0 if t == 50 else 400.0 for t in t_s]
    assert (
        verdict(trail(t_s, kw, hertz=hertz, volts=volts), rule(Quantity.HERTZ, Measure.DEVIATION, 0.5)).outcome is SHOWN
    )
    # Volts that hunt move the kW of resistors with their square: that is no change of load.
    hunting = [380.0 if t % 10 == 0 else 400.0 for t in t_s]
    kw = [500.0 * (v / 400.0) ** 2 for v in hunting]
    assert verdict(trail(t_s, kw, volts=hunting), rule(Quantity.VOLTS, Measure.DEVIATION, 2.5)).outcome is NOT_MET


def test_what_is_not_known_is_not_within_a_limit():
    t_s = [float(k) for k in range(101)]
    hertz = [NAN if 40 <= t <= 60 else 50.0 for t in t_s]
    made = trail(t_s, [100.0] * 101, hertz=hertz)
    found = verdict(made, rule(Quantity.HERTZ, Measure.DEVIATION, 0.5))
    assert found.outcome is OPEN
    assert "not known: 0:00:39 to 0:01:01" in found.why
    assert verdict(made, rule(Quantity.HERTZ, Measure.DEVIATION, 0.5), gap_s=30.0).outcome is SHOWN
    seen = [t for t in t_s if not 40.0 < t < 61.0]
    made = trail(seen, [100.0] * len(seen), holes=(Hole(40.0, 61.0, "asleep"),))
    assert verdict(made, rule(Quantity.HERTZ, Measure.DEVIATION, 0.5)).outcome is OPEN
    nothing = trail(t_s, [100.0] * 101, hertz=[NAN] * 101)
    assert verdict(nothing, rule(Quantity.HERTZ, Measure.DEVIATION, 0.5)).outcome is OPEN


def test_droop_has_the_denominator_that_is_stated():
    # US guide specification 16263A, 3.5.6.2 (printed with volts under hertz): 61.8 Hz / 484 V at no load, 60.0 Hz /
    # 480 V at rated load. (61.8 - 60.0) / 60.0 = 3.00 %; (484 - 480) / 480 = 0.83 %. The misprint would give 0.375 %.
    t_s = [float(k) for k in range(201)]
    loaded = [t >= 100 for t in t_s]
    made = trail(
        t_s,
        [500.0 if on else 0.0 for on in loaded],
        hertz=[60.0 if on else 61.8 for on in loaded],
        volts=[480.0 if on else 484.0 for on in loaded],
        rated_v=480.0,
        rated_hz=60.0,
    )
    found = verdict(made, rule(Quantity.HERTZ, Measure.REGULATION, 3.0))
    assert found.outcome is SHOWN
    assert found.working[0].value == pytest.approx(3.0)
    assert "÷ the value at rated load" in found.working[0].formula
    volts = verdict(made, rule(Quantity.VOLTS, Measure.REGULATION, 0.8))
    assert volts.outcome is NOT_MET
    assert volts.working[0].value == pytest.approx(100.0 * 4.0 / 480.0)
    of_rated = verdict(made, rule(Quantity.VOLTS, Measure.DROOP, 1.0))
    assert "÷ rated" in of_rated.working[0].formula
    assert of_rated.working[0].value == pytest.approx(100.0 * 4.0 / 480.0)


def test_droop_is_not_demonstrated_without_rated_load_or_without_no_load():
    t_s = [float(k) for k in range(201)]
    half = trail(t_s, [0.0 if t < 100 else 250.0 for t in t_s])
    assert "no settled time at rated load" in verdict(half, rule(Quantity.HERTZ, Measure.DROOP, 3.0)).why
    never = trail(t_s, [500.0] * 201)
    found = verdict(never, rule(Quantity.HERTZ, Measure.DROOP, 3.0))
    assert found.outcome is OPEN
    assert "no settled time at no load" in found.why


@pytest.mark.parametrize(
    ("three", "measure", "expected"),
    [
        # Trade discussions of which "unbalance": 462, 463, 455: 5 of a mean of 460 = 1.087 %; 203, 210, 212: 2.56 %.
        ((462.0, 463.0, 455.0), Measure.UNBALANCE_MEAN, 100.0 * 5.0 / 460.0),
        ((203.0, 210.0, 212.0), Measure.UNBALANCE_MEAN, 2.560),
        # An Army manual's form: largest less smallest of rated, 460, 467, 450 of 480: 3.5417 %.
        ((460.0, 467.0, 450.0), Measure.UNBALANCE_RATED, 3.5417),
    ],
)
def test_unbalance_is_told_with_its_method(three, measure, expected):
    t_s = [float(k) for k in range(21)]
    made = trail(t_s, [100.0] * 21, rated_v=480.0)
    made.pair_ab, made.pair_bc, made.pair_ca = ([v] * 21 for v in three)  # type: ignore[assignment]
    found = verdict(made, rule(Quantity.VOLTS, measure, 1.0))
    assert found.working[0].value == pytest.approx(expected, abs=0.0005)
    assert found.working[0].note.startswith("method: largest")
    assert found.outcome is NOT_MET


def test_unbalance_of_amps_and_of_nothing():
    t_s = [float(k) for k in range(21)]
    made = trail(t_s, [100.0] * 21)
    made.amps_a, made.amps_b, made.amps_c = ([v] * 21 for v in (618.0, 431.0, 500.0))  # type: ignore[assignment]
    found = verdict(made, rule(Quantity.AMPS, Measure.UNBALANCE_MEAN, 20.0))
    assert found.working[0].value == pytest.approx(19.7, abs=0.05)  # the same discussions; 36.2 % by spread
    made.amps_b = [NAN] * 21  # type: ignore[assignment]
    assert verdict(made, rule(Quantity.AMPS, Measure.UNBALANCE_MEAN, 20.0)).outcome is OPEN
    made.amps_a = made.amps_b = made.amps_c = [0.0] * 21  # type: ignore[assignment]
    assert verdict(made, rule(Quantity.AMPS, Measure.UNBALANCE_MEAN, 20.0)).outcome is OPEN


def test_a_figure_may_be_asked_of_a_duty_only():
    t_s = [float(k) for k in range(201)]
    kw = [100.0 if t < 100 else 400.0 for t in t_s]
    made = trail(t_s, kw, hertz=[49.0 if t < 80 else 50.0 for t in t_s])
    _, found = verdicts(made, duty(75.0, 60.0, "high"), rule(Quantity.HERTZ, Measure.DEVIATION, 0.5, during="high"))
    assert found.outcome is SHOWN
    _, found = verdicts(made, duty(90.0, 60.0, "high"), rule(Quantity.HERTZ, Measure.DEVIATION, 0.5, during="high"))
    assert (found.outcome, "which is not shown" in found.why) == (OPEN, True)


def test_a_plateau_is_so_many_readings_unchanged():
    # Guide specification, S10: jacket water is stable at three readings unchanged (the 5 min between are from memory).
    t_s = [60.0 * k for k in range(61)]
    water = Stability("water", "coolant_c", 3, 0.0, 300.0, ORIGIN)
    warming = [70.0, 76.0, 80.0, 82.0, 83.0, 83.0, 83.0, 84.0]

    def typed(values):
        return tuple(Noted(300.0 * k, k + 1, (("coolant_c", v),)) for k, v in enumerate(values))

    found = verdict(trail(t_s, [500.0] * 61, noted=typed(warming)), water)
    assert (found.outcome, found.from_s, found.to_s) == (SHOWN, 1200.0, 1800.0)
    assert verdict(trail(t_s, [500.0] * 61, noted=typed(warming[:6])), water).outcome is NOT_MET
    assert verdict(trail(t_s, [500.0] * 61, noted=typed(warming[:2])), water).outcome is OPEN
    missed = (*typed(warming)[:5], *typed(warming)[6:])
    assert verdict(trail(t_s, [500.0] * 61, noted=missed), water).outcome is not SHOWN


def test_a_plateau_may_be_told_by_the_panel():
    from array import array

    t_s = [10.0 * k for k in range(361)]
    logged = Logged("coolant_c", array("d", t_s), array("d", [min(85.0, 60.0 + t / 60.0) for t in t_s]))
    water = Stability("water", "coolant_c", 3, 0.5, 300.0, ORIGIN)
    found = verdict(trail(t_s, [500.0] * 361, logged=(logged,)), water)
    assert found.outcome is SHOWN
    assert found.from_s is not None
    assert found.from_s >= 60.0 * 24.5
