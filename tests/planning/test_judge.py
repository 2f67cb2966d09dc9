"""Plans judged by rule sets: check vectors CV34 to CV38, D1 and D3, each kind of rule, and laws."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.program import Block, Drop, ExpectLoss, Hold, LoadIs, Program, Ramp, Rounding, Wait
from benchctl.core.ruleset import (
    Autonomy,
    Direction,
    Fields,
    Measure,
    Quantity,
    Readings,
    Rest,
    Rule,
    SampleBase,
    Stability,
    Steady,
    Step,
    Transient,
    Unbroken,
)
from benchctl.files import names, read_program, read_rule_set, read_site
from benchctl.planning import plan
from benchctl.planning.judge import judge
from benchctl.planning.judge_load import least
from benchctl.planning.judged import ORDER, Standing
from tests.planning.places import kw, meter, percent, program, programs, set_of, sites
from tests.planning.rule_sets import OURS, duty, judged, rule_set, verdict

SATISFIED, PEOPLE, CANNOT, NOT = Standing
ALL = [read_rule_set(name)[0] for name in names("ruleset")]
TELLS = frozenset({"power_kw", "hertz", "volts_ab", "volts_bc", "volts_ca", "volts_a", "amps_a", "amps_b", "amps_c"})


def place(**changes):
    """A 400 kW set, fine stages, a meter at the source that tells everything, each half second unless said."""
    told = changes.pop("told", TELLS)
    refresh_s = changes.pop("refresh_s", 0.5)
    made = set_of(changes.pop("power_kw", 400.0), step_kw=2.0, **changes)
    return replace(made, instruments=(meter(reports=told, refresh_s=refresh_s),))


def total(*segments, **changes) -> Program:
    """A program that counts the source's total and keeps minima."""
    return program(*segments, load_is=LoadIs.SOURCE_TOTAL, rounding=Rounding.AT_LEAST, **changes)


def hold(share, minutes):
    return Hold(60.0 * minutes, percent(share))


# Computed (C) on clauses that were read, quoted or recalled as their files mark them; a 1000 kW source.
VECTORS = {
    "CV34": ("nfpa110-acceptance", 2.0, 1400.0, 9),
    "CV35": ("nfpa110-annual", 1.5, 1000.0, 7),
    "CV36": ("nfpa110-annual-1999", 2.0, 1125.0, 9),
    "CV37": ("nfpa110-combined", 4.0, 1650.0, 17),
    "CV38 prime": ("ufgs-endurance", 10.0, 9700.0, 41),
    "CV38 standby": ("ufgs-endurance-standby", 8.0, 7500.0, 33),
}


@pytest.mark.parametrize(("name", "hours", "kwh", "readings"), VECTORS.values(), ids=VECTORS)
def test_what_a_rule_set_comes_to_at_the_least(name, hours, kwh, readings):
    found = least(read_rule_set(name)[0], set_of(1000.0))
    assert (found.length_s / 3600.0, found.energy_kwh, found.readings) == (hours, kwh, readings)


D1 = (duty("exercise", 30.0, 30.0), Rest("cool_down", 300.0, OURS))


@pytest.mark.parametrize(
    ("minutes", "share", "cooldown_s", "wanted"),
    [
        (15, 34.0, 360.0, (NOT, SATISFIED)),
        (20, 34.0, 360.0, (NOT, SATISFIED)),
        (30, 34.0, None, (SATISFIED, NOT)),
        (30, 34.0, 360.0, (SATISFIED, SATISFIED)),
        (30, 29.0, 360.0, (NOT, SATISFIED)),
    ],
)
def test_d1_too_short_and_without_cool_down_is_told_before_the_run(minutes, share, cooldown_s, wanted):
    """The four monthly runs of field case D1, as programs that would make them, and one with too little load."""
    made = total(hold(share, minutes), source_cooldown_s=cooldown_s)
    assert tuple(j.standing for j in verdict(place(), made, *D1).rules) == wanted


def test_d1_says_how_long_it_would_be_and_how_long_it_must_be():
    assert judged(place(), total(hold(34.0, 15)), D1[0]).why == (
        "the longest such time is 15 min of program time, 30 min are asked"
    )


def test_d3_a_minimum_is_not_an_average():
    """D3 (a), (b): 248 kW of 500 kW are 49.6 %; one minute of 246 kW among 252 kW breaks the half hour."""
    here = place(power_kw=500.0)
    ask = duty("half", 50.0, 30.0)
    at = lambda value, minutes: Hold(60.0 * minutes, kw(value))  # noqa: E731
    assert judged(here, total(at(248, 30)), ask).standing is NOT
    assert judged(here, total(at(252, 15), at(246, 1), at(252, 14)), ask).standing is NOT
    assert judged(here, total(at(252, 30)), ask).standing is SATISFIED


