"""What rule sets say of a plan and of a run: the worst first, each with its word and shape, every rule with why."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.assessment.verdict import Outcome
from benchctl.controller.drawn import promised
from benchctl.core.ruleset import Known
from benchctl.files import names, read_program, read_rule_set, read_site
from benchctl.planning.draw import plan as planned_for
from benchctl.planning.judged import Standing
from benchctl.tui.view import rules
from benchctl.tui.view.picture import Page, Picture
from benchctl.tui.view.text import Mark, plain
from benchctl.tui.view.whole import draw
from tests.tui.pictures import as_it_was, exact, page_text, picture, screen
from tests.tui.running import planned, under_way
from tests.tui.test_runs import one

SUM = {
    "name": "unbroken time", "value": 1812.5, "unit": "s", "low": 1810.0, "high": 1815.0, "formula": "last - first",
    "inputs": ({"name": "first", "value": 12.5, "unit": "s", "at_s": 12.5}, {"name": "band", "value": "none"}),
    "note": "samples each 0.5 s",
}  # fmt: skip


def rule(standing: str = "shown", **given: Any) -> dict[str, Any]:
    """A rule of an invented rule set."""
    usual: dict[str, Any] = {
        "key": "exercise", "criterion": "at least 30 % of nameplate kW for 30 min", "standing": standing,
        "why": "120.4 kW of 120 kW for 30 min 12 s", "clause": "8.4.2", "known": "quoted elsewhere", "source": "S3",
        "note": "", "from_s": 12.5, "to_s": 1825.0, "from_at": "09:00:12", "to_at": "09:30:25", "working": (SUM,),
    }  # fmt: skip
    return usual | {"standing": standing} | given


def told(standing: str = "shown", *rows: dict[str, Any], **given: Any) -> dict[str, Any]:
    """An invented rule set as it judges."""
    usual: dict[str, Any] = {
        "rule_set": "monthly", "title": "Monthly exercise", "document": "Our own", "edition": "2", "adopted": "",
        "standing": standing, "notes": ("the edition adopted at the site is not stated",),
        "rules": rows or (rule(standing),),
    }  # fmt: skip
    return usual | given


PROMISES = (
    told("not satisfied", rule("satisfied", working=(), from_at="", to_at=""),
         rule("not satisfied", key="rest", criterion="cools for 5 min", why="the program cools for 2 min", from_s=None),
         rule("for people", key="start", criterion="a cold start", why="", from_s=None)),
    told("cannot be shown", rule("cannot be shown", key="dip", why="a meter refreshed each second shows no 0.5 s"),
         rule_set="g2", title="Class G2"),
)  # fmt: skip
JUDGED: dict[str, Any] = {
    "condition": "closed", "sealed": True, "left_out": (),
    "sets": (told("not met", rule("shown"), rule("not met", key="rest", why="cooled for 2 min of 5 min")), told()),
}  # fmt: skip


def before(*sets: dict[str, Any], **scanned: Any) -> Picture:
    """A plan that is judged and not started yet."""
    p = picture(Page.PROGRAM, loaded=False, off=True, program="stairs", **scanned)
    p.plan = planned(verdicts=sets or PROMISES)
    return p


def after(**judged: Any) -> Picture:
    """A past run that is open and judged."""
    p = one()
    assert p.run is not None
    p.judged = {p.run["run"]: JUDGED | judged}
    return p


def test_every_word_of_planning_and_of_assessment_has_a_shape():
    words = {*(s.value for s in Standing), *(o.value for o in Outcome)}
    assert words == set(rules.STANDINGS)
    for shape, ascii_shape, _ in rules.STANDINGS.values():
        assert ascii_shape.isascii()
        assert len(shape) == len(ascii_shape) == 1


def test_bad_and_good_words_have_other_shapes_so_that_no_colour_is_needed():
    shapes = {word: shape for word, (shape, *_) in rules.STANDINGS.items()}
    assert len({shapes[w] for w in ("not met", "not demonstrated", "shown")}) == 3
    assert len({shapes[w] for w in ("not satisfied", "cannot be shown", "for people", "satisfied")}) == 4


def test_a_plan_has_a_line_for_each_rule_set_with_what_its_rules_come_to():
    as_it_was(screen(before()), "program-rule-sets-80x24.txt")
    text = page_text(before())
    assert "× not satisfied    monthly: 1 not satisfied, 1 for people, 1 satisfied" in text
    assert "? cannot be shown  g2: 1 cannot be shown" in text


def test_a_key_shows_every_rule_with_why_its_times_and_how_well_its_limit_is_known():
    p = before()
    p.cursor.rules = True
    as_it_was(screen(p), "program-rules-80x24.txt")
    text = " ".join(page_text(p, 80, 60).split())
    for words in (
        "Our own 2; adopted at the site: not stated",
        "× not satisfied rest: cools for 5 min the program cools for 2 min",
        "from 0:13 to 30:25",
        "limit quoted elsewhere; clause 8.4.2; S3",
        "a meter refreshed each second shows no 0.5 s",
    ):
        assert words in text


def test_the_worst_rule_set_is_the_first_and_many_are_counted():
    sets = [told("satisfied", rule_set=f"good {n}") for n in range(6)] + [told("not satisfied", rule_set="bad")]
    lines = [plain(line) for line in rules.brief(sets, 80, "full")]
    assert len(lines) == rules.FEW
    assert "bad" in lines[0]
    assert "and 4 more rule sets" in lines[-1]


def test_while_the_program_runs_the_rule_sets_are_one_key_away_and_take_no_room():
    p = before(mode="running")
    assert "monthly" in page_text(p)
    p = under_way(345.0, 3)
    p.plan = planned(verdicts=PROMISES)
    assert "monthly" not in page_text(p)
    p.cursor.rules = True
    assert "Monthly exercise" in page_text(p)


def test_a_run_that_has_ended_is_judged_on_the_programs_page_instead_of_its_plan():
    p = before(mode="done", outcome="completed")
    p.ended, p.judged = "run-1", {"run-1": JUDGED}
    text = page_text(p)
    assert "× not met          monthly: 1 not met, 1 shown" in text
    assert "not satisfied" not in text
    p.cursor.rules = True
    assert "Verdicts on run-1" in page_text(p)


def test_what_was_before_is_over_when_another_run_begins():
    p = before(mode="checks")
    p.ended, p.judged = "run-1", {"run-1": JUDGED}
    assert rules.ended(p) is None


def test_a_console_without_the_plan_shows_the_verdicts_all_the_same():
    p = picture(Page.PROGRAM, mode="done", program="", loaded=False)
    p.ended, p.judged = "run-1", {"run-1": JUDGED}
    text = page_text(p)
    assert "× not met" in text
    assert "No program is chosen." in text


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_an_open_run_has_its_verdicts_above_its_trend(size):
    as_it_was(page_text(after(), *size), f"run-judged-{size[0]}x{size[1]}.txt")


def test_the_rules_of_an_open_run_are_shown_with_and_without_their_working():
    p = after()
    p.cursor.rules = True
    as_it_was(page_text(p), "run-rules-80x24.txt")
    text = " ".join(page_text(p, 80, 90).split())
    assert "from 0:13 to 30:25 (09:00:12 to 09:30:25)" in text
    assert "last - first" not in text
    p.cursor.working = True
    text = " ".join(page_text(p, 80, 90).split())
    assert "= unbroken time 1812.5 s (between 1810 and 1815): last - first" in text
    assert "first: 12.5 s at 0:13 band: none samples each 0.5 s" in text
    assert "Acceptance is the authority's" in text


@pytest.mark.parametrize(
    ("judged", "words"),
    [
        ({"sealed": False}, "no seal: nothing proves that the record is as it was written"),
        ({"condition": "being written", "sealed": False}, "the record is still being written: what is not in it yet"),
        ({"condition": "interrupted"}, "the record has no end: what is not in it is not demonstrated"),
        ({"sets": ()}, "no rule set is named: j picks by which to judge"),
        ({"fault": "scan 7: inputs are damaged", "sets": ()}, "not judged: scan 7: inputs are damaged"),
        ({"state": "judging the record …"}, "judging the record …"),
    ],
)
def test_what_is_wrong_with_a_record_is_said_beside_its_verdicts(judged, words):
    p = after(**judged)
    assert words in " ".join(page_text(p, 120).split())
    p.cursor.rules = True
    assert words in " ".join(page_text(p, 120).split())


def test_a_run_that_goes_on_is_judged_only_when_asked_for():
    p = one(condition="being written", outcome=None, sealed=False)
    assert "it goes on: enter judges what is recorded so far" in page_text(p)


def test_captures_that_are_not_used_are_told():
    p = after(left_out=("capture x belongs to another record",))
    p.cursor.rules = True
    assert "capture x belongs to another record" in page_text(p)


def test_a_limit_says_how_well_it_is_known():
    for known in Known:
        assert rules.limit(rule(known=known.value)).startswith(known.value)


def test_not_met_is_loud_and_shown_is_not():
    (first, *_) = rules.brief(JUDGED["sets"], 80, "full")
    assert Mark.FAULTY in {mark for _, mark in first}
    assert {mark for _, mark in rules.brief([told()], 80, "full")[0]} <= {Mark.NORMAL, Mark.PLAIN}


@pytest.mark.parametrize("name", names("ruleset"))
def test_what_the_run_host_tells_of_every_shipped_rule_set_can_be_drawn(name):
    site, _ = read_site("northquay")
    program, _ = read_program("ladder")
    made = planned_for(site, program)
    p = before(*promised(made, site, program, [read_rule_set(name)[0]]))
    for is_open in (False, True):
        p.cursor.rules = is_open
        for size in ((80, 24), (200, 60)):
            exact(draw(p, *size), *size)
    p.cursor.scroll = 10**6
    assert rules.furthest(p, 80, 19) >= 0
    text = " ".join(page_text(p, 100, 400).split())
    for row in (p.plan or {})["verdicts"][0]["rules"]:
        assert " ".join(row["why"].split())[:40] in text


@settings(max_examples=60)
@given(
    st.text(), st.none() | st.floats(), st.integers(40, 210), st.integers(8, 60), st.booleans(), st.booleans(),
    st.sampled_from(["full", "ascii"]), st.sampled_from([*rules.STANDINGS, "what"]),
)  # fmt: skip
def test_whatever_is_told_the_window_is_filled(words, figure, width, height, is_open, working, glyphs, standing):
    one_sum = SUM | {"name": words, "value": figure, "unit": words, "formula": words, "note": words}
    row = rule(standing, key=words, criterion=words, why=words, note=words, from_s=figure, to_s=figure,
               working=(one_sum,))  # fmt: skip
    p = after(sets=(told(standing, row, rule_set=words, title=words, document=words, notes=(words,)),))
    p.cursor.rules, p.cursor.working, p.glyphs = is_open, working, glyphs
    exact(draw(p, width, height), width, height)
    p = before(*(p.judged or {"": JUDGED})[next(iter(p.judged))]["sets"])
    p.cursor.rules, p.glyphs = is_open, glyphs
    exact(draw(p, width, height), width, height)
