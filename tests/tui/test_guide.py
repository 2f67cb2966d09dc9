"""Help: every key from the table that binds them, the drop first, what shapes and marks mean, no safety device."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.unit_condition import CONDITIONS
from benchctl.tui.keys import KEYS, Key
from benchctl.tui.view import alarms, chain, guide
from benchctl.tui.view.picture import Page, Picture
from benchctl.tui.view.text import plain
from benchctl.tui.view.whole import draw
from tests.tui.pictures import exact, page_text, picture


def whole(p: Picture | None = None, width: int = 80) -> str:
    """The page however long it is."""
    return "\n".join(plain(line).rstrip() for line in guide.lines(p or picture(Page.HELP), width))


def test_every_action_of_the_key_table_stands_in_one_group():
    grouped = [action for _, actions in guide.GROUPS for action in actions]
    assert sorted(grouped) == sorted({key.action for key in KEYS})


@pytest.mark.parametrize("width", [80, 120, 200])
@pytest.mark.parametrize("key", KEYS, ids=lambda key: key.action)
def test_every_key_is_told_with_its_word(key: Key, width):
    assert f"{guide.shown(key)} " in whole(width=width)
    assert re.search(rf"{re.escape(guide.shown(key))} +{re.escape(key.word)} ", whole(width=width))


def test_what_every_key_does_is_told_uncut():
    text = " ".join(whole().split())
    for key in KEYS:
        assert key.says in text


def test_keys_are_called_as_they_stand_on_a_keyboard():
    names = {name for key in KEYS for name in key.keys}
    assert {"^O", "F9", "+", "?", "[", "esc", "←", "pgup"} <= {guide._name(name) for name in names}
    assert not any("_" in guide._name(name) or "ctrl" in guide._name(name) for name in names)


@pytest.mark.parametrize("width", [80, 120, 200])
def test_the_drop_is_the_first_and_the_warning_stands_beside_it(width):
    top = page_text(picture(Page.HELP), width, 24).splitlines()
    assert "^O F9" in top[1]
    assert "no safety device" in " ".join(top[2:7])


def test_every_shape_is_told_with_its_word_and_meaning():
    text = whole()
    for condition in CONDITIONS:
        assert re.search(
            rf"{re.escape(chain.SHAPES[condition.word][0])} {condition.word} +{re.escape(condition.says)}", text
        )
    for word, says in alarms.SAYS.items():
        assert re.search(rf"{re.escape(alarms.SHAPES[word][0])} {word} +{re.escape(says)}", text)


def test_with_plain_glyphs_the_shapes_are_those_that_are_shown():
    p = picture(Page.HELP)
    p.glyphs = "ascii"
    assert "# loaded" in whole(p)
    assert "■" not in whole(p)


def test_first_steps_fit_on_eight_lines_and_name_keys_that_there_are():
    assert len(guide.FIRST_STEPS) == 8
    shown = {name for key in KEYS for name in (key.shown, *map(guide._name, key.keys))}
    assert {step[:2].strip() for step in guide.FIRST_STEPS[1:]} <= shown


def test_no_color_and_the_meaning_of_colours_are_told():
    text = " ".join(whole().split())
    assert "NO_COLOR" in text
    assert "IEC 60073" in text


@settings(max_examples=40)
@given(st.integers(40, 210), st.integers(8, 60), st.integers(0, 400))
def test_the_page_fills_every_window_and_can_be_scrolled_to_its_end(width, height, scroll):
    p = picture(Page.HELP)
    p.cursor.scroll = scroll
    exact(draw(p, width, height), width, height)
    p.cursor.scroll = guide.furthest(p, width, height)
    end = guide.draw(p, width, height)
    p.cursor.scroll += 1
    assert guide.draw(p, width, height) == end
    assert plain(guide.lines(p, width)[-1]) in {plain(line) for line in end}
