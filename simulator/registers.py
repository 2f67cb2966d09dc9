"""A device's registers: the truth encoded by its map, kept up to date only where something changed.

Points are grouped by how often they change; a group is encoded again when its key has changed. Reads outside
declared addresses are refused (exception 2), as is reading what can only be written; writes reach only points
that are ordered by the function the map names (exception 1 for another).
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from benchctl.core.registers import Kind, Point, RegisterMap, Space
from simulator.encode import Value, Words, decode, encoder
from simulator.wire import ILLEGAL_ADDRESS, ILLEGAL_FUNCTION, ILLEGAL_VALUE, Refusal

WRITE_ONLY = "watchdog_feed"
_SAME_FUNCTION = {22: 6, 23: 16}  # masked and combined writes count as these


@dataclass(frozen=True, slots=True)
class Cell:
    """One point with where its value comes from and, if it can be written, where it goes.

    Take raises Refusal.
    """

    point: Point
    get: Callable[[], Value]
    take: Callable[[float], None] | None = None
    power_of_ten: int = 0


@dataclass(frozen=True, slots=True)
class Group:
    """Cells that change together: they are encoded again when `key()` changes."""

    key: Callable[[], object]
    cells: tuple[Cell, ...]


class Registers:
    """The four spaces of one device."""

    def __init__(self, registers: RegisterMap, groups: Iterable[Group]) -> None:
        self._groups = [_Encoded(g) for g in groups]
        cells = [c for g in self._groups for c in g.cells]
        self._words: dict[Space, list[int | None]] = {}
        for space in Space:
            ends = [c.point.end for c in cells if c.point.space is space]
            ends += [s.last + 1 for s in registers.readable if s.space is space]
            self._words[space] = [None] * max(ends, default=0)
        for span in registers.readable:
            self._words[span.space][span.first:span.last + 1] = [0] * (span.last + 1 - span.first)
        for cell in cells:
            if cell.point.name != WRITE_ONLY:
                self._words[cell.point.space][cell.point.address:cell.point.end] = [0] * cell.point.words
        self._takers = [c for c in cells if c.take is not None]

    def refresh(self) -> None:
        """Encode what changed."""
        for group in self._groups:
            key = group.key()
            if key != group.last:
                group.last = key
                for cell, encode, spot in group.work:
                    value = cell.get()
                    if value != spot.value:
                        spot.value = value
                        encode(value, self._words[cell.point.space])

    def read(self, space: Space, first: int, count: int) -> list[int]:
        """Words or bits as they stand. Raises Refusal across a hole."""
        found = self._words[space][first:first + count]
        if len(found) != count or None in found:
            raise Refusal(ILLEGAL_ADDRESS)
        return found  # type: ignore[return-value]  # no None in it

    def write(self, space: Space, first: int, values: list[int], function: int) -> None:
        """Hand what was written to whoever takes it, all of it or nothing. Raises Refusal."""
        end = first + len(values)
        hit = [c for c in self._takers
               if c.point.space is space and c.point.address < end and first < c.point.end]
        covered = {a for c in hit for a in range(c.point.address, c.point.end)}
        if not hit or not set(range(first, end)) <= covered or not covered <= set(range(first, end)):
            raise Refusal(ILLEGAL_ADDRESS)
        function = _SAME_FUNCTION.get(function, function)
        work: list[tuple[Callable[[float], None], float]] = []
        for cell in hit:
            if function != cell.point.write_function and not (space is Space.HOLDING and cell.point.bit is not None):
                raise Refusal(ILLEGAL_FUNCTION)
            start = cell.point.address - first
            value = _written(cell.point, tuple(values[start:start + cell.point.words]))
            if value is None:
                raise Refusal(ILLEGAL_VALUE)
            if cell.take is not None:
                work.append((cell.take, value))
        for take, value in work:
            take(value)


def _written(point: Point, words: Words) -> float | None:
    if point.kind is Kind.BIT:
        bit = words[0] if point.space.bits else words[0] >> (point.bit or 0) & 1
        return float(bool(bit) != point.inverted)
    return decode(point, words)


class _Spot:
    """The value that a cell has encoded last."""

    __slots__ = ("value",)

    def __init__(self) -> None:
        self.value: Value | object = _Spot  # equal to no value


class _Encoded:
    """A group with its encoders."""

    def __init__(self, group: Group) -> None:
        self.key, self.cells = group.key, group.cells
        self.last: object = _Spot
        self.work = [(c, _putter(c), _Spot()) for c in group.cells if c.point.name != WRITE_ONLY]


def _putter(cell: Cell) -> Callable[[Value, list[int | None]], None]:
    """A function that puts a value into the words of its space."""
    point = cell.point
    first, end = point.address, point.end
    if point.kind is not Kind.BIT:
        encode = encoder(point, cell.power_of_ten)

        def put_words(value: Value, words: list[int | None]) -> None:
            words[first:end] = encode(value)

        return put_words
    if point.space.bits:
        def put_bit(value: Value, words: list[int | None]) -> None:
            words[first] = int(bool(value) != point.inverted)

        return put_bit
    mask = 1 << (point.bit or 0)

    def put_in_word(value: Value, words: list[int | None]) -> None:
        word = words[first] or 0
        words[first] = word | mask if bool(value) != point.inverted else word & ~mask

    return put_in_word
