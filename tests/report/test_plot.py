"""Graphs: nothing is lost by thinning, nothing is drawn where nothing is known, the picture is well-formed."""

import math
from array import array
from xml.etree import ElementTree as ET

from hypothesis import given
from hypothesis import strategies as st

from benchctl.report.plot import Band, Curve, Graph, Mark, Panel, draw, thinned, ticks, time_ticks

VALUES = st.lists(st.one_of(st.floats(-1e6, 1e6), st.just(math.nan)), min_size=1, max_size=400)


@given(VALUES, st.integers(1, 50))
def test_thinning_keeps_the_largest_and_the_smallest_and_invents_nothing(values, columns):
    t_s = [float(i) for i in range(len(values))]
    points = [p for piece in thinned(Curve("x", t_s, values), 0.0, len(values) - 1.0, columns) for p in piece]
    known = [(t, v) for t, v in zip(t_s, values, strict=True) if not math.isnan(v)]
    assert set(points) <= set(known)
    if known:
        assert max(v for _, v in points) == max(v for _, v in known)
        assert min(v for _, v in points) == min(v for _, v in known)
    assert points == sorted(points)


@given(VALUES)
def test_no_piece_of_a_line_goes_across_what_is_not_known(values):
    t_s = [float(i) for i in range(len(values))]
    holes = {t for t, v in zip(t_s, values, strict=True) if math.isnan(v)}
    for piece in thinned(Curve("x", t_s, values), 0.0, len(values) - 1.0, 7):
        assert not any(piece[0][0] < t < piece[-1][0] for t in holes)


def test_a_long_run_is_thinned_to_a_picture_of_bounded_size():
    t_s = array("d", (i / 2 for i in range(28_800)))
    values = array("d", (50.0 + math.sin(i) for i in range(28_800)))
    svg = draw(Graph((Panel("frequency", "Hz", (Curve("Hz", t_s, values),)),), 0.0, 14_400.0))
    assert len(svg) < 60_000


@given(st.floats(-1e5, 1e5), st.floats(1e-3, 1e5))
def test_ticks_are_within_the_range_and_not_too_many(low, span):
    found = ticks(low, low + span)
    assert len(found) <= 12
    assert all(low - span / 1e6 <= tick <= low + span * (1 + 1e-6) for tick in found)


def test_times_are_told_in_round_steps():
    assert time_ticks(0.0, 14_400.0) == [i * 1800.0 for i in range(9)]
    assert time_ticks(-3.0, 15.0)[0] == -2.0


def test_the_picture_is_well_formed_whatever_names_say():
    panel = Panel('<&"', "°C", (Curve("a<b", [0.0, 1.0], [1.0, 2.0]), Curve("c", [], [])))
    svg = draw(
        Graph((panel, Panel("empty", "V", ())), 0.0, 1.0, (Band(0.0, 1.0, "<1>"),), (Mark(0.5, "&"), Mark(0.51, "b")))
    )
    root = ET.fromstring(svg)  # noqa: S314 - our own
    texts = ["".join(t.itertext()) for t in root.iter("{http://www.w3.org/2000/svg}text")]
    assert '<&", °C' in texts
    assert "not measured" in texts
    assert "& b" in texts  # marks that stand too near are told as one
