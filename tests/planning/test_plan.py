"""The plan of a program at a site: levels, times, energy; worked cases and laws."""

import math

import pytest
from hypothesis import given, settings
from scipy.integrate import quad

from benchctl.core.legs import LegKind
from benchctl.core.program import Block, Hold, LoadIs, Ramp, Repeat, Rounding, Staircase, Starts
from benchctl.planning import plan
from benchctl.planning.lines import hms, lines
from benchctl.planning.plan import Side
from benchctl.planning.rows import rows
from tests.planning.places import kw, percent, profile, program, programs, schedule, set_of, site, sites


def test_B1_zero_length_and_flat_ramps_have_no_gap_and_no_dip():
    # Case built from public bug reports (division by zero at equal ends; a flat phase that falls to 0).
    asked = program(Ramp(kw(0.0), 60.0), Ramp(kw(100.0), 0.0), Hold(10.0), Hold(0.0))
    drawn = plan(site(), asked)
    assert [(leg.start_s, leg.end_s, leg.asked_kw) for leg in drawn.legs] == [
        (0.0, 60.0, 0.0),
        (60.0, 60.0, 100.0),
        (60.0, 70.0, 100.0),
        (70.0, 70.0, 100.0),
    ]
    assert drawn.totals.length_s == 70.0
    assert hms(drawn.totals.length_s) == "0:01:10"
    flat = plan(site(), program(Ramp(kw(300.0), 0.0), Ramp(kw(300.0), 30.0), Hold(5.0))).legs
    assert [leg.asked_kw for leg in flat] == [300.0, 300.0, 300.0]
    assert flat[1].levels == 1
    assert flat[1].energy_kwh == pytest.approx(300.0 * 30.0 / 3600.0)


@pytest.mark.parametrize("rounding", [Rounding.AT_MOST, Rounding.NEAREST, Rounding.AT_LEAST])
def test_B3_a_ramp_finer_than_the_chain_passes_every_level(rounding):
    # 0 to 100 kW by 5 kW: 21 levels, the end exact, whatever the rounding (arithmetic: 100/5 + 1).
    drawn = plan(set_of(100.0, 100.0, 1), program(Ramp(kw(100.0), 60.0), rounding=rounding))
    assert drawn.legs[0].levels == 21
    assert drawn.legs[0].level.given_kw == pytest.approx(100.0)
    assert drawn.legs[0].level.side is Side.EXACT


@pytest.mark.parametrize(
    ("rounding", "given_kw", "side", "error_percent"),
    [
        (Rounding.AT_MOST, 325.0, Side.BELOW, -2.4),
        (Rounding.AT_LEAST, 350.0, Side.ABOVE, 5.1),
        (Rounding.NEAREST, 325.0, Side.BELOW, -2.4),
    ],
)
def test_B3_the_plan_shows_requested_given_and_direction(rounding, given_kw, side, error_percent):
    drawn = plan(set_of(400.0, 500.0, 1, 25.0), program(Ramp(kw(333.0), 0.0), Hold(60.0), rounding=rounding))
    level = drawn.legs[-1].level
    assert level.asked_kw == 333.0
    assert level.given_kw == pytest.approx(given_kw)
    assert level.side is side
    assert level.error_percent == pytest.approx(error_percent, abs=0.05)
    text = "\n".join(lines(drawn, set_of(400.0, 500.0, 1, 25.0), program(Ramp(kw(333.0), 0.0), Hold(60.0))))
    assert "333.0" in text
    assert f"{given_kw:.1f}" in text
    assert side.value in text


@pytest.mark.parametrize(
    ("start", "end", "steps", "levels"),
    [
        (kw(0.0), kw(300.0), 3, [0.0, 100.0, 200.0, 300.0]),
        (percent(25.0), percent(100.0), 8, [100.0, 137.5, 175.0, 212.5, 250.0, 287.5, 325.0, 362.5, 400.0]),
    ],
)
def test_B4_the_last_step_is_not_lost_and_steps_are_told_from_levels(start, end, steps, levels):
    drawn = plan(site(), program(Staircase(start, end, steps, 60.0)))
    holds = [leg.asked_kw for leg in drawn.legs if leg.kind is LegKind.HOLD]
    assert holds == levels
    assert drawn.stairs[0].kws == tuple(levels)
    assert drawn.totals.levels == len(set(levels) | {0.0})
    assert f"{steps} steps make {steps + 1} levels" in "\n".join(drawn.notes)


def test_B4_nine_steps_end_at_exactly_100_percent():
    drawn = plan(site(), program(Staircase(percent(25.0), percent(100.0), 9, 60.0)))
    assert drawn.legs[-1].target_kw == 400.0
    assert len(drawn.stairs[0].kws) == 10


