"""Figures that are encoded in one go read as they do one by one."""

from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.registers import Kind, Order, Point, Space
from simulator.encode import encoder
from simulator.meter import FIGURES
from simulator.runs import Figure, runs

NUMBERS = [k for k in Kind if k not in (Kind.BIT, Kind.TEXT)]
FEW = st.none() | st.floats(-4e4, 7e4) | st.sampled_from([0.0, -0.0, 32767.0, 65535.0, 65534.5, 65536.0, -32768.0])


@st.composite
def maps(draw) -> list[Figure]:
    """Points with holes between some of them, in any order and type."""
    figures: list[Figure] = []
    address = draw(st.integers(0, 5))
    for name in draw(st.permutations(FIGURES))[: draw(st.integers(1, len(FIGURES)))]:
        kind = draw(st.sampled_from(NUMBERS))
        missing = draw(st.sampled_from([(), ((0xFFFF,) * kind.words,), ((0x7FFF,) + (0xFFFF,) * (kind.words - 1),)]))
        point = Point(
            name,
            Space.INPUT,
            address,
            kind,
            draw(st.sampled_from(Order)),
            scale=draw(st.sampled_from([1.0, 0.1, 0.01, -1.0])),
            offset=draw(st.sampled_from([0.0, -40.0])),
            missing=missing,
        )
        divisor, power = draw(st.sampled_from([1.0, 200.0])), draw(st.integers(-2, 2))
        figures.append(Figure(point, FIGURES.index(name), divisor, power))
        address = point.end + draw(st.sampled_from([0, 0, 0, 3]))
    return figures


@settings(max_examples=150, deadline=None)
@given(maps(), st.data())
def test_a_run_holds_what_each_point_alone_would(figures, data):
    values = tuple(data.draw(FEW) for _ in FIGURES)
    whole: dict[int, bytes] = {}
    for run in runs(figures):
        raw = run.encode(values)
        assert len(raw) == 2 * (run.end - run.first)
        whole.update({run.first + i: raw[2 * i : 2 * i + 2] for i in range(run.end - run.first)})
    for figure in figures:
        point, value = figure.point, values[figure.index]
        alone = encoder(point, figure.power_of_ten)(None if value is None else value / figure.divisor)
        assert b"".join(whole[a] for a in range(point.address, point.end)) == alone, point


def test_neighbours_of_one_kind_are_one_run():
    floats = [Point(n, Space.INPUT, 2 * i, Kind.FLOAT32, Order.CDAB) for i, n in enumerate(FIGURES)]
    assert len(runs([Figure(p, i) for i, p in enumerate(floats)])) == 1
