"""The page of trends: as many panels as fit, the newest values beside them, those at the cursor, gaps and limits."""

import dataclasses
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.tui.view import trends
from benchctl.tui.view.picture import Page, Picture
from benchctl.tui.view.text import Mark, plain
from benchctl.tui.view.whole import draw
from tests.tui.pictures import as_it_was, exact, picture, scan, screen, source


def ten_minutes(**scanned) -> Picture:
    """Ten minutes: a ramp to 300 kW in five, then level; a dip of volts and hertz at 400 s; the meter gone at 500 s."""
    shown = picture(Page.TRENDS, **scanned)
    shown.place = dataclasses.replace(
        shown.place, limits={"volts_warn_percent": 1.0, "hertz_warn_percent": 2.0, "over_current_percent": 110.0}
    )
    for at_s in range(601):
        kw = min(300.0, float(at_s))
        dip = 6.0 if 400 <= at_s < 404 else 0.0
        told = source(
            volts_v=400.0 - dip, hertz=50.0 - dip / 10.0, power_kw=kw + 12.0, amps=(kw * 1.44, kw * 1.43, kw * 1.4)
        )
        gone = source(volts_v=None, hertz=None, power_kw=None, amps=(None,) * 3, site_kw=None)
        lost = 500 <= at_s < 540
        shown.traces.feed(
            scan(
                now_s=float(at_s), target_kw=kw, delivered_kw=None if lost else kw - 1.0, read_back_kw=kw,
                source=gone if lost else told,
            )
        )  # fmt: skip
    return shown


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
def test_the_layout(size):
    name = f"trends-{size[0]}x{size[1]}.txt"
    as_it_was(screen(ten_minutes(), *size), name)


def test_the_layout_in_ascii_with_a_cursor():
    shown = ten_minutes()
    shown.cursor.ago_s, shown.glyphs = 200.0, "ascii"
    text = screen(shown, 80, 24)
    as_it_was(text, "trends-ascii-80x24.txt")


@pytest.mark.parametrize(("size", "count"), [((80, 24), 4), ((120, 40), 6), ((160, 24), 6), ((200, 60), 6)])
def test_as_many_panels_as_have_four_rows(size, count):
    text = screen(ten_minutes(), *size)
    assert sum(f"{panel.title} {panel.unit}" in text for panel in trends.PANELS) == count


def test_panels_that_have_no_room_are_scrolled_to():
    shown = ten_minutes()
    assert "2 more panels" in screen(shown)
    assert "EXHAUST" not in screen(shown)
    shown.cursor.scroll = trends.furthest(shown, 80, 20)
    assert shown.cursor.scroll == 2
    assert "EXHAUST" in screen(shown)
    assert "SOURCE kW" in screen(shown)
    shown.cursor.scroll = 1000
    assert "SOURCE kW" in screen(shown)


def side(text: str, name: str) -> str:
    return next(line for line in text.splitlines() if f" {name} " in line).split(f" {name} ")[1].strip()


def test_the_newest_values_stand_beside_their_panel():
    text = screen(ten_minutes())
    assert side(text, "delivered") == "299.0"
    assert side(text, "mean") == "400.0"
    assert side(text, "source") == "50.00"
    assert side(text, "B") == "429"


def test_old_values_never_look_live():
    shown = ten_minutes()
    shown.quiet_s = 12.0
    assert side(screen(shown), "delivered") == "(299.0)"
    marks = {mark for line in draw(shown, 80, 24) for text, mark in line if "(299.0)" in text}
    assert marks == {Mark.OLD}


def test_what_is_missing_is_a_dash_beside_and_a_gap_in_the_graph():
    shown = ten_minutes()
    shown.traces.feed(scan(now_s=601.0, delivered_kw=None))
    assert side(screen(shown), "delivered") == "—"
    shown.cursor.span_s = 120.0
    volts = [line for line in screen(shown, 200, 60).splitlines() if "VOLTS" in line]
    assert volts