def test_d3_the_way_from_one_level_to_the_next_counts_for_neither_but_for_the_whole():
    here, rules = place(), (duty("half", 50.0, 30.0), duty("most", 75.0, 60.0), Unbroken("whole", 50.0, 5400.0, OURS))
    up = Ramp(percent(76.0), 240.0)
    assert verdict(here, total(hold(52, 30), up, hold(76, 60)), *rules).standing is SATISFIED
    short = verdict(here, total(hold(52, 28), up, hold(76, 58)), *rules)
    assert [j.standing for j in short.rules] == [SATISFIED, NOT, SATISFIED]
    drop = verdict(here, total(hold(52, 30), hold(40, 1), hold(76, 60)), *rules)
    assert [j.standing for j in drop.rules] == [SATISFIED, SATISFIED, NOT]


def test_a_margin_for_a_sag_is_told_where_it_is_missing():
    ask = duty("half", 50.0, 30.0)
    assert "2 % low it would be missed" in judged(place(), total(hold(50.0, 30)), ask).why
    assert "low" not in judged(place(), total(hold(52.07, 30)), ask).why


def test_a_loss_of_supply_breaks_a_time_and_a_prompt_does_not():
    ask = duty("hour", 50.0, 60.0)
    assert judged(place(), total(hold(52, 30), Wait("well?", 60.0), hold(52, 30)), ask).standing is SATISFIED
    assert judged(place(), total(hold(52, 30), ExpectLoss(60.0, True), hold(52, 30)), ask).standing is NOT


def test_a_duty_may_have_a_largest_level():
    ask = duty("band", 50.0, 30.0, most=60.0)
    assert judged(place(), total(hold(55, 30)), ask).standing is SATISFIED
    assert judged(place(), total(hold(65, 30)), ask).standing is NOT


def test_the_old_annual_test_holds_the_present_one_and_not_the_reverse():
    """25, 50, 75 % for 30, 30, 60 min (1999 edition) against 50, 75 % for 30, 60 min (2010 and later): S5, read."""
    here = place()
    old, new = (read_rule_set(f"nfpa110-annual{year}")[0] for year in ("-1999", ""))
    by_old = total(hold(26, 30), hold(52, 30), hold(77, 60), source_cooldown_s=300.0, readings=("oil_kpa", "coolant_c"))
    by_new = replace(by_old, segments=by_old.segments[1:])

    def standing(made, rules):
        return judge(here, made, plan(here, made), rules).standing

    assert standing(by_old, old) is standing(by_old, new) is standing(by_new, new) is PEOPLE
    assert standing(by_new, old) is NOT


@pytest.mark.parametrize("ask", [duty("half", 50.0, 30.0), Unbroken("whole", 50.0, 1800.0, OURS)])
def test_without_a_meter_at_the_source_load_cannot_be_shown(ask):
    here = place()
    assert judged(here, total(hold(52, 30)), ask).standing is SATISFIED
    for instruments in ((), (meter("chain", reports=TELLS),), (meter(reports=frozenset({"hertz"})),)):
        found = judged(replace(here, instruments=instruments), total(hold(52, 30)), ask)
        assert (found.standing, found.why) == (CANNOT, "no meter at the source tells its kW")


def test_the_sites_own_load_is_no_load_of_the_programs_but_spoils_a_rest():
    here = replace(place(), site_load_reserve_kw=45.0)
    chain = program(hold(40, 30), source_cooldown_s=300.0)
    assert judged(here, chain, duty("half", 45.0, 30.0)).standing is NOT  # it may be off all the time
    assert judged(here, total(hold(57, 30)), duty("half", 45.0, 30.0)).standing is SATISFIED
    found = judged(here, chain, Rest("cool", 300.0, OURS))
    assert (found.standing, "up to 45 kW (11.2 %)" in found.why) == (CANNOT, True)


def test_a_minimum_that_hangs_on_the_sites_own_load_cannot_be_shown_at_every_scan():
    """45 kW of own load on a 400 kW set: 50 % falls to 38.75 % for a moment when it goes off."""
    here, ask = replace(place(), site_load_reserve_kw=45.0), duty("half", 50.0, 30.0)
    found = judged(here, total(hold(50, 30)), ask)
    assert (found.standing, "the source carries 38.8 % until the chain has followed" in found.why) == (CANNOT, True)
    assert judged(here, program(hold(50, 30), rounding=Rounding.AT_LEAST), ask).standing is SATISFIED
    made, later = total(hold(50, 30)), total(hold(50, 30), hold(65, 30))
    assert judged(here, later, ask).from_s == 1800.0  # the half hour that is sure
    by_minutes = replace(rule_set(ask), sample_base=SampleBase.MINUTE)
    assert judge(here, made, plan(here, made), by_minutes).standing is SATISFIED
    sure = verdict(here, later, ask, Unbroken("whole", 50.0, 1800.0, OURS))
    assert [j.from_s for j in sure.rules] == [1800.0, 1800.0]


