"""Figures are never cut, words never steer a terminal, lines are exactly as wide as asked."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from benchctl.tui.view.text import Mark, age, cells, clean, crop, ends, fit, length, minutes, number, plain, wrap

WORDS = st.text(max_size=40)
ANY = st.one_of(st.none(), st.floats(), st.floats(-1e6, 1e6), st.sampled_from([0.0, -0.04, 9998.3, 10000.1, 49.99]))


@given(WORDS, st.integers(0, 60), st.booleans())
def test_words_take_exactly_their_cells_and_cannot_steer_a_terminal(text, width, right):
    shown = fit(text, width, right=right)
    assert cells(shown) == width
    assert shown.isprintable() or shown == ""


@given(ANY, st.integers(1, 16), st.integers(0, 3), st.sampled_from(["", "kW", "°C", "%"]), st.booleans())
def test_a_figure_is_whole_or_it_says_that_it_has_no_room(value, width, decimals, unit, old):
    shown = number(value, width, decimals, unit, old=old)
    assert len(shown) == width
    digits = shown.replace(unit, "").strip() if unit else shown.strip()
    if value is None or not math.isfinite(value):
        assert "—" in shown or width < 2 + len(unit)
    elif "#" not in digits and digits:
        figure = digits.strip("()")
        if width >= len(unit) + 2 and not digits.startswith("#"):
            assert float(figure) == pytest.approx(value, abs=0.5000001)
            assert ("(" in digits) == old


def test_an_old_figure_stands_in_parentheses_and_a_missing_one_is_a_dash():
    assert number(298.64, 9, 1) == "    298.6"
    assert number(298.64, 9, 1, old=True) == "  (298.6)"
    assert number(None, 9, 1) == "        —"
    assert number(None, 9, 1, "kW") == "     — kW"
    assert number(0.0, 5, 1) == "  0.0"
    assert number(-0.04, 5, 1) == "  0.0"


def test_a_figure_without_room_loses_decimals_and_then_says_so():
    assert number(49.99, 4, 2) == "50.0"
    assert number(12345.6, 5, 1) == "12346"
    assert number(12345.6, 4, 1) == "####"


@pytest.mark.parametrize("evil", ["\x1b[31mred", "a\x07b", "left\u202eright", "\x9b2J", "line\nbreak", "tag\U000e0041"])
def test_what_steers_a_terminal_becomes_a_question_mark(evil):
    assert clean(evil).isprintable()
    assert "?" in clean(evil)


@given(st.text(max_size=20))
def test_cells_agree_with_the_terminal_library_for_what_is_shown(text):
    """Against rich's table of cell widths, for characters whose width Unicode does not leave open."""
    shown = clean(text)
    if all(ord(c) < 0x2E80 or 0x4E00 <= ord(c) <= 0x9FFF for c in shown):
        assert abs(cells(shown) - cell_len(shown)) <= sum(not c.isascii() for c in shown)
    if shown.isascii():
        assert cells(shown) == cell_len(shown)


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(None, "—"), (0.0, "0:00"), (6.2, "0:07"), (252.0, "4:12"), (7452.0, "2:04:12"), (-5.0, "0:00"), (math.inf, "—")],
)
def test_a_time_to_go_is_rounded_up(seconds, text):
    assert minutes(seconds) == text


@given(st.one_of(st.none(), st.floats(0.0, 1e9)))
def test_an_age_fits_into_six_cells(seconds):
    assert len(age(seconds)) <= 6


@given(st.lists(st.tuples(WORDS.map(clean), st.sampled_from(Mark)), max_size=6), st.integers(0, 60))
def test_a_line_is_cropped_to_its_cells(spans, width):
    assert length(crop(spans, width)) == width
    assert length(ends(spans, spans, width)) == width


@given(st.text(max_size=120), st.integers(4, 40))
def test_wrapped_words_are_no_wider_than_asked(text, width):
    assert all(cells(part) <= width for part in wrap(text, width))


def test_wrapping_loses_no_word():
    words = "cables, earthing and phase rotation were checked by a qualified person"
    assert " ".join(wrap(words, 20)) == words
    assert plain((("a", Mark.PLAIN), ("b", Mark.KEY))) == "ab"
