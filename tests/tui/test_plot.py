"""Graphs: every value has its dot, a gap has none, ticks are round and never cut, traces differ without colour."""

import math
import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.tui.view.plot import BRAILLE, DOTS, Limit, Pen, Trace, Upright, dots, legend, plot
from benchctl.tui.view.rings import Range
from benchctl.tui.view.scale import Scale, round_step, spell, times
from benchctl.tui.view.text import Line, Mark, plain
from tests.tui.pictures import exact

figure = st.floats(-1e6, 1e6)
column = st.one_of(st.none(), st.tuples(figure, figure).map(lambda v: (min(v), max(v))))
anything = st.one_of(st.none(), st.tuples(*[st.floats(allow_nan=False)] * 2).map(lambda v: (min(v), max(v))))


def lit(lines: list[Line], gutter: int) -> set[tuple[int, int]]:
    """Dots that are set, as (column of dots, row of dots)."""
    found = set()
    for y, line in enumerate(lines):
        for x, character in enumerate(plain(line)[gutter:]):
            bits = ord(character) - BRAILLE if ord(character) >= BRAILLE else 0
            found |= {(2 * x + d, 4 * y + r) for r in range(4) for d in range(2) if bits & DOTS[r][d]}
    return found


def test_dots_are_those_of_the_standard():
    """Unicode names a braille pattern by its dots: 1, 2, 3, 7 down the left side and 4, 5, 6, 8 down the right."""
    numbers = ((1, 4), (2, 5), (3, 6), (7, 8))
    for row in range(4):
        for side in range(2):
            name = unicodedata.name(chr(BRAILLE + DOTS[row][side]))
            assert name == f"BRAILLE PATTERN DOTS-{numbers[row][side]}"


@settings(max_examples=60)
@given(st.lists(column, min_size=1, max_size=60), st.integers(2, 12), st.sampled_from([Pen.THIN, Pen.BOLD]))
def test_every_lowest_and_highest_has_its_dot_and_a_gap_has_none(values, height, pen):
    scale = Scale.over(values, height)
    lines = plot([Trace(values, pen)], scale, 30, height, gutter=8)
    found = lit(lines, 8)
    rows = 4 * height
    for x, value in enumerate(values):
        if value is None:
            assert not any(at == x for at, _ in found)
        else:
            assert {(x, scale.row(value[0], rows)), (x, scale.row(value[1], rows))} <= found


@given(st.lists(column, min_size=2, max_size=40), st.integers(2, 8))
def test_columns_side_by_side_are_joined(values, height):
    scale = Scale.over(values, height)
    found = lit(plot([Trace(values, Pen.THIN)], scale, 20, height, gutter=8), 8)
    for x in range(len(values) - 1):
        here, there = ({y for at, y in found if at == i} for i in (x, x + 1))
        if here and there:
            assert min(here) <= max(there) + 1
            assert max(here) >= min(there) - 1


@settings(max_examples=150)
@given(
    st.lists(st.tuples(st.lists(anything, max_size=50), st.sampled_from(Pen)), max_size=3),
    st.integers(0, 40),
    st.integers(1, 12),
    st.sampled_from(["full", "ascii"]),
    st.floats(-1e9, 1e9),
    st.integers(-3, 50),
)
def test_a_graph_of_anything_fills_its_room_exactly(traces, width, height, glyphs, limit, at):
    values: list[Range | None] = [v for of, _ in traces for v in of]
    scale = Scale.over(values, height)
    gutter = scale.gutter(height)
    drawn = plot(
        [Trace(of, pen) for of, pen in traces], scale, width, height, gutter=gutter, glyphs=glyphs,
        limits=[Limit(limit, "limit")], uprights=[Upright(at, Mark.CURSOR)],
    )  # fmt: skip
    exact(drawn, gutter + width, height)
    if glyphs == "ascii":
        assert all(plain(line).isascii() for line in drawn)


@given(st.floats(-1e15, 1e15), st.floats(-1e15, 1e15), st.integers(2, 40), st.booleans(), st.floats(0.01, 100.0))
def test_an_axis_holds_all_its_values_and_has_round_ticks_that_are_told_apart(low, high, rows, zero, least):
    low, high = min(low, high), max(low, high)
    scale = Scale.over([(low, high)], rows, least=least, zero=zero)
    slack = 1e-6 * (scale.high - scale.low) + 0.021 * max(0.0, high)
    assert scale.low <= low + slack
    assert scale.high >= high - slack
    mantissa = scale.step / 10.0 ** math.floor(math.log10(scale.step) + 1e-9)
    assert min(abs(mantissa - m) for m in (1.0, 2.0, 5.0)) < 1e-6
    labels = scale.labels(rows)
    assert len(labels) >= 2
    assert len(set(labels.values())) == len(labels)
    assert all(len(text) < scale.gutter(rows) for text in labels.values())
    for row, text in labels.items():
        assert scale.row(float(text), rows) == pytest.approx(row, abs=1)