def test_a_rest_may_be_a_hold_at_no_load():
    made = total(hold(34, 30), Ramp(percent(0.0), 30.0), Hold(300.0))
    assert judged(place(), made, Rest("cool", 300.0, OURS)).standing is SATISFIED
    assert judged(place(), made, Rest("cool", 301.0, OURS)).standing is NOT


HZ_BAND = Steady("band", Quantity.HERTZ, Measure.WIDTH, 0.5, OURS)
DROOP = Steady("droop", Quantity.HERTZ, Measure.DROOP, 3.0, OURS)
UNBALANCE = Steady("unbalance", Quantity.VOLTS, Measure.UNBALANCE_MEAN, 1.0, OURS)


def test_a_steady_quantity_needs_a_hold_and_a_meter_that_tells_it():
    assert judged(place(), total(hold(50, 1)), HZ_BAND).standing is SATISFIED
    assert judged(place(), total(Hold(39.0, percent(50.0))), HZ_BAND).standing is NOT
    blind = judged(place(told=TELLS - {"hertz"}), total(hold(50, 1)), HZ_BAND)
    assert (blind.standing, blind.why) == (CANNOT, "no meter at the source tells hertz")
    assert judged(place(), total(hold(50, 1)), UNBALANCE).standing is SATISFIED
    assert judged(place(told=TELLS - {"volts_ca"}), total(hold(50, 1)), UNBALANCE).standing is CANNOT


def test_droop_needs_no_load_and_rated_load():
    rated, idle = hold(100, 1), hold(0, 1)
    assert judged(place(), total(idle, rated), DROOP).standing is SATISFIED
    assert judged(place(), total(rated, source_cooldown_s=300.0), DROOP).standing is SATISFIED
    assert judged(place(), total(idle, hold(90, 1)), DROOP).standing is NOT
    assert judged(place(), total(rated), DROOP).standing is NOT
    assert judged(replace(place(), site_load_reserve_kw=45.0), total(idle, rated), DROOP).standing is CANNOT


def dip(quantity=Quantity.HERTZ, way=Direction.UP, recovery_s=5.0, step=20.0):
    return Transient("dip", quantity, way, 10.0, recovery_s, 1.0, OURS, step_percent=step)


def at_25(**changes):
    """A place whose largest block is 50 %."""
    return place(largest_block_up_percent=50.0, **changes)


def test_a_meter_refreshed_each_second_cannot_prove_a_recovery_in_half_a_second():
    made = total(Block(percent(50.0)), Hold(60.0))
    found = judged(at_25(refresh_s=1.0), made, dip(recovery_s=0.5))
    assert found.standing is CANNOT
    assert found.why.startswith("new values come each 1 s and cannot prove a recovery within 0.5 s")
    assert "recovery" not in judged(at_25(refresh_s=1.0), made, dip(recovery_s=5.0)).why
    assert judged(at_25(told=TELLS - {"hertz"}), made, dip()).why == "no meter at the source tells hertz"


def test_a_meter_that_is_as_fast_as_the_cycles_sees_it_all():
    here = replace(at_25(refresh_s=0.02), scan_period_s=0.02)
    assert judged(here, total(Block(percent(50.0)), Hold(60.0)), dip()).standing is SATISFIED


def test_a_sudden_change_must_be_planned_large_enough_and_long_enough():
    here = at_25()
    assert judged(here, total(Ramp(percent(50.0), 60.0), Hold(60.0)), dip()).standing is NOT
    assert judged(here, total(Block(percent(15.0)), Hold(60.0)), dip()).standing is NOT
    assert "followed by 3 s only" in judged(here, total(Block(percent(50.0)), Hold(3.0)), dip()).why
    assert judged(here, total(hold(50, 1), Drop(), Hold(60.0)), dip(way=Direction.DOWN)).standing is CANNOT
    assert judged(here, total(hold(50, 1)), dip(way=Direction.DOWN)).standing is NOT


def test_a_block_that_the_site_does_not_allow_cannot_be_shown_there():
    found = judged(at_25(), total(Block(percent(100.0)), Hold(60.0)), dip(step=95.0))
    assert (found.standing, "the site's largest block up is 50 %" in found.why) == (CANNOT, True)


