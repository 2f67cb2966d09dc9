"""A device's registers: the truth encoded by its map, kept up to date only where something changed.

Points are grouped by how often they change; a group is looked at again when its key has changed, and what has a
new value is encoded again. Values stand as they go on the wire, and which of them a request means is worked out
once, because a client asks the same things all day. Reads outside
declared addresses are refused (exception 2), as is reading what can only be written; writes reach only points
that are ordered by the function the map names (exception 1 for another).
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from struct import unpack, unpack_from

from benchctl.core.registers import Kind, Point, RegisterMap, Space
from simulator.encode import Value, Words, decode, encoder
from simulator.wire import ILLEGAL_ADDRESS, ILLEGAL_FUNCTION, ILLEGAL_VALUE, READS, Refusal, answer

WRITE_ONLY = "watchdog_feed"
MOST_KEPT = 32  # different requests to a space
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
        self._areas = {
            space: _area(
                space,
                registers,
                [c.point for c in cells if c.point.space is space],
                [c.point for c in readable if c.point.space is space],
            )
            for space in Space
        }
        self._groups = [_Encoded(g, self._areas) for g in groups]
        self._by_function = {
            function: (self._areas[space], [g for g in self._groups if space in g.spaces])
            for function, space in READS.items()
        }
        self._takers = [c for c in cells if c.take is not None]

    def refresh(self, function: int = 0) -> None:
        """Encode what changed, of what that function of the protocol reads; 0 = of everything."""
        for group in self._by_function[function][1] if function in self._by_function else self._groups:
            key = group.key()
            if key != group.last:
                group.last = key
                for spot in group.spots:
                    value = spot.get()
                    if value != spot.value:
                        spot.value = value
                        spot.put(value)

    def answer(self, pdu: bytes) -> bytes:
        """The reply to a request."""
        if pdu[0] not in self._by_function:
            return answer(pdu, self)
        area = self._by_function[pdu[0]][0]
        place = area.places.get(pdu)
        if place is not None:
            return place[0] + area.raw(place[1], place[2])
        reply = answer(pdu, self)
        if reply[0] == pdu[0] and len(area.places) < MOST_KEPT:
            area.places[pdu] = reply[:2], *unpack_from(">HH", pdu, 1)
        return reply

    def read(self, space: Space, first: int, count: int) -> list[int]:
        """Words or bits as they stand. Raises Refusal across a hole."""
        area = self._areas[space]
        known = area.known[first : first + count]
        if len(known) != count or 0 in known:
            raise Refusal(ILLEGAL_ADDRESS)
        raw = area.raw(first, count)
        if space.bits:
            return [raw[i >> 3] >> (i & 7) & 1 for i in range(count)]
        return list(unpack(f">{count}H", raw))

    def write(self, space: Space, first: int, values: list[int], function: int) -> None:
        """Hand what was written to whoever takes it, all of it or nothing. Raises Refusal."""
        end = first + len(values)
        hit = [c for c in self._takers if c.point.space is space and c.point.address < end and first < c.point.end]
        covered = {a for c in hit for a in range(c.point.address, c.point.end)}
        if not hit or not set(range(first, end)) <= covered or not covered <= set(range(first, end)):
            raise Refusal(ILLEGAL_ADDRESS)
        function = _SAME_FUNCTION.get(function, function)
        work: list[tuple[Callable[[float], None], float]] = []
        for cell in hit:
            if function != cell.point.write_function and not (space is Space.HOLDING and cell.point.bit is not None):
                raise Refusal(ILLEGAL_FUNCTION)
            start = cell.point.address - first
            value = _written(cell.point, tuple(values[start : start + cell.point.words]))
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
    """One space: which of its addresses exist, and where requests that were answered before read."""

    def __init__(self, known: bytearray) -> None:
        self.known = known
        self.places: dict[bytes, tuple[bytes, int, int]] = {}  # beginning of the reply, first address, count

    def raw(self, first: int, count: int) -> bytes:
        """As on the wire."""
        raise NotImplementedError

    def putter(self, cell: Cell) -> Callable[[Value], None]:
        """A function that puts the cell's value where it belongs."""
        raise NotImplementedError


class _Words(_Area):
    """Registers, two bytes each."""

    def __init__(self, known: bytearray) -> None:
        super().__init__(known)
        self._bytes = bytearray(2 * len(known))

    def raw(self, first: int, count: int) -> bytes:
        return bytes(self._bytes[2 * first : 2 * (first + count)])

    def putter(self, cell: Cell) -> Callable[[Value], None]:
        point, area = cell.point, self._bytes
        first, end = 2 * point.address, 2 * point.end
        if point.kind is Kind.BIT:
            bit = point.bit or 0
            place, mask = first + (bit < 8), 1 << bit % 8  # bits from 8 on stand in the first byte

            def put_bit(value: Value) -> None:
                area[place] = area[place] | mask if bool(value) != point.inverted else area[place] & ~mask

            return put_bit
        encode = encoder(point, cell.power_of_ten)

        def put_words(value: Value) -> None:
            area[first:end] = encode(value)

        return put_words


class _Bits(_Area):
    """Coils or discrete inputs, as one number: the lowest address in its least significant bit."""

    def __init__(self, known: bytearray) -> None:
        super().__init__(known)
        self._whole = 0

    def raw(self, first: int, count: int) -> bytes:
        return (self._whole >> first & (1 << count) - 1).to_bytes((count + 7) // 8, "little")

    def putter(self, cell: Cell) -> Callable[[Value], None]:
        mask, inverted = 1 << cell.point.address, cell.point.inverted

        def put(value: Value) -> None:
            self._whole = self._whole | mask if bool(value) != inverted else self._whole & ~mask

        return put


def _area(space: Space, registers: RegisterMap, points: list[Point], readable: list[Point]) -> _Area:
    """An empty space as large as its map needs."""
    spans = [(s.first, s.last + 1) for s in registers.readable if s.space is space]
    spans += [(p.address, p.end) for p in readable]
    known = bytearray(max([end for _, end in spans] + [p.end for p in points], default=0))
    for first, end in spans:
        known[first:end] = b"\1" * (end - first)
    return _Bits(known) if space.bits else _Words(known)


class _Spot:
    """Where a cell's value goes, and what it was last."""

    __slots__ = ("get", "put", "value")

    def __init__(self, cell: Cell, area: _Area) -> None:
        self.get, self.put = cell.get, area.putter(cell)
        self.value: Value | object = _Spot  # equal to no value


class _Encoded:
    """A group with its encoders."""

    __slots__ = ("key", "last", "spaces", "spots")

    def __init__(self, group: Group, areas: dict[Space, _Area]) -> None:
        self.key = group.key
        self.last: object = _Spot
        cells = [c for c in group.cells if c.point.name != WRITE_ONLY]
        self.spaces = {c.point.space for c in cells}
        self.spots = [_Spot(c, areas[c.point.space]) for c in cells]