@given(st.floats(1e-12, 1e12))
def test_a_step_is_the_next_of_one_two_five(least):
    step = round_step(least)
    assert least <= step * (1.0 + 1e-9)
    assert step <= 2.5 * least * (1.0 + 1e-9)


def test_ticks_stand_where_their_values_are():
    lines = plot([], Scale(0.0, 400.0, 100.0), 10, 9, gutter=5)
    labels = {y: plain(line)[:4].strip() for y, line in enumerate(lines) if plain(line)[:4].strip()}
    assert labels == {0: "400", 2: "300", 4: "200", 6: "100", 8: "0"}


def test_traces_differ_without_colour():
    """Dotted has holes, thin has none, bold is twice as thick."""
    level: list[Range | None] = [(5.0, 5.0)] * 20
    drawn = {pen: lit(plot([Trace(level, pen)], Scale(0.0, 10.0, 5.0), 10, 5, gutter=0), 0) for pen in Pen}
    columns = {pen: {x for x, _ in found} for pen, found in drawn.items()}
    assert columns[Pen.DOTTED] < columns[Pen.THIN] == columns[Pen.BOLD] == set(range(20))
    assert len(drawn[Pen.BOLD]) == 2 * len(drawn[Pen.THIN])
    characters = {
        plain(plot([Trace(level, pen)], Scale(0.0, 10.0, 5.0), 10, 5, gutter=0, glyphs="ascii")[2]) for pen in Pen
    }
    assert characters == {"." * 10, "-" * 10, "#" * 10}
    assert len({pen.mark for pen in Pen}) == len(Pen)
    assert plain(legend([("asked", Pen.DOTTED), ("given", Pen.THIN)])) == "┈┈ asked   ── given   "


def test_the_measured_trace_lies_on_top():
    level: list[Range | None] = [(5.0, 5.0)] * 20
    row = plot([Trace(level, Pen.BOLD), Trace(level, Pen.DOTTED)], Scale(0.0, 10.0, 5.0), 10, 5, gutter=0)[2]
    assert {mark for text, mark in row if text.strip()} == {Mark.MEASURED}


def test_a_limit_is_named_where_it_lies_and_only_there():
    lines = plot([], Scale(0.0, 400.0, 100.0), 30, 9, gutter=5, limits=[Limit(300.0, "limit"), Limit(500.0, "off")])
    assert [y for y, line in enumerate(lines) if "╌" in plain(line)] == [2]
    assert "╌ limit ╌" in plain(lines[2])
    assert not any("off" in plain(line) for line in lines)


def test_a_line_for_now_is_upright_and_leaves_the_traces():
    level: list[Range | None] = [(5.0, 5.0)] * 20
    lines = plot([Trace(level, Pen.THIN)], Scale(0.0, 10.0, 5.0), 10, 5, gutter=0, uprights=[Upright(4, Mark.STRONG)])
    assert [plain(line)[4] for line in lines] == ["│", "│", "⠤", "│", "│"]


@pytest.mark.parametrize(
    ("span_s", "wide", "shown"),
    [
        (60.0, 60, {0: "╵-1 min", 30: "╵-30 s", 56: "now╵"}),
        (600.0, 60, {0: "╵-10 min", 12: "╵-8 min", 24: "╵-6 min", 36: "╵-4 min", 48: "╵-2 min", 56: "now╵"}),
        (43200.0, 60, {0: "╵-12 h", 20: "╵-8 h", 40: "╵-4 h", 56: "now╵"}),
    ],
)
def test_time_is_told_as_ago(span_s, wide, shown):
    text = plain(times(0.0, span_s, wide, ago=True))
    assert len(text) == wide
    for at, words in shown.items():
        assert text[at : at + len(words)] == words, text


def test_time_of_a_program_begins_with_it():
    assert plain(times(0.0, 720.0, 48, ago=False)) == "╵0 s                ╵5 min              ╵10 min "
    text = plain(times(0.0, 7200.0, 48, "ascii", ago=False))
    assert text.startswith("'0 s")
    assert "'1 h" in text
    assert text.index("'1 h") == 24
    assert text.isascii()


@given(st.floats(allow_nan=True), st.floats(allow_nan=True), st.integers(-2, 100), st.booleans())
def test_an_axis_of_time_is_exact_whatever_it_spans(from_s, to_s, width, ago):
    assert len(plain(times(from_s, to_s, width, ago=ago))) == max(0, width)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.0, "0 s"), (59.6, "1 min"), (90.0, "1:30 min"), (3600.0, "1 h"), (5400.0, "1 h 30"), (86400.0, "1 d")],
)
def test_a_length_of_time_is_spelt(seconds, words):
    assert spell(seconds) == words


def test_columns_of_values_match_the_glyphs():
    assert dots(40, "full") == 80
    assert dots(40, "ascii") == 40