def test_the_cursor_shows_what_was_then():
    shown = ten_minutes()
    shown.cursor.ago_s = 450.0  # at 150 s
    text = screen(shown)
    assert "cursor 7:30 ago" in text
    assert side(text, "delivered") == "149.0"
    assert side(text, "target") == "150.0"
    shown.cursor.ago_s = 80.0  # at 520 s: the meter was gone
    assert side(screen(shown), "mean") == "—"
    wide = side(screen(shown, 120, 40), "mean").split()
    assert wide == ["400.0", "—"], "where there is room: now, and then"


def test_the_cursor_is_a_line_at_its_time():
    shown = ten_minutes()
    shown.cursor.ago_s = 300.0
    columns = {
        sum(len(t) for t, _ in line[:i])
        for line in draw(shown, 80, 24)[3:21]
        for i, (text, mark) in enumerate(line)
        if mark is Mark.STRONG and text == "│"
    }
    assert len(columns) == 1
    graph = 80 - 6 - trends.BEFORE - trends.SPREAD
    assert columns.pop() == pytest.approx(6 + graph / 2, abs=2)


def test_limits_are_drawn_where_the_values_come_near():
    text = screen(ten_minutes(), 120, 40)
    volts = text[text.index("VOLTS") : text.index("HERTZ")]
    assert "╌ warning ╌" in volts


def test_a_dip_of_four_seconds_is_seen_in_ten_minutes_and_in_a_day():
    for span_s in (600.0, 86400.0):
        shown = ten_minutes()
        shown.cursor.span_s = span_s
        window = trends.Window.of(shown, 60)
        found = shown.traces.of("volts_v", window.from_s, window.to_s, 120)
        assert min(v[0] for v in found if v) == 394.0


def test_the_whole_run_is_as_long_as_what_is_remembered():
    shown = ten_minutes()
    shown.cursor.span_s = 0.0
    text = screen(shown)
    assert "the whole run" in text
    assert "╵-5 min" in text


def test_a_graph_does_not_move_within_a_column():
    """Ends lie on whole columns: two scans later the same columns show the same values."""
    shown = ten_minutes()
    shown.cursor.span_s = 3600.0
    before = trends.Window.of(shown, 60)
    shown.traces.feed(scan(now_s=601.0))
    assert trends.Window.of(shown, 60) == before


def test_before_the_first_scan_there_are_dashes():
    empty = Picture(starting="starting the run host")
    empty.cursor.page = Page.TRENDS
    text = screen(empty)
    assert side(text, "delivered") == "—"
    assert "╵-10 min" in text


def test_a_spread_is_never_cut():
    assert trends.spread((1.04, 1.04), 8, 1) == "     1.0"
    assert trends.spread((1.0, 123.4), 14, 1) == "  1.0 to 123.4"
    assert trends.spread((1.0, 123.4), 10, 1) == "  1 to 123"
    assert trends.spread((1.0, 123.4), 6, 1) == "######"
    assert trends.spread(None, 5, 1) == "    —"


wild = st.one_of(st.none(), st.floats(allow_nan=True), st.sampled_from([math.inf, -1e300, 1e300, -0.0]))


@settings(max_examples=50)
@given(
    st.integers(0, 220), st.integers(0, 70), st.lists(st.tuples(st.floats(0.0, 9e4), wild, wild), max_size=12),
    st.sampled_from([0.0, 60.0, 3600.0, 43200.0]), st.one_of(st.none(), st.floats(0.0, 1e6)), st.integers(0, 9),
    st.sampled_from(["full", "ascii"]),
)  # fmt: skip
def test_anything_fills_any_window_exactly(width, height, scans, span_s, ago_s, scroll, glyphs):
    shown = picture(Page.TRENDS, ceiling_kw=1e300)
    for at_s, kw, volts in scans:
        shown.traces.feed(scan(now_s=at_s, delivered_kw=kw, source=source(volts_v=volts)))
    shown.cursor.span_s, shown.cursor.ago_s, shown.cursor.scroll, shown.glyphs = span_s, ago_s, scroll, glyphs
    lines = draw(shown, width, height)
    exact(lines, width, height if width else 0)
    if glyphs == "ascii" and width >= 60:
        body = "".join(plain(line) for line in lines[3:-2])
        assert not any("⠀" <= c <= "⣿" for c in body)