def test_readings_must_be_asked_often_enough_or_told_by_an_instrument():
    ask = Readings("readings", 900.0, ("power_kw", "hertz", "oil_kpa"), OURS)
    made = total(hold(34, 30), readings=("oil_kpa",))
    assert judged(place(), made, ask).standing is SATISFIED
    assert "nobody is asked for oil pressure" in judged(place(), replace(made, readings=()), ask).why
    assert judged(place(), replace(made, reading_interval_s=1800.0), ask).standing is NOT
    assert judged(place(told=TELLS - {"hertz"}), made, ask).standing is CANNOT
    panel = meter("panel", role="panel", reports=frozenset({"oil_kpa"}))
    here = replace(place(), instruments=(*place().instruments, panel))
    assert judged(here, replace(made, readings=()), ask).why == "instruments tell all of it"


def test_stability_needs_time_for_its_readings():
    ask = Stability("stable", "coolant_c", 3, 1.0, 300.0, OURS)
    made = total(hold(34, 10), readings=("coolant_c",), reading_interval_s=300.0)
    assert judged(place(), made, ask).standing is SATISFIED
    assert judged(place(), replace(made, segments=(hold(34, 9),)), ask).standing is NOT
    during = replace(ask, during="high")
    assert judged(place(), made, duty("high", 50.0, 5.0), during).standing is NOT


def test_what_people_do_is_for_people():
    found = judged(place(), total(hold(34, 30)), Step("transfer", "carried", OURS, within_s=10.0))
    assert (found.standing, "names transfer, at most 10 s" in found.why) == (PEOPLE, True)
    papers = judged(place(), total(hold(34, 30)), Fields("papers", ("serial", "nameplate_kw", "witness"), OURS))
    assert papers.standing is PEOPLE
    assert "neither in the site file nor among the readings: serial number of the source" in papers.why
    known = place(serial="1")
    assert judged(known, total(hold(34, 30)), Fields("papers", ("serial", "nameplate_kw"), OURS)).standing is SATISFIED


def test_a_battery_is_discharged_at_constant_kw():
    ask = Autonomy("run", 100.0, 900.0, OURS)
    made = program(hold(100, 16), load_is=LoadIs.SOURCE_TOTAL)
    assert judged(place(), made, ask).standing is SATISFIED
    assert judged(place(), program(hold(103, 16), load_is=LoadIs.SOURCE_TOTAL), ask).standing is NOT
    assert judged(place(), program(hold(100, 14), load_is=LoadIs.SOURCE_TOTAL), ask).standing is NOT
    assert judged(place(), made, replace(ask, end_volts_v=420.0)).standing is CANNOT


def test_a_rule_set_is_as_good_as_its_worst_rule_and_nothing_is_shown_by_none():
    assert verdict(place(), total(hold(34, 15)), *D1).standing is NOT
    empty = judge(place(), total(hold(34, 15)), plan(place(), total(hold(34, 15))), rule_set())
    assert (empty.standing, empty.rules) == (CANNOT, ())
    assert "no rules" in empty.notes[-1]


@settings(max_examples=60, deadline=None)
@given(sites(), programs(), st.sampled_from(ALL))
def test_any_plan_can_be_judged_by_any_shipped_rule_set(here, made, rules):
    found = judge(here, made, plan(here, made), rules)
    assert [j.key for j in found.rules] == [r.key for r in rules.rules]
    assert all(j.criterion for j in found.rules)
    assert all(j.why for j in found.rules if j.standing is not SATISFIED)


LEVELS = st.lists(st.tuples(st.integers(0, 100), st.integers(1, 60)), min_size=1, max_size=5)
ASKED = st.lists(st.tuples(st.sampled_from([25.0, 30.0, 50.0, 75.0]), st.integers(5, 60)), min_size=1, max_size=3)
HERE = place()


@settings(max_examples=60, deadline=None)
@given(LEVELS, ASKED, st.data())
def test_less_load_or_less_time_is_never_judged_better(levels, asked, data):
    rules: list[Rule] = [duty(f"duty{i}", share, minutes) for i, (share, minutes) in enumerate(asked)]
    rules.append(Unbroken("whole", asked[0][0], 60.0 * asked[0][1], OURS))
    spot = data.draw(st.integers(0, len(levels) - 1))
    share, minutes = levels[spot]
    worse = list(levels)
    worse[spot] = (data.draw(st.integers(0, share)), data.draw(st.integers(1, minutes)))
    better, less = (verdict(HERE, total(*(hold(*level) for level in those)), *rules) for those in (levels, worse))
    assert ORDER.index(better.standing) <= ORDER.index(less.standing)


@pytest.mark.parametrize("name", names("site"))
def test_shipped_programs_are_judged_at_shipped_sites(name):
    here, made = read_site(name)[0], read_program("long-haul")[0]
    found = judge(here, made, plan(here, made), read_rule_set("nfpa110-36-month")[0])
    assert {j.key: j.standing for j in found.rules}["four_hours"] is SATISFIED