def test_D3_a_minimum_of_50_percent_gets_its_margin():
    # P = U²/R: 0.98² = 0.9604; 50 % x 0.9604 = 48.02 %, 50 % / 0.9604 = 52.06 % = 260.3 kW of 500 kW.
    drawn = plan(set_of(500.0), program(Hold(1800.0, percent(50.0)), rounding=Rounding.AT_LEAST))
    (margin,) = drawn.margins
    assert 100.0 * margin.sagged_kw / 500.0 == pytest.approx(48.02, abs=0.005)
    assert 100.0 * margin.set_kw / 500.0 == pytest.approx(52.06, abs=0.005)
    assert margin.set_kw == pytest.approx(260.3, abs=0.05)
    assert margin.reachable
    assert [f.key for f in drawn.findings if f.key == "margin"] == ["margin"]


def test_D7_units_below_their_rated_volts_are_refused_with_the_number_that_would_do():
    # 100 kW at 480 V: (400/480)² = 0.69444; six give 416.7 kW, 500 kW need 8 (555.6 kW).
    kind = profile(*[10.0] * 10, rated_v=480.0)
    place = site(*[kind] * 6, power_kw=500.0, apparent_kva=625.0)
    drawn = plan(place, program(Hold(60.0, kw(500.0))))
    assert drawn.available_kw == pytest.approx(416.667, abs=0.001)
    refusal = next(f for f in drawn.findings if f.key == "capacity")
    assert "needs 8 banks (555.6 kW)" in refusal.text
    assert "83.3 kW are missing" in refusal.text
    assert "720.0 kW rated at 480 V are needed" in refusal.text
    assert not drawn.feasible


@pytest.mark.parametrize(("volts", "given_kw"), [(415.0, 74.75), (400.0, 69.44), (208.0, 18.78)])
def test_D7_one_unit_of_100_kw_at_480_v_at_lower_volts(volts, given_kw):
    place = site(profile(100.0, rated_v=480.0), power_kw=100.0, apparent_kva=125.0, volts=volts)
    assert plan(place, program(Hold(60.0, kw(50.0)))).available_kw == pytest.approx(given_kw, abs=0.01)


# Public schedules as (percent, hours) with hours and planned kWh of a 1000 kW set; the sums are plain arithmetic
# on the schedule. Which text has the schedule is said at each; what is from memory is marked.
SCHEDULES = {
    "acceptance, NFPA 110 7.13 (profile from memory)": (((30, 0.5), (50, 0.5), (100, 1.0)), 2.0, 1400.0),
    "annual, NFPA 110 8.4.2.3 (quoted on inspectors' pages)": (((50, 0.5), (75, 1.0)), 1.5, 1000.0),
    "annual of 1999 (accreditor's public answers)": (((25, 0.5), (50, 0.5), (75, 1.0)), 2.0, 1125.0),
    "36-month and annual combined (accreditor's public answers)": (((30, 3.0), (75, 1.0)), 4.0, 1650.0),
    "engine run, standby (UFGS-16263A p. 82)": (((75, 2.0), (100, 4.0), (100, 2.0)), 8.0, 7500.0),
    "engine run, prime (UFGS-16263A p. 82)": (((75, 2.0), (100, 4.0), (110, 2.0), (100, 2.0)), 10.0, 9700.0),
    "site-test schedule A (a consultant's)": (((25, 0.5), (50, 1.0), (75, 1.0), (100, 3.0), (110, 1.0)), 6.5, 5475.0),
}


@pytest.mark.parametrize("name", SCHEDULES)
def test_public_schedules_take_their_hours_and_kilowatt_hours(name):
    parts, hours, kwh = SCHEDULES[name]
    place = set_of(1000.0, 1200.0, 1, 50.0, upper_percent=110.0)
    drawn = plan(place, schedule(*parts))
    assert drawn.totals.length_s == hours * 3600.0
    assert drawn.totals.energy_kwh == pytest.approx(kwh, rel=1e-12)
    assert drawn.totals.given_kwh == pytest.approx(kwh, rel=1e-9)


def test_an_acceptance_run_has_nine_readings():
    # 2 h at 15 min, the one at t = 0 included (arithmetic).
    parts, *_ = SCHEDULES["acceptance, NFPA 110 7.13 (profile from memory)"]
    assert plan(set_of(1000.0, 1200.0, 1, 50.0), schedule(*parts)).totals.readings == 9


def test_the_source_total_takes_the_reserve_off():
    place = site(site_load_reserve_kw=45.0)
    drawn = plan(place, program(Hold(60.0, percent(100.0)), load_is=LoadIs.SOURCE_TOTAL))
    assert drawn.legs[0].target_kw == 400.0
    assert drawn.legs[0].asked_kw == 355.0
    assert drawn.legs[0].level.source_kw == pytest.approx(400.0)


def test_full_load_amps_and_heat_follow_the_textbook():
    # I = P / (sqrt(3) U): 400 kW at 400 V and unity power factor = 577.35 A. 1 kW = 3412.14 BTU/h.
    drawn = plan(site(), program(Hold(60.0, percent(100.0))))
    assert drawn.legs[0].level.phase_amps == pytest.approx((577.35,) * 3, abs=0.01)
    row = rows(drawn)[0]
    assert row["heat_btu_h"] == pytest.approx(400.0 * 3412.14)


