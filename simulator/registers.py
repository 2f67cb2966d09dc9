"""A device's registers: the truth encoded by its map, kept up to date only where something changed.

Points are grouped by how often they change; a group is looked at again when its key has changed, and what has a
new value is encoded again. Registers stand as bytes, two each, as they go on the wire; replies to reads are kept
until something in their space changes. Reads outside
declared addresses are refused (exception 2), as is reading what can only be written; writes reach only points
that are ordered by the function the map names (exception 1 for another).
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from struct import unpack_from

from benchctl.core.registers import Kind, Point, RegisterMap, Space
from simulator.encode import Value, Words, decode, encoder
from simulator.wire import ILLEGAL_ADDRESS, ILLEGAL_FUNCTION, ILLEGAL_VALUE, READS, Refusal, answer

WRITE_ONLY = "watchdog_feed"
MOST_KEPT = 32  # replies of a space
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
        groups = tuple(groups)
        cells = [c for g in groups for c in g.cells]
        readable = [c for c in cells if c.point.name != WRITE_ONLY]
        self._spaces = {space: _Area(space, registers, [c.point for c in cells if c.point.space is space],
                                     [c.point for c in readable if c.point.space is space]) for space in Space}
        self._by_function = {f: self._spaces[space] for f, space in READS.items()}
        self._groups = [_Encoded(g, self._spaces) for g in groups]
        self._takers = [c for c in cells if c.take is not None]

    def refresh(self) -> None:
        """Encode what changed."""
        for group in self._groups:
            key = group.key()
            if key != group.last:
                group.last = key
                for spot in group.spots:
                    value = spot.get()
                    if value != spot.value:
                        spot.value = value
                        spot.put(value)
                        spot.kept.clear()

    def answer(self, pdu: bytes) -> bytes:
        """The reply to a request: a kept one if it asks for what has not changed since."""
        area = self._by_function.get(pdu[0])
        if area is None:
            return answer(pdu, self)
        reply = area.kept.get(pdu)
        if reply is None:
            reply = answer(pdu, self)
            if len(area.kept) < MOST_KEPT:
                area.kept[pdu] = reply
        return reply

    def read(self, space: Space, first: int, count: int) -> list[int]:
        """Words or bits as they stand. Raises Refusal across a hole."""
        area = self._spaces[space]
        known = area.known[first:first + count]
        if len(known) != count or 0 in known:
            raise Refusal(ILLEGAL_ADDRESS)
        if area.width == 1:
            return list(area.bytes[first:first + count])
        return list(unpack_from(f">{count}H", area.bytes, 2 * first))

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
        self.refresh()


def _written(point: Point, words: Words) -> float | None:
    if point.kind is Kind.BIT:
        bit = words[0] if point.space.bits else words[0] >> (point.bit or 0) & 1
        return float(bool(bit) != point.inverted)
    return decode(point, words)


class _Area:
    """One space: its registers (two bytes each) or bits (one byte each), which of them exist, and replies kept."""

    __slots__ = ("bytes", "kept", "known", "width")

    def __init__(self, space: Space, registers: RegisterMap, points: list[Point], readable: list[Point]) -> None:
        spans = [(s.first, s.last + 1) for s in registers.readable if s.space is space]
        spans += [(p.address, p.end) for p in readable]
        size = max([end for _, end in spans] + [p.end for p in points], default=0)
        self.width = 1 if space.bits else 2
        self.bytes, self.known = bytearray(self.width * size), bytearray(size)
        for first, end in spans:
            self.known[first:end] = b"\1" * (end - first)
        self.kept: dict[bytes, bytes] = {}


class _Spot:
    """Where a cell's value goes, and what it was last."""

    __slots__ = ("get", "kept", "put", "value")

    def __init__(self, cell: Cell, area: _Area) -> None:
        self.get, self.put, self.kept = cell.get, _putter(cell, area.bytes), area.kept
        self.value: Value | object = _Spot  # equal to no value


class _Encoded:
    """A group with its encoders."""

    __slots__ = ("key", "last", "spots")

    def __init__(self, group: Group, spaces: dict[Space, _Area]) -> None:
        self.key = group.key
        self.last: object = _Spot
        self.spots = [_Spot(c, spaces[c.point.space]) for c in group.cells if c.point.name != WRITE_ONLY]


def _putter(cell: Cell, area: bytearray) -> Callable[[Value], None]:
    """A function that puts a value into the bytes of its space."""
    point = cell.point
    if point.kind is not Kind.BIT:
        first, end, encode = 2 * point.address, 2 * point.end, encoder(point, cell.power_of_ten)

        def put_words(value: Value) -> None:
            area[first:end] = encode(value)

        return put_words
    # A bit of a register stands in its second byte, or from bit 8 on in its first.
    bit = point.bit or 0
    place = point.address if point.space.bits else 2 * point.address + (bit < 8)
    mask = 1 if point.space.bits else 1 << bit % 8

    def put_bit(value: Value) -> None:
        area[place] = area[place] | mask if bool(value) != point.inverted else area[place] & ~mask

    return put_bit
