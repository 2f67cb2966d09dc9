"""The page of the program: how to pick one, the plan, the checks as they fill in, where it is and what comes next."""

import dataclasses

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.controller.drawn import drawn
from benchctl.core.permissives import PERMISSIVES
from benchctl.files import read_program, read_site
from benchctl.planning.draw import plan as planned_for
from benchctl.tui.view import program
from benchctl.tui.view.course import moved, polyline
from benchctl.tui.view.picture import Page, Picture
from benchctl.tui.view.scale import Scale
from benchctl.tui.view.text import Mark, plain
from benchctl.tui.view.whole import draw
from tests.tui.pictures import as_it_was, exact, picture, prompt, screen, told
from tests.tui.running import planned, under_way

SHIPPED = ("blocks", "fine-steps", "ladder", "long-haul", "operator-walk")


def resting(**plan: object) -> Picture:
    shown = picture(Page.PROGRAM, loaded=False, off=True, program="stairs")
    shown.plan = planned(**plan)
    return shown


def checks(*answers: bool | None) -> Picture:
    filled = (*answers, *[True] * (len(PERMISSIVES) - len(answers)))
    rows = tuple((row.text, answer) for row, answer in zip(PERMISSIVES, filled, strict=True))
    return picture(Page.PROGRAM, mode="checks", program="stairs", permissives=rows)


def golden(shown: Picture, name: str, size: tuple[int, int]) -> None:
    as_it_was(screen(shown, *size), f"{name}-{size[0]}x{size[1]}.txt")


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
def test_the_layout_of_a_program_under_way(size):
    golden(under_way(345.0, 3), "program-running", size)


def test_the_layout_of_a_plan_before_it_is_started():
    golden(resting(warnings=["the last hold is short"]), "program-plan", (80, 24))


def test_the_layout_of_the_checks():
    shown = checks(True, None, False)
    shown.story.add(told("check", "bank 1 check load: pass, 40.1 kW of 40.0 kW expected", 3.0, data={"result": "pass"}))
    golden(shown, "program-checks", (80, 24))


def test_without_a_program_the_page_says_how_to_pick_one():
    text = screen(picture(Page.PROGRAM, program=""))
    assert "No program is chosen." in text
    assert "f  picks a program and shows its plan" in text
    assert "g  starts it through the checks" in text


@pytest.mark.parametrize("name", SHIPPED)
def test_the_plan_of_every_shipped_program_can_be_drawn_as_the_run_host_tells_it(name):
    site, _ = read_site("northquay")
    text, _ = read_program(name)
    made = planned_for(site, text)
    shown = picture(Page.PROGRAM, loaded=False)
    shown.plan = planned(name=name, length_s=made.totals.length_s, **drawn(made, site, text))
    for size in ((80, 24), (200, 60)):
        exact(draw(shown, *size), *size)
    last = made.legs[-1]
    assert f"{last.level.source_kw:.1f}" in screen(shown, 200, 90)


def test_the_graph_has_at_least_eight_rows_at_80_by_24():
    rows = [line for line in screen(under_way(345.0, 3)).splitlines() if line[3:5] in (" │", "0┤")]
    assert len(rows) >= 8


def test_a_row_of_the_table_says_when_how_long_what_is_asked_and_given():
    row = next(line for line in screen(resting()).splitlines() if "warming" in line).split()
    assert row == ["2", "hold:", "warming…", "1:00", "4:00", "100.0", "98.0", "below", "145.0", "144"]


def test_an_unknown_wait_is_told_by_its_longest():
    row = next(line for line in screen(resting(), 120, 40).splitlines() if "Any leak?" in line)
    assert "<5:00" in row


def test_a_refusal_comes_first_and_says_why():
    text = screen(resting(feasible=False, refusals=["28.4 kW are missing"], warnings=["the set may trip"]))
    assert "CANNOT BE RUN HERE" in text
    assert "1 refusal, 1 warning" in text
    assert text.index("REFUSED  28.4 kW are missing") < text.index("seg what")


def test_findings_mark_their_rows():
    found = [{"severity": "warning", "text": "the set may trip", "line": 12, "leg": 3}]
    row = next(line for line in screen(resting(findings=found)).splitlines() if "block" in line)
    assert row.startswith(" ▲ ")


