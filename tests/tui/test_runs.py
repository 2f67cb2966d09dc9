"""The page of past runs: the newest first, one opened with what happened in it and its trend; broken ones in a line."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.tui.view import runs
from benchctl.tui.view.picture import Page, Picture
from benchctl.tui.view.text import plain
from benchctl.tui.view.whole import draw
from tests.tui.pictures import as_it_was, exact, page_text, picture

COLUMNS = ("now_s", "target_kw", "delivered_kw", "source_kw", "volts_v", "hertz", "hottest_c")


def run(number: int = 1, **given: Any) -> dict[str, Any]:
    """A row of the list."""
    usual: dict[str, Any] = {
        "run": f"northquay-ladder-20261125-09{number:02d}00", "kind": "rehearsal", "program": "ladder",
        "started": f"2026-11-25T09:{number:02d}:00.698978+00:00", "condition": "closed", "outcome": "completed",
        "peak_kw": 301.3, "sealed": True,
    }  # fmt: skip
    return usual | given


def opened(**given: Any) -> dict[str, Any]:
    """A run that has been opened: up to 300 kW for ten minutes, one alarm."""
    rows = tuple((100.0 + t, 300.0 if 60 <= t < 660 else 0.0, 0.5 * t if t < 600 else 0.0) for t in range(0, 721, 10))
    usual: dict[str, Any] = {
        "events": (
            ("09:01:00", 0.0, "command", "", "start", "operator"),
            ("09:06:00", 300.0, "alarm", "bank 1", "bank 1: airflow lost", ""),
            ("09:06:01", 301.0, "command", "bank 1", "acknowledge airflow lost", "operator"),
        ),
        "gaps": (), "left_out": 0, "took_s": 720.0,
        "trend": {"columns": COLUMNS, "rows": tuple((*row, None, None, 50.0, 60.0) for row in rows)},
    }  # fmt: skip
    return run() | usual | given


def listing(*rows: dict[str, Any]) -> Picture:
    p = picture(Page.RUNS)
    p.runs = rows
    return p


def one(**given: Any) -> Picture:
    p = listing(run())
    p.run, p.cursor.run_open = opened(**given), True
    return p


def several() -> Picture:
    broken = {"run": "northquay-ladder-20261001-080000", "fault": "record schema 1, expected 2"}
    by_hand = run(3, program="", kind="run", outcome="unloaded by the operator", sealed=False, peak_kw=None)
    p = listing(run(5, condition="being written", outcome=None, peak_kw=None, sealed=False), run(4), by_hand,
                run(2, condition="interrupted", outcome=None, sealed=False), broken)  # fmt: skip
    p.cursor.run = 2
    return p


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_the_list_is_laid_out_as_it_was(size):
    name = f"runs-{size[0]}x{size[1]}.txt"
    as_it_was(page_text(several(), *size), name)


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_an_open_run_is_laid_out_as_it_was(size):
    name = f"run-{size[0]}x{size[1]}.txt"
    as_it_was(page_text(one(), *size), name)


def test_a_record_that_cannot_be_read_says_why_in_its_line_and_in_full_below():
    p = several()
    p.cursor.run = 4
    text = page_text(p)
    assert "cannot be read: record schema 1" in text
    assert "record schema 1, expected 2" in text


def test_before_anything_is_recorded_the_page_says_where_records_will_be():
    p = listing()
    p.place = type(p.place)(runs="/srv/runs")
    assert "No run has been recorded yet." in page_text(p)
    assert "Records are kept in /srv/runs" in page_text(p)


def test_while_the_folder_is_read_the_page_says_so():
    p = listing()
    p.fetching = "reading the folder of runs"
    assert "reading the folder of runs" in page_text(p)


def test_a_run_that_cannot_be_opened_says_why():
    p = listing(run())
    p.run, p.cursor.run_open = {"run": "x", "fault": "scan 7: inputs are damaged"}, True
    assert "scan 7: inputs are damaged" in page_text(p)


def test_holes_in_a_record_and_events_that_are_left_out_are_told():
    text = page_text(one(gaps=("scans 3 to 9 are missing: disk full",), left_out=12), 80, 40)
    assert "record incomplete: scans 3 to 9 are missing: disk full" in text
    assert "12 more events are not shown here" in text


def test_without_a_trend_the_events_have_the_room():
    text = page_text(one(trend={"columns": (), "rows": ()}))
    assert "asked" not in text
    assert "airflow lost" in text


def test_the_trend_keeps_every_peak():
    """A single scan of 450 kW among thousands of 100 kW is seen."""
    rows = [(float(t), 100.0, 450.0 if t == 1234 else 100.0, None, None, None, None) for t in range(4000)]
    p = one(trend={"columns": COLUMNS, "rows": rows})
    high = max(v[1] for v in runs._ranges(rows, 0, 2, 140) if v is not None)
    assert high == 450.0
    assert "┤" in page_text(p)


def test_a_trend_with_values_missing_has_a_gap_there():
    rows = [(float(t), 100.0, None if 40 <= t < 60 else 100.0, None, None, None, None) for t in range(101)]
    values = runs._ranges(rows, 0, 2, 100)
    assert values[50] is None
    assert values[20] == values[80] == (100.0, 100.0)


@settings(max_examples=40)
@given(st.integers(0, 299), st.integers(8, 60), st.sampled_from([60, 80, 200]))
def test_the_run_under_the_cursor_is_always_seen(cursor, height, width):
    p = listing(*(run(n % 60, started=f"no {n}.") for n in range(300)))
    p.cursor.run = cursor
    assert f"> no {cursor}." in page_text(p, width, height)


def test_an_open_run_can_be_scrolled_to_its_end_and_no_further():
    p = one(events=tuple(("09:00:00", 1.0, "note", "", f"no {n}.", "") for n in range(90)))
    p.cursor.scroll = runs.furthest(p, 80, 20)
    end = runs.draw(p, 80, 20)
    assert runs.SEAL_CHECK in plain(end[-2])
    p.cursor.scroll += 50
    assert runs.draw(p, 80, 20) == end


Figure = st.none() | st.floats() | st.text(max_size=5)


@settings(max_examples=60)
@given(
    st.text(), Figure, st.lists(st.tuples(st.floats(0, 1e6), Figure, Figure), max_size=6),
    st.integers(40, 210), st.integers(8, 60), st.booleans(), st.sampled_from(["full", "ascii"]),
)  # fmt: skip
def test_whatever_a_record_says_the_window_is_filled_exactly(words, figure, points, width, height, is_open, glyphs):
    rows = tuple((*sorted_point, None, None, None, None) for sorted_point in sorted(points, key=lambda p: p[0]))
    row = run(run=words, program=words, outcome=words, started=words, peak_kw=figure)
    p = listing(row, run(run=words, fault=words))
    p.glyphs = glyphs
    p.run = opened(**row, took_s=figure, gaps=(words,), events=(("1", 0.0, words, words, words, words),),
                   trend={"columns": COLUMNS, "rows": rows})  # fmt: skip
    p.cursor.run_open = is_open
    exact(draw(p, width, height), width, height)
