"""What a unit's load means, what units offer, and levels of chains worked out by hand."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.core import levels
from benchctl.core.levels import best_level, best_level_kw, level_count, offer, offers_kw
from benchctl.core.profile import SetPoint
from benchctl.core.program import Rounding
from tests.core.chains import profile, staged, stepped

NEAREST, AT_LEAST, AT_MOST = Rounding.NEAREST, Rounding.AT_LEAST, Rounding.AT_MOST
STAGED = profile((4.0, 6.0, 10.0, 20.0))
RATED = profile(setpoint=SetPoint(100.0, 5.0, actual=False))
ACTUAL = profile(setpoint=SetPoint(100.0, 5.0, actual=True))


# The algebra of one unit's load


@given(a=st.integers(0, 15), b=st.integers(0, 15), unit=st.sampled_from([STAGED, RATED, ACTUAL]))
def test_a_join_lowers_to_both_and_a_meet_is_lowered_to_by_both(a, b, unit):
    joined, met = levels.join(unit, a, b), levels.meet(unit, a, b)
    assert levels.lowers(unit, a, joined)
    assert levels.lowers(unit, b, joined)
    assert levels.lowers(unit, met, a)
    assert levels.lowers(unit, met, b)
    assert levels.load_kw(unit, joined) >= max(levels.load_kw(unit, a), levels.load_kw(unit, b))
    assert levels.join(unit, a, met) == a == levels.meet(unit, a, joined)  # absorption


@given(a=st.integers(0, 15), b=st.integers(0, 15), unit=st.sampled_from([STAGED, RATED]))
def test_lowers_is_an_order(a, b, unit):
    assert levels.lowers(unit, a, a)
    if levels.lowers(unit, a, b) and levels.lowers(unit, b, a):
        assert a == b


def test_lowers_compares_stages_not_kw():
    assert not levels.lowers(STAGED, 0b0001, 0b1000)  # less kW, but it would close a stage
    assert levels.lowers(RATED, 1, 8)


def test_full_is_every_stage_or_the_largest_whole_set_point():
    assert STAGED.full_load == 0b1111
    assert RATED.full_load == 20
    assert profile(setpoint=SetPoint(99.0, 5.0, actual=True)).full_load == 19
    assert profile(setpoint=SetPoint(0.3, 0.1, actual=True)).full_load == 3  # 0.3 / 0.1 is 2.9999999999999996


def test_stages_and_rated_set_points_follow_the_square_of_the_volts_and_actual_ones_do_not():
    ratio = 208.0 / 240.0  # published heater table: 5500 W rated 240 V gives 75.11 % on 208 V
    assert levels.load_kw(STAGED, 0b1111, ratio) == pytest.approx(40.0 * 0.75111, rel=1e-4)
    assert levels.load_kw(RATED, 20, ratio) == pytest.approx(75.111, rel=1e-4)
    assert levels.load_kw(ACTUAL, 20, ratio) == 100.0
    assert levels.smallest_kw(STAGED, ratio) == pytest.approx(4.0 * 0.75111, rel=1e-4)
    assert levels.smallest_kw(ACTUAL, ratio) == 5.0
    assert levels.stage_kws(STAGED) == pytest.approx((4.0, 6.0, 10.0, 20.0))


def test_phases_of_a_load_follow_how_each_stage_is_connected_and_its_health():
    unit = profile((6.0, 6.0, 6.0, 9.0), across=("a", "bc", "c", "abc"))
    assert levels.phase_kw(unit, 0b1111) == pytest.approx((9.0, 6.0, 12.0))
    health = ((1.0, 1.0, 1.0), (1.0, 1.0, 1.0), (1.0, 1.0, 0.0), (1.0, 0.0, 1.0))
    assert levels.phase_kw(unit, 0b1111, health=health) == pytest.approx((9.0, 3.0, 6.0))
    assert levels.phase_kw(profile(setpoint=SetPoint(90.0, 1.0, actual=True)), 9) == pytest.approx((3.0, 3.0, 3.0))
    single = profile(setpoint=SetPoint(90.0, 1.0, actual=True), phases=1)
    assert levels.phase_kw(single, 9) == (9.0, 0.0, 0.0)


@pytest.mark.parametrize(("unit", "load"), [(STAGED, 16), (STAGED, -1), (RATED, 21), (ACTUAL, -1)])
def test_a_load_that_the_unit_does_not_have_is_refused(unit, load):
    with pytest.raises(ValueError, match="is not within 0 to"):
        levels.load_kw(unit, load)


@pytest.mark.parametrize("ratio", [-0.1, math.nan, math.inf])
def test_volts_that_make_no_sense_are_refused(ratio):
    with pytest.raises(ValueError, match="volts ratio"):
        levels.load_kw(STAGED, 1, ratio)


# What a unit offers


def test_an_offer_leaves_out_stages_that_draw_nothing():
    dead, half = (0.0, 0.0, 0.0), (1.0, 0.0, 1.0)
    found = offer(STAGED, 0b0111, 1.0, ((1.0, 1.0, 1.0), dead, half, (1.0, 1.0, 1.0)))
    assert found.usable == 0b0101
    assert found.full_kw == pytest.approx(4.0 + 10.0 * 2 / 3)
    assert offer(STAGED, -1, 0.0).usable == 0


def test_a_unit_that_corrects_for_volts_cannot_give_more_than_its_elements():
    assert offer(ACTUAL, 20, 0.9).steps == 16  # 81 kW in steps of 5 kW
    assert offer(ACTUAL, 20, 1.1).steps == 20
    assert offer(RATED, 20, 0.9).full_kw == pytest.approx(81.0)
    assert offer(RATED, 7, 1.0).steps == 7


def test_equal_offers_are_equal_keys():
    assert len({offer(STAGED, 0b1111, 0.9), offer(STAGED, 0b1111, 0.9), offer(STAGED, 0b0111, 0.9)}) == 2


# Cases


def test_B3_a_ramp_finer_than_the_resolution_is_monotone_and_ends_exactly():
    chain = (staged((5.0,) * 20),)
    ideal = [100.0 * t / 60.0 for t in range(61)]
    for rounding, expected in ((AT_MOST, (0.0, 5.0, 50.0, 95.0)), (NEAREST, (0.0, 5.0, 50.0, 100.0))):
        found = [best_level_kw(chain, kw, rounding) for kw in ideal]
        assert found == sorted(found)
        assert tuple(found[t] for t in (1, 3, 30, 59)) == expected
        assert found[60] == 100.0
        assert max(abs(a - b) for a, b in zip(found, ideal, strict=True)) <= 5.0
        assert len(set(found)) == 21 == level_count(chain)


def test_B3_a_step_to_333_kw_at_a_resolution_of_25_kw():
    chain = (stepped(500.0, 25.0),)
    assert best_level_kw(chain, 333.0, AT_MOST) == 325.0
    assert best_level_kw(chain, 333.0, AT_LEAST) == 350.0
    assert best_level(chain, 333.0, NEAREST).error_kw == pytest.approx(-8.0)


def test_D7_a_bank_below_its_rated_volts():
    bank = profile((20.0,) * 5, rated_v=480.0)
    for volts, kw in ((415.0, 74.8), (400.0, 69.4), (208.0, 18.8)):  # P = P_rated (U / U_rated)^2
        assert levels.load_kw(bank, bank.full_load, volts / 480.0) == pytest.approx(kw, abs=0.06)
    one = offer(bank, -1, 400.0 / 480.0)
    assert offers_kw((one,) * 6) == pytest.approx(416.7, abs=0.05)
    assert next(n for n in range(1, 12) if offers_kw((one,) * n) >= 500.0) == 8
    assert offers_kw((one,) * 8) == pytest.approx(555.6, abs=0.05)
    found = best_level((one,) * 6, 500.0, AT_LEAST)
    assert found.short
    assert found.kw == pytest.approx(416.667, abs=0.001)


def test_nearest_breaks_ties_downward():
    assert best_level_kw((staged((10.0, 10.0)),), 15.0, NEAREST) == 10.0
    assert best_level_kw((staged((10.0, 10.0)),), 15.01, NEAREST) == 20.0


def test_a_minimum_a_hundredth_of_a_watt_above_a_level_takes_the_next_one_and_a_maximum_below_it_the_one_before():
    offers = (staged((20.0, 20.0)),)
    assert best_level(offers, 20.00001, AT_LEAST).kw == 40.0
    assert best_level(offers, 0.00001, AT_LEAST).kw == 20.0
    assert best_level(offers, 19.99999, AT_MOST).kw == 0.0


def test_no_target_is_no_load_and_no_chain_gives_nothing():
    assert best_level_kw((staged((1.0,)),), 0.0, AT_LEAST) == 0.0
    assert best_level_kw((staged((1.0,)),), -3.0, NEAREST) == 0.0
    assert best_level((), 10.0, AT_LEAST).short
    assert best_level((), 10.0, NEAREST).kw == 0.0
    assert level_count(()) == 1


def test_full_load_at_odd_volts_is_not_short_of_itself():
    chain = (staged((4.0, 6.0, 10.0), 0.977), staged((7.3, 5.0), 0.883), stepped(33.0, 0.5, 0.95, actual=False))
    found = best_level(chain, offers_kw(chain), AT_LEAST, offers_kw(chain))
    assert found.kw == pytest.approx(offers_kw(chain), abs=1e-9)
    assert not found.short


@pytest.mark.parametrize(("target", "ceiling"), [(math.nan, 1.0), (1.0, math.nan)])
def test_what_is_not_a_number_is_refused(target, ceiling):
    with pytest.raises(ValueError, match="must be numbers"):
        best_level((staged((1.0,)),), target, NEAREST, ceiling)
