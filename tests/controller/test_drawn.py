"""A plan as data: legs and corners against levels reckoned by hand."""

from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.controller.drawn import MOST_CORNERS, drawn, graph, thinned
from benchctl.core.legs import LegKind
from benchctl.core.program import Block, Hold, LoadIs, Program, Ramp, Repeat, Rounding, Target, Wait
from benchctl.core.site import Site
from benchctl.planning import plan
from tests.core.worlds import program, site, staged

PLACE = site(staged(10, 20, 40), staged(20, 80))  # whole tens up to 170 kW


def data(*segments: Any, place: Site = PLACE, **changes: Any) -> tuple[dict[str, Any], Program]:
    written = replace(program(*segments), **changes)
    return drawn(plan(place, written), place, written), written


def test_a_leg_has_its_time_its_level_and_what_the_source_carries():
    told, _ = data(Block(Target(34.0)), Hold(60.0), Wait("look at the gauges", 600.0), rounding=Rounding.AT_LEAST)
    block, hold, wait = told["legs"]
    assert (block["kind"], block["asked_kw"], block["given_kw"], block["side"]) == ("block", 34.0, 40.0, "above")
    assert (hold["start_s"], hold["length_s"], hold["asked_kw"], hold["given_kw"]) == (0.0, 60.0, 34.0, 40.0)
    assert (wait["kind"], wait["prompt"], wait["wait_s"]) == ("wait", "look at the gauges", 600.0)
    assert hold["amps"] == pytest.approx([40.0 / (3**0.5 * 0.4)] * 3)  # I = P / (sqrt(3) U)
    assert hold["source_kw"] >= 40.0


def test_a_graph_has_the_corners_of_blocks_and_holds():
    told, _ = data(Block(Target(40.0)), Hold(60.0), Block(Target(20.0)), Hold(30.0))
    assert told["graph"] == [
        [0.0, 0.0, 0.0],
        [0.0, 40.0, 40.0],
        [60.0, 40.0, 40.0],
        [60.0, 20.0, 20.0],
        [90.0, 20.0, 20.0],
    ]


def test_a_ramp_is_straight_and_what_is_given_on_it_goes_in_stairs():
    told, _ = data(Ramp(Target(40.0), 40.0), rounding=Rounding.AT_MOST)
    assert [c for c in told["graph"] if c[0] in (9.0, 10.0, 11.0)] == [[10.0, 10.0, 0.0], [10.0, 10.0, 10.0]]
    assert told["graph"][-1] == [40.0, 40.0, 40.0]
    for at_s, asked, given_kw in told["graph"]:
        assert asked == pytest.approx(at_s)
        assert given_kw in (0.0, 10.0, 20.0, 30.0, 40.0)


def test_targets_of_the_sources_total_leave_the_reserve_out():
    place = replace(PLACE, site_load_reserve_kw=30.0)
    told, _ = data(Block(Target(70.0)), Hold(10.0), place=place, load_is=LoadIs.SOURCE_TOTAL)
    assert (told["legs"][1]["target_kw"], told["legs"][1]["asked_kw"]) == (70.0, 40.0)
    assert told["graph"][-1] == [10.0, 40.0, 40.0]


def test_a_long_program_has_a_bounded_graph_with_its_extremes():
    told, _ = data(Repeat(300, (Ramp(Target(170.0), 60.0), Hold(60.0), Ramp(Target(0.0), 60.0))))
    corners = told["graph"]
    assert 100 < len(corners) <= MOST_CORNERS
    assert [c[0] for c in corners] == sorted(c[0] for c in corners)
    assert max(c[2] for c in corners) == 170.0
    assert min(c[2] for c in corners) == 0.0
    assert corners[-1][0] == 300 * 180.0
    assert len(told["legs"]) == 900


def test_findings_have_their_severity_line_and_leg():
    told, written = data(Block(Target(900.0)), Hold(60.0))
    refusals = [f for f in told["findings"] if f["severity"] == "refusal"]
    assert refusals
    assert {"severity", "text", "line", "leg"} == set(refusals[0])
    assert told["cautions"] == list(plan(PLACE, written).cautions)


CORNERS = st.lists(st.tuples(st.floats(0, 1e5), st.floats(0, 1e3), st.floats(0, 1e3)), max_size=3000)


@given(CORNERS, st.integers(4, 400))
def test_thinning_keeps_ends_extremes_and_order(corners, most):
    corners.sort(key=lambda c: c[0])
    kept = thinned(corners, most)
    assert len(kept) <= most or kept == corners
    assert len(corners) > most or kept == corners
    if corners:
        assert (kept[0], kept[-1]) == (corners[0], corners[-1])
        assert max(c[2] for c in kept) == max(c[2] for c in corners)
        assert min(c[2] for c in kept) == min(c[2] for c in corners)
    places = iter(corners)
    assert all(any(c == other for other in places) for c in kept), "a part of them, in their order"


@given(CORNERS, st.integers(4, 400))
def test_thinning_keeps_both_ends_of_a_level_that_lasts(corners, most):
    corners.sort(key=lambda c: c[0])
    kept = set(thinned(corners, most))
    if corners:
        lasting_s = 1.001 * (corners[-1][0] - corners[0][0]) / (most // 4)
        for before, after in pairwise(corners):
            if after[0] - before[0] > lasting_s:
                assert {before, after} <= kept


def test_a_long_test_with_many_stairs_is_drawn_level_where_it_holds():
    ramps = (Ramp(Target(8.0 + 10 * (n % 15)), 100.0) for n in range(40))
    segments = [s for ramp in ramps for s in (ramp, Hold(900.0))]
    written = replace(program(*segments), load_is=LoadIs.SOURCE_TOTAL, site_load_off=True)
    place = replace(PLACE, site_load_reserve_kw=30.0)
    planned = plan(place, written)
    corners = graph(planned, place, written)
    assert len(corners) <= MOST_CORNERS
    for leg in planned.legs:
        if leg.kind is LegKind.HOLD:
            middle_s = 0.5 * (leg.start_s + leg.end_s)
            before = max(c for c in corners if c[0] <= middle_s)
            after = min(c for c in corners if c[0] >= middle_s)
            level = pytest.approx((leg.asked_kw, leg.level.given_kw))
            assert before[1:] == level
            assert after[1:] == level


def test_a_graph_of_a_plan_without_load_is_flat():
    written = program(Hold(10.0))
    assert graph(plan(PLACE, written), PLACE, written)[-1] == (10.0, 0.0, 0.0)


def test_readings_that_a_person_will_be_asked_for_are_told_by_name():
    told, _ = data(Hold(10.0), readings=("oil_kpa", "coolant_c"))
    assert told["readings"] == ["oil_kpa", "coolant_c"]
    assert data(Hold(10.0))[0]["readings"] == []