def test_where_it_is_and_what_comes_next():
    text = screen(under_way(345.0, 3))
    assert " 4 of 6  hold at 200 kW" in text
    assert "0:45 in, 1:15 to go" in text
    assert "then a question: Any leak?" in text
    assert "program 5:45 in, 2:15 to go" in text
    row = next(line for line in text.splitlines() if line.startswith(">"))
    assert row.split()[1:3] == ["4", "hold"]


def test_the_end_is_told_as_such():
    assert "then the end: load off, cool-down" in screen(under_way(450.0, 5))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"held": "bank 2 is lost"}, "HELD: bank 2 is lost"),
        ({"paused": True}, "PAUSED: the load stays"),
        ({"waiting": True}, "waits until delivered kW are in the band"),
    ],
)
def test_why_it_does_not_go_on(given, said):
    assert said in screen(under_way(345.0, 3, **given))


@pytest.mark.parametrize(
    ("due_s", "said"),
    [(-5.0, "reading 3 is due since 0:05   v types it in"), (45.0, "reading 3 is due in 0:45"), (None, ""), (90.0, "")],
)
def test_a_reading_is_told_before_it_is_due_and_asked_for_when_it_is(due_s, said):
    text = screen(under_way(345.0, 3, reading_due_s=due_s, reading_number=3))
    assert said in text
    assert said or "reading 3" not in text


def test_it_waits_for_an_answer_or_the_supply():
    asked = under_way(420.0, 4, waiting=True, prompt=prompt())
    assert "waits for an answer" in screen(asked)
    gone = under_way(420.0, 4, waiting=True)
    assert "waits for the supply" in screen(gone)


def test_permissives_fill_in_with_a_shape_and_a_word_for_each_answer():
    lines = screen(checks(True, None, False)).splitlines()
    assert "before load: 12 of 14 hold" in lines[4]
    assert lines[5].startswith("  ■ yes somebody has taken charge")
    assert lines[6].startswith("  ○ ?   no trip is latched")
    assert lines[7].startswith("  ▲ NO  the record is being written")


def test_permissives_that_held_are_not_alarming_while_the_check_load_is_on():
    shown = checks(True, False)
    shown.story.add(told("command", "start", 1.0))
    shown.story.add(told("ready", "all permissives hold", 2.0))
    text = screen(shown)
    assert "before load: 14 of 14 held" in text
    assert "NO" not in text


def test_results_of_an_earlier_start_are_not_shown():
    shown = checks()
    shown.story.add(told("check", "bank 1 check load: fail, earlier", 1.0, data={"result": "fail"}))
    shown.story.add(told("command", "start", 2.0))
    shown.story.add(told("check", "bank 2 check load: pass, new", 3.0, data={"result": "pass"}))
    text = screen(shown)
    assert "check loads: 1 pass" in text
    assert "earlier" not in text


def test_a_program_that_began_before_this_console_says_how_to_see_its_plan():
    shown = under_way(345.0, 3)
    shown.plan = None
    assert "f and the same program again show its plan" in screen(shown)
    other = under_way(345.0, 3)
    other.plan = planned(name="another")
    assert "f and the same program again show its plan" in screen(other)


def test_the_table_follows_the_leg_and_can_be_scrolled():
    shown = under_way(450.0, 5)
    shown.plan = planned(legs=[{**row, "number": i + 1} for i, row in enumerate(planned()["legs"] * 5)])
    assert shown.now is not None
    assert shown.now.leg is not None
    shown.now = dataclasses.replace(shown.now, leg=dataclasses.replace(shown.now.leg, index=20, count=30))
    assert any(line.startswith(">") for line in screen(shown).splitlines())
    shown.cursor.scroll = 1
    assert not any(line.startswith(">") for line in screen(shown).splitlines())
    shown.cursor.scroll = 10_000
    assert "more below" not in screen(shown)
    assert program.furthest(shown, 80, 20) < 40


def test_after_the_run_what_was_delivered_stays():
    shown = under_way(345.0, 3)
    assert shown.now is not None
    shown.now = dataclasses.replace(shown.now, mode="done", leg=None, outcome="unloaded by operator")
    text = screen(shown)
    assert "unloaded by operator" in text
    row = next(line for line in draw(shown, 80, 24) if any(mark is Mark.MEASURED and "━" not in t for t, mark in line))
    assert plain(row).strip()


# -- the graph's arithmetic

CORNERS = [(0.0, 0.0, 0.0), (60.0, 100.0, 98.0), (300.0, 100.0, 98.0), (300.0, 200.0, 196.0), (420.0, 200.0, 196.0)]


