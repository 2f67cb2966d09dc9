"""A meter's figures to words, neighbours in one go: every one of them is new with each sample.

A run is points whose registers follow each other and that one `struct` can pack. Words are the same as those of
`encode.encoder`, point by point, which also does the runs in which a figure is absent.
"""

import struct
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from benchctl.core.registers import Kind, Order, Point
from simulator.encode import FORMATS, encoder, limits, turn
from simulator.meter import Figures

REALS = (Kind.FLOAT32, Kind.FLOAT64)


@dataclass(frozen=True, slots=True)
class Figure:
    """A point that shows a meter's figure: its place in `meter.FIGURES`, and what it is divided by before."""

    point: Point
    index: int
    divisor: float = 1.0
    power_of_ten: int = 0


@dataclass(frozen=True, slots=True)
class Run:
    """Registers first to end (exclusive) and the bytes that stand in them."""

    first: int
    end: int
    encode: Callable[[Figures], bytes]


def runs(figures: Iterable[Figure]) -> list[Run]:
    """Figures of one space as few runs."""
    made: list[list[Figure]] = []
    for figure in sorted(figures, key=lambda f: f.point.address):
        if made and _follows(made[-1][-1].point, figure.point):
            made[-1].append(figure)
        else:
            made.append([figure])
    return [Run(m[0].point.address, m[-1].point.end, _encoder(m)) for m in made]


def _follows(before: Point, point: Point) -> bool:
    """True where one format and one turning round does for both."""
    if before.end != point.address or (before.kind in REALS) != (point.kind in REALS):
        return False
    return before.order is point.order and (before.words == point.words or point.order is Order.ABCD)


def _encoder(run: list[Figure]) -> Callable[[Figures], bytes]:
    points = [f.point for f in run]
    singles = [(f.index, f.divisor, encoder(f.point, f.power_of_ten)) for f in run]
    pack = struct.Struct(">" + "".join([FORMATS[p.kind][1] for p in points])).pack
    turned = _turner(points[0])
    numbers = _reals(run) if points[0].kind in REALS else _wholes(run)

    def encode(figures: Figures) -> bytes:
        try:
            raw = pack(*numbers(figures))
        except TypeError:  # a figure is absent
            values = [(figures[i], divisor, single) for i, divisor, single in singles]
            return b"".join([single(None if v is None else v / divisor) for v, divisor, single in values])
        return raw if turned is None else turned(raw)

    return encode


def _reals(run: list[Figure]) -> Callable[[Figures], list[float]]:
    rows = [(f.index, f.divisor, f.point.offset, f.point.scale * 10.0**f.power_of_ten) for f in run]

    def numbers(figures: Figures) -> list[float]:
        return [(figures[i] / divisor - offset) / factor for i, divisor, offset, factor in rows]  # type: ignore[operator]

    return numbers


def _wholes(run: list[Figure]) -> Callable[[Figures], list[int]]:
    rows = [(f.index, f.divisor, f.point.offset, f.point.scale * 10.0**f.power_of_ten, *limits(f.point)) for f in run]

    def numbers(figures: Figures) -> list[int]:
        made = []
        for i, divisor, offset, factor, low, high in rows:
            number = round((figures[i] / divisor - offset) / factor)  # type: ignore[operator]
            if not low <= number <= high:
                number = low if number < low else high
            made.append(number)
        return made

    return numbers


def _turner(point: Point) -> Callable[[bytes], bytes] | None:
    """What brings values of that size from most significant byte first into the point's order; None = nothing."""
    size = 2 * point.words
    places = turn(bytes(range(size)), point.order)
    if places == bytes(range(size)):
        return None

    def turned(raw: bytes) -> bytes:
        out = bytearray(len(raw))
        for i, place in enumerate(places):
            out[i::size] = raw[place::size]
        return bytes(out)

    return turned
