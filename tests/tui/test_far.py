"""The page for across the bench: large figures, never cut; old ones hatched or struck; missing ones a dash."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.tui.view import far
from benchctl.tui.view.figures import SHORT, TALL, rows, short, tall
from benchctl.tui.view.figures import width as wide
from benchctl.tui.view.picture import Page, Picture
from benchctl.tui.view.text import Mark, plain
from benchctl.tui.view.whole import draw
from tests.tui.pictures import as_it_was, exact, leg, picture, screen, source

MODES = ("idle", "checks", "running", "unloading", "cooling down", "done")


def running(**given) -> Picture:
    return picture(Page.FAR, **{"mode": "running", "program": "stairs", "leg": leg(), "program_to_go_s": 754.0} | given)


def large(text: str, shown: Picture, width: int = 80, height: int = 24) -> bool:
    """True when the page shows this figure large, in some size."""
    page = screen(shown, width, height)
    lines = page.splitlines()
    for size in far.FIGURES:
        drawn = tall(text, size, ascii_only=shown.glyphs == "ascii", old=False)
        heads = [y for y, line in enumerate(lines) if drawn[0].rstrip() and drawn[0].rstrip() in line]
        if any(all(row.rstrip() in lines[y + i] for i, row in enumerate(drawn) if y + i < len(lines)) for y in heads):
            return True
    return False


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
def test_the_layout(size):
    name = f"far-{size[0]}x{size[1]}.txt"
    as_it_was(screen(running(), *size), name)


def test_the_layout_of_what_is_not_of_now():
    shown = running()
    shown.quiet_s = 12.0
    as_it_was(screen(shown), "far-old-80x24.txt")


def test_the_layout_in_ascii():
    shown = running()
    shown.glyphs = "ascii"
    text = screen(shown)
    as_it_was(text, "far-ascii-80x24.txt")


@pytest.mark.parametrize("glyphs", ["full", "ascii"])
@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
def test_kw_and_hertz_are_large_at_every_usual_size(size, glyphs):
    shown = running()
    shown.glyphs = glyphs
    assert large("299.6", shown, *size)
    assert large("49.98", shown, *size)


def test_at_80_by_24_figures_have_seven_rows_and_words_five():
    """Legible from three metres: rows of about 4 mm, letters of 3 mm for each metre (common practice, no source)."""
    said = far._said(running())
    fit = next(f for f in far._fits(said, 80, 20) if f.words is not None)
    assert rows(TALL, fit.figures) >= 7
    assert fit.words is not None
    assert rows(SHORT, fit.words) >= 5


def test_time_and_state_are_words_of_the_page():
    said = far._said(running())
    assert (said.time, said.caption, said.word) == ("12:34", "to go", "RUNNING")
    said = far._said(picture(Page.FAR, mode="cooling down", cool_down_s=65.0))
    assert (said.time, said.caption, said.word) == ("1:05", "cool-down", "COOLING DOWN")


def test_old_figures_are_hatched_and_the_word_says_so():
    shown = running()
    shown.quiet_s = 12.0
    figures = [plain(line) for line in draw(shown, 80, 24)[2:16]]
    assert not any("██" in line[:52] for line in figures)
    assert sum("▀▄" in line for line in figures) > 10
    assert far._said(shown).word == "NOT LIVE"
    assert far._said(shown).time == "0:12"
    assert not large("299.6", shown)


def test_old_figures_that_are_too_small_for_hatching_are_struck():
    drawn = tall("299.6", (1, 2), ascii_only=False, old=True)
    assert set(drawn[len(drawn) // 2]) == {"━"}
    drawn = tall("299.6", (1, 1), ascii_only=True, old=True)
    assert any(set(row) == {"-"} for row in drawn)


def test_only_hertz_are_struck_when_only_the_meter_is_frozen():
    shown = running(source=source(frozen=True))
    assert large("299.6", shown)
    assert not large("49.98", shown)


def test_what_is_missing_is_a_dash():
    said = far._said(running(delivered_kw=None, source=source(hertz=None)))
    assert said.kw.strip() == "—"
    assert said.hertz.strip() == "—"
    assert far._said(picture(Page.FAR, loaded=False, cool_down_s=0.0)).time == "—"


def test_a_lost_run_host_is_the_word():
    shown = running()
    shown.lost = "the connection to the run host is lost"
    assert far._said(shown).word == "NO RUN HOST"


def test_the_size_stays_while_a_figure_loses_a_place():
    """99.9 after 100.0 does not make the page jump."""
    sizes = [next(far._fits(far._said(running(delivered_kw=kw)), 80, 20)).figures for kw in (5.0, 99.9, 100.0, 499.9)]
    assert len(set(sizes)) == 1


def test_only_plain_and_strong_are_used():
    marks = {mark for line in far.draw(running(), 80, 20) for text, mark in line if text.strip()}
    assert marks == {Mark.PLAIN, Mark.STRONG}


@pytest.mark.parametrize("font", [TALL, SHORT], ids=["tall", "short"])
def test_no_two_drawings_are_alike_and_all_have_one_height(font):
    same_by_habit = {("0", "O"), ("5", "S"), ("D", "O"), ("B", "8"), ("1", "I"), ("2", "Z")}
    drawings: dict[tuple[str, ...], str] = {}
    for character, drawing in font.items():
        assert len(drawing) == len(font[" "])
        assert len({len(row) for row in drawing}) == 1
        other = drawings.setdefault(drawing, character)
        assert other == character or tuple(sorted((other, character))) in same_by_habit, (other, character)


def test_every_state_and_time_can_be_drawn():
    words = [*(mode.upper() for mode in MODES), "LOAD BY HAND", "ALL LOAD OFF", "DROPPING", "TRIPPED", "HELD", "PAUSED"]
    words += ["NO RUN HOST", "RUN HOST FAILED", "STARTING", "NOT LIVE", "0123456789:", "—"]
    assert {c for word in words for c in word} <= set(SHORT)
    assert set("0123456789.-—# ") <= set(TALL)


@settings(max_examples=60)
@given(st.text(max_size=12), st.sampled_from(far.FIGURES), st.booleans(), st.booleans())
def test_a_drawing_has_the_cells_that_it_says(text, size, ascii_only, old):
    for font, drawn in ((TALL, tall), (SHORT, short)):
        made = drawn(text, size, ascii_only=ascii_only, old=old)
        assert len(made) == rows(font, size)
        assert {len(row) for row in made} == {wide(text, font, size)}


wild = st.one_of(st.none(), st.floats(allow_nan=True), st.sampled_from([-1e300, 1e300, 123456789.5, -0.04]))


@settings(max_examples=100)
@given(st.integers(0, 220), st.integers(0, 70), wild, wild, st.sampled_from(MODES), st.floats(0.0, 1e5), st.booleans())
def test_anything_fills_any_window_exactly_and_no_figure_is_cut(width, height, kw, hertz, mode, to_go_s, old):
    shown = running(delivered_kw=kw, source=source(hertz=hertz), mode=mode, program_to_go_s=to_go_s)
    shown.quiet_s = 100.0 if old else 0.1
    exact(draw(shown, width, height), width, height if width else 0)
    said = far._said(shown)
    for fit in far._fits(said, width, height):
        least = wide(said.kw, TALL, fit.figures) + far.MARGIN
        assert least <= width
