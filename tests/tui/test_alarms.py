"""The page of alarms: words of IEC 62682, first-out first, chatter folded, what to check and do, what was before."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.causes import BY_KEY, ROWS
from benchctl.core.profile import Reaction
from benchctl.core.shown import AlarmShown
from benchctl.tui.view import alarms
from benchctl.tui.view.picture import Page, Picture
from benchctl.tui.view.text import Mark, plain
from benchctl.tui.view.whole import draw, room
from tests.tui.pictures import alarm, as_it_was, exact, page_text, picture, scan, told


def several() -> Picture:
    """A trip, a chattering alarm, one that nobody has acknowledged, and their story."""
    p = picture(
        Page.ALARMS,
        alarms=(
            alarm("airflow lost", "bank 3", text="bank 3: airflow lost", reaction="unit_off", latched=True,
                  first_out=True),
            alarm(count=4, acknowledged=True),
            alarm("hertz off", "", text="hertz more than 2 % from rated", active=False),
            alarm("over-temperature", "bank 2", text="bank 2: exhaust too hot", reaction="unit_off", active=False,
                  acknowledged=True, latched=True),
        ),
    )  # fmt: skip
    p.story.add(told("alarm", "bank 3: airflow lost", 60.0, unit="bank 3", data={"row": "airflow lost"}))
    for i in range(6):
        row = {"row": "exhaust warm"}
        p.story.add(told("alarm", "bank 1: exhaust hotter than expected", 100.0 + 20 * i, unit="bank 1", data=row))
        p.story.add(told("returned to normal", "bank 1: exhaust hotter than expected", 110.0 + 20 * i, unit="bank 1"))
    p.story.add(told("command", "acknowledge exhaust warm", 300.0, unit="bank 1", who="operator"))
    row = {"row": "hertz off"}
    p.story.add(told("shelved", "hertz off: shelved for 600 s: set", 310.0, who="operator", data=row))
    p.story.add(told("unshelved", "hertz off: its time on the shelf is over", 910.0, data=row))
    return p


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_the_page_is_laid_out_as_it_was(size):
    name = f"alarms-{size[0]}x{size[1]}.txt"
    as_it_was(page_text(several(), *size), name)


@pytest.mark.parametrize(
    ("given", "word"),  # IEC 62682 (from memory): unacknowledged, acknowledged, returned unacknowledged, latched
    [
        ({}, "active"),
        ({"acknowledged": True}, "acknowledged"),
        ({"active": False}, "cleared"),
        ({"active": False, "latched": True}, "latched"),
        ({"active": False, "latched": True, "acknowledged": True}, "latched"),
        ({"latched": True}, "active"),
    ],
)
def test_each_state_has_its_word_and_its_shape(given, word):
    assert alarms.state(alarm(**given)) == word
    text = page_text(picture(Page.ALARMS, alarms=(alarm(**given),)))
    assert f" {word} " in text
    assert alarms.SHAPES[word][0] in text


def test_shelved_ones_stand_apart_with_who_why_and_how_long_and_are_not_counted_as_alarms():
    aside = {"shelved_s": 252.0, "shelved_by": "operator", "shelved_why": "known, the regulator is being set"}
    p = picture(
        Page.ALARMS,
        alarms=(alarm("volts off", "", text="volts off", **aside), alarm("hertz off", "", text="hertz off")),
    )
    text = page_text(p)
    assert text.splitlines()[0].split() == ["1", "alarm", "1", "not", "acknowledged", "1", "shelved"]
    assert text.index("hertz off") < text.index("\n shelved\n") < text.index("volts off")
    p.cursor.alarm = 1
    found = alarms.at_cursor(p)
    assert found is not None
    assert found.row == "volts off"
    assert "by operator, 4:12 left: known, the regulator is being set" in page_text(p)


def test_states_are_told_apart_without_colour():
    shapes = [shape for shape, _ in alarms.SHAPES.values()]
    assert len(set(shapes)) == len(shapes)
    assert len({alarms.PLAINER.get(s, s) for s in shapes}) == len(shapes)
    assert all(alarms.PLAINER.get(s, s).isascii() or s == "·" for s in shapes)


def test_every_reaction_is_told_in_words():
    assert set(alarms.DOES) >= {r.value for r in Reaction} - {"note"}


@pytest.mark.parametrize("row", [row.key for row in ROWS])
def test_whatever_the_cause_the_page_says_what_to_check_and_do(row):
    text = page_text(picture(Page.ALARMS, alarms=(alarm(row, "bank 1", text=f"bank 1: {row}"),)))
    assert BY_KEY[row].help in " ".join(text.split())


def test_a_fault_that_a_bank_reports_leads_to_its_own_panel():
    text = page_text(picture(Page.ALARMS, alarms=(alarm("reported: fan", text="bank 1: fan fault"),)))
    assert alarms.REPORTED in text


def test_H3_chatter_is_one_entry_with_its_count_its_first_and_its_last_time():
    p = several()
    p.cursor.alarm = 1
    text = page_text(p)
    assert text.count("exhaust hotter than expected") == 2  # the row, and what is said of it below
    # six times in all, four of them since the entry began: from the third on
    assert "first at 12:02:20, last at 12:03:20, 4 times" in text
    assert "12:02:20     4 bank 1" in text


def test_H5_of_alarms_that_came_in_one_scan_none_is_said_to_be_the_first():
    one: dict[str, Any] = {"row": "airflow lost", "first_out": True, "reaction": "unit_off"}
    both = alarm(unit="bank 1", **one), alarm(unit="bank 2", **one), alarm("hertz off", "")
    assert "it came in the first scan, with 1 other: in which order is not known" in page_text(
        picture(Page.ALARMS, alarms=both)
    )
    alone = page_text(picture(Page.ALARMS, alarms=(both[0], both[2])))
    assert "it came first" in alone
    assert "order is not known" not in alone


def test_what_the_story_does_not_reach_back_to_is_not_known():
    text = page_text(picture(Page.ALARMS, alarms=(alarm(count=3),)))
    assert " —            3 bank 1" in text


def test_a_time_of_yesterday_is_not_read_as_one_of_today():
    p = picture(Page.ALARMS, alarms=(alarm(),), wall_s=1_700_000_000.0 + 26 * 3600.0)
    p.story.add(told("alarm", "x", 0.0, unit="bank 1", data={"row": "exhaust warm"}))
    assert "26 h ago" in page_text(p)


def test_nothing_stands_is_said_calmly():
    lines = draw(picture(Page.ALARMS), 80, 24)
    assert "No alarm stands." in page_text(picture(Page.ALARMS))
    loud = {Mark.FAULTY, Mark.ABNORMAL, Mark.MANDATORY}
    assert not any(mark in loud for line in lines[2 : 2 + room(24)] for _, mark in line)


MANY = tuple(alarm("exhaust warm", f"bank {n}", text=f"no {n}.") for n in range(200))


@settings(max_examples=40)
@given(st.integers(0, 199), st.integers(8, 60), st.sampled_from([40, 80, 120, 200]))
def test_of_two_hundred_alarms_the_one_under_the_cursor_is_always_seen(cursor, height, width):
    p = picture(Page.ALARMS, alarms=MANY)
    p.cursor.alarm = cursor
    rows = [line for line in page_text(p, width, height).splitlines() if line.startswith(" >")]
    assert len(rows) == 1
    assert f"no {cursor}." in rows[0] or width < 60
    found = alarms.at_cursor(p)
    assert found is not None
    assert found.unit == f"bank {cursor}"


def keys() -> st.SearchStrategy[list[tuple[str, str]]]:
    return st.lists(st.tuples(st.sampled_from(["a", "b", "c"]), st.sampled_from(["", "bank 1", "bank 2"])), unique=True)


def named(found: list[tuple[str, str]]) -> tuple[AlarmShown, ...]:
    return tuple(alarm(row, unit) for row, unit in found)


@given(keys(), keys(), st.integers(0, 9))
def test_the_cursor_stays_on_its_alarm_when_others_come_and_go(before, after, cursor):
    old, new = scan(alarms=named(before)), scan(alarms=named(after))
    moved = alarms.followed(cursor, old, new)
    assert 0 <= moved < max(1, len(after))
    if before and before[min(cursor, len(before) - 1)] in after:
        assert after[moved] == before[min(cursor, len(before) - 1)]


def test_what_was_before_is_told_newest_first_with_who_did_it():
    p = several()
    p.cursor.history = True
    lines = page_text(p).splitlines()
    assert lines[2] == "  12:15:10  back                    hertz off: its time on the shelf is over"
    assert lines[3] == "  12:05:10  shelved                 hertz off: shelved for 600 s: set (operator)"
    assert lines[4] == "  12:05:00  acknowledged  bank 1    exhaust hotter than expected (operator)"
    assert lines[5] == "  12:03:30  cleared       bank 1    exhaust hotter than expected"
    assert lines[6] == "  12:03:20  raised        bank 1    exhaust hotter than expected"
    assert lines[-1] == "  12:01:00  raised        bank 3    airflow lost"


def test_what_was_before_can_be_scrolled_to_its_end_and_no_further():
    p = several()
    p.cursor.history = True
    p.cursor.scroll = alarms.furthest(p, 80, 8)
    end = alarms.draw(p, 80, 8)
    assert "12:01:00" in plain(end[-2])
    p.cursor.scroll += 50
    assert alarms.draw(p, 80, 8) == end
    assert alarms.furthest(p, 80, 40) == 0


@settings(max_examples=80)
@given(
    st.lists(st.builds(alarm, st.text(), st.text(max_size=30), text=st.text(), reaction=st.text(max_size=9),
                       count=st.integers(-1, 10**9), active=st.booleans(), acknowledged=st.booleans(),
                       latched=st.booleans(), first_out=st.booleans(), shelved_s=st.sampled_from([0.0, 7.0]),
                       shelved_by=st.text(max_size=9), shelved_why=st.text(max_size=90)), max_size=5),
    st.integers(40, 210), st.integers(8, 60), st.booleans(), st.sampled_from(["full", "ascii"]),
)  # fmt: skip
def test_whatever_an_alarm_says_the_window_is_filled_exactly(found, width, height, history, glyphs):
    p = picture(Page.ALARMS, alarms=tuple(found))
    p.glyphs, p.cursor.history = glyphs, history
    for a in found:
        p.story.add(told("alarm", a.text, 5.0, unit=a.unit, who=a.text, data={"row": a.row}))
        p.story.add(told("command", f"shelve {a.text}", 5.0, unit=a.unit, who=a.text))
    exact(draw(p, width, height), width, height)