def test_amps_of_500_kw_at_480_v():
    # 500 kW, 480 V, power factor 1: 601.41 A.
    place = site(profile(*[50.0] * 10, rated_v=480.0), power_kw=500.0, apparent_kva=625.0, volts=480.0, hertz=60.0)
    level = plan(place, program(Hold(60.0, kw(500.0)))).legs[0].level
    assert level.phase_amps == pytest.approx((601.41,) * 3, abs=0.01)


def test_the_exhaust_rise_grows_with_altitude():
    # Rise = P/(rho cp Q): 500 kW, 8 m3/s, rho 1.2041, cp 1006 -> 51.60 K; at 1500 m the air is thinner by 0.8637.
    from benchctl.core.profile import Fan, FanSupply

    kind = profile(*[50.0] * 10, fan=Fan(5.0, FanSupply.SEPARATE, flow_m3_s=8.0))
    rises = [
        plan(site(kind, power_kw=500.0, apparent_kva=625.0, altitude_m=h), program(Hold(60.0, kw(500.0))))
        .legs[0]
        .level.rise_k
        for h in (0.0, 1500.0)
    ]
    assert rises == pytest.approx([51.60, 59.74], abs=0.02)


def test_a_ramp_says_how_many_levels_it_passes_and_a_hold_in_band_that_it_may_wait():
    place, asked = set_of(100.0, 100.0, 1), program(Ramp(kw(100.0), 60.0), Hold(60.0, starts=Starts.IN_BAND))
    text = "\n".join(lines(plan(place, asked), place, asked))
    assert "ramp, 21 levels" in text
    assert "1 of the holds start in band" in text


def test_a_ramp_of_the_sources_total_asks_nothing_of_the_chain_below_the_site_load():
    # Target 0 to 90 kW in 1 h, 45 kW of it the site's: a triangle of 45 kW over the second half hour = 11.25 kWh.
    place = site(site_load_reserve_kw=45.0)
    (leg,) = plan(place, program(Ramp(kw(90.0), 3600.0), load_is=LoadIs.SOURCE_TOTAL)).legs
    assert leg.energy_kwh == pytest.approx(11.25)


def test_repeats_are_told_once_for_people_and_unrolled_for_machines():
    asked = program(Repeat(40, (Ramp(kw(100.0), 10.0), Hold(20.0), Ramp(kw(0.0), 10.0))))
    place = site()
    drawn = plan(place, asked)
    assert len([row for row in rows(drawn) if row["row"] == "segment"]) == 120
    text = list(lines(drawn, place, asked))
    assert any("39 times more" in line for line in text)
    assert len(text) < 100
    assert drawn.totals.length_s == 1600.0


def test_no_line_of_a_plan_is_wider_than_a_page():
    place = site(site_load_reserve_kw=45.0)
    asked = program(
        Staircase(percent(25.0), percent(100.0), 60, 60.0, label="a long label indeed, of many words"),
        Block(kw(0.0)),
        title="Wide " * 12,
    )
    drawn = plan(place, asked)
    assert max(map(len, lines(drawn, place, asked))) <= 110


def _integral_kwh(legs, taken_off_kw):
    """Energy of the target over time, by scipy.integrate.quad: independent of the plan's own sums."""
    total, value = 0.0, 0.0
    for leg in legs:
        to, begin, length_s = (value if leg.to_kw is None else leg.to_kw), value, leg.length_s
        ramp = leg.kind is LegKind.RAMP

        def asked(t, to=to, begin=begin, length_s=length_s, ramp=ramp):
            return max(0.0, (begin + (to - begin) * t / length_s if ramp else to) - taken_off_kw)

        if length_s > 1e-9:
            total += quad(asked, 0.0, length_s, limit=200)[0]
        value = to
    return total / 3600.0


@settings(max_examples=60, deadline=None)
@given(programs())
def test_energy_equals_an_independent_integration(asked):
    # Reference: scipy.integrate.quad of the target over each leg's time.
    from benchctl.core.legs import lay_out

    place = site(site_load_reserve_kw=45.0)
    taken_off_kw = 45.0 if asked.load_is is LoadIs.SOURCE_TOTAL else 0.0
    legs = lay_out(asked, 400.0)
    drawn = plan(place, asked)
    assert drawn.totals.energy_kwh == pytest.approx(_integral_kwh(legs, taken_off_kw), rel=1e-6, abs=1e-6)


@settings(max_examples=80, deadline=None)
@given(sites(), programs())
def test_a_plan_never_raises_and_keeps_its_promises(place, asked):
    drawn = plan(place, asked)
    assert list(lines(drawn, place, asked))
    assert all(row["row"] for row in rows(drawn))
    for leg in drawn.legs:
        level = leg.level
        assert math.isfinite(level.given_kw)
        assert 0.0 <= level.given_kw <= drawn.available_kw + 1e-6
        assert leg.levels >= 1
        if asked.rounding is Rounding.AT_MOST:
            assert level.given_kw <= level.asked_kw + 1e-6
        if asked.rounding is Rounding.AT_LEAST and not level.short:
            assert level.given_kw >= level.asked_kw - 0.11
    assert drawn.feasible == all(f.severity.value == "warning" for f in drawn.findings)