def test_an_extended_hold_is_followed_later():
    """70 s over a hold of 240 s that was made 100 s longer: what was planned at 300 s begins at 400 s."""
    found = moved(CORNERS, now_s=370.0, planned_s=370.0, next_s=300.0, begins_s=400.0)
    assert found[-3:] == [(400.0, 100.0, 98.0), (400.0, 200.0, 196.0), (520.0, 200.0, 196.0)]
    assert (370.0, 100.0, 98.0) in found


def test_a_skipped_hold_is_followed_earlier():
    """At 100 s the rest of the first hold was left out: the program is where 300 s were planned."""
    found = moved(CORNERS, now_s=100.0, planned_s=300.0, next_s=420.0, begins_s=220.0)
    assert found == [
        (0.0, 0.0, 0.0), (60.0, 100.0, 98.0), (100.0, 100.0, 98.0), (100.0, 100.0, 98.0), (100.0, 200.0, 196.0),
        (220.0, 200.0, 196.0),
    ]  # fmt: skip


def test_on_time_nothing_moves():
    found = moved(CORNERS, now_s=200.0, planned_s=200.0, next_s=300.0, begins_s=300.0)
    assert [c for c in found if c[0] != 200.0] == CORNERS


steps = st.lists(st.tuples(st.floats(0.0, 50.0), st.floats(0.0, 500.0)), min_size=2, max_size=12)


@settings(max_examples=60)
@given(steps, st.integers(1, 120), st.lists(st.floats(0.0, 1.0), min_size=1, max_size=20))
def test_a_line_between_corners_is_in_every_column_that_it_crosses(moves, columns, places):
    at_s, corners = 0.0, []
    for length_s, kw in moves:
        corners.append((at_s, kw, 2.0 * kw))
        at_s += length_s
    end_s = max(1.0, corners[-1][0])
    found = polyline(corners, 2, end_s, columns)
    lowest, highest = min(c[2] for c in corners), max(c[2] for c in corners)
    for place in places:
        t = place * corners[-1][0]
        before = next(i for i in range(len(corners) - 1) if corners[i][0] <= t <= corners[i + 1][0])
        (s, _, a), (e, _, b) = corners[before], corners[before + 1]
        kw = a + (b - a) * (t - s) / (e - s) if e > s else a
        near = [found[max(0, min(columns - 1, int(t / end_s * columns + edge)))] for edge in (-1e-6, 0.0, 1e-6)]
        slack = 1e-6 * max(1.0, highest)
        assert any(v is not None and v[0] - slack <= kw <= v[1] + slack for v in near)
    assert all(v is None or lowest - 1e-6 <= v[0] <= v[1] <= highest + 1e-6 for v in found)


# -- any size, any values

wild = st.one_of(st.none(), st.floats(allow_nan=True), st.sampled_from([-1e300, 1e300, 123456789.123]))
words = st.text(max_size=30)


@settings(max_examples=60)
@given(
    st.integers(0, 220), st.integers(0, 70), words, wild, wild, st.integers(0, 50), st.sampled_from(["full", "ascii"])
)
def test_any_plan_fills_any_window_exactly(width, height, text, kw, to_go_s, scroll, glyphs):
    shown = under_way(30.0, 0, delivered_kw=kw, program_to_go_s=to_go_s, held=text, outcome=text)
    shown.plan = planned(warnings=[text, "the first"], refusals=[text], name="stairs")
    shown.plan["legs"][1]["label"] = shown.plan["legs"][1]["prompt"] = text
    shown.plan["legs"][1]["given_kw"] = kw
    shown.cursor.scroll, shown.glyphs = scroll, glyphs
    exact(draw(shown, width, height), width, height if width else 0)
    assert shown.now is not None
    shown.now = dataclasses.replace(shown.now, mode="checks", permissives=((text, None), (text, False)))
    shown.story.add(told("check", text, data={"result": text}))
    exact(draw(shown, width, height), width, height if width else 0)


def test_no_figure_of_the_table_is_cut():
    shown = resting()
    assert shown.plan is not None
    shown.plan["legs"][1]["given_kw"] = 123456789.0
    row = next(line for line in screen(shown).splitlines() if "warming" in line)
    assert "########" in row
    assert "12345" not in row
    assert Scale(0.0, 1.0, 0.5).label(0.5) == "0.5"
