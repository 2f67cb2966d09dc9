"""A device's registers: the truth encoded by its map, kept up to date only where something changed and is asked for.

Points are grouped by what makes them change; a group is looked at again when its key has changed, and what has a new
value is encoded again. Which groups a request reads is worked out once, because a client asks the same things all day,
and its reply is kept while nothing in them changes. Reads outside declared addresses are refused (exception 2), as is
reading what can only be written; writes reach only points that are ordered by the function the map names (exception 1
for another).
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from struct import unpack, unpack_from

from benchctl.core.registers import Kind, Point, RegisterMap, Space
from simulator.encode import Value, Words, decode, encoder
from simulator.meter import Figures
from simulator.runs import Figure, Run, runs
from simulator.wire import ILLEGAL_ADDRESS, ILLEGAL_FUNCTION, ILLEGAL_VALUE, READS, Refusal, answer

WRITE_ONLY = "watchdog_feed"
MOST_KEPT = 64  # different requests to a device
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
    """Cells that change together: they are looked at again when `key()` changes."""

    key: Callable[[], object]
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Sample:
    """Figures that all change together: `key()` tells when, `look()` gives them."""

    key: Callable[[], object]
    look: Callable[[], Figures]
    figures: tuple[Figure, ...]


class Registers:
    """The four spaces of one device."""

    def __init__(self, registers: RegisterMap, groups: Iterable[Group | Sample]) -> None:
        groups = tuple(groups)
        cells = [c for g in groups if isinstance(g, Group) for c in g.cells]
        self._takers = [c for c in cells if c.take is not None]
        readable = [c.point for c in cells if c.point.name != WRITE_ONLY]
        readable += [f.point for g in groups if isinstance(g, Sample) for f in g.figures]
        points = [*readable, *(c.point for c in self._takers)]
        self._areas = {space: _area(space, registers, points, readable) for space in Space}
        self._by_function = {function: self._areas[space] for function, space in READS.items()}
        self._kept: dict[bytes, _Kept] = {}
        for group in groups:
            self._place(group)

    def _place(self, group: Group | Sample) -> None:
        """Give each space its share of a group."""
        for space, area in self._areas.items():
            if isinstance(group, Sample):
                figures = [f for f in group.figures if f.point.space is space]
                if figures and isinstance(area, _Words):
                    area.groups.append(_Sampled(group, figures, area))
            else:
                cells = [c for c in group.cells if c.point.space is space and c.point.name != WRITE_ONLY]
                if cells:
                    area.groups.append(_Looked(group, cells, area))

    def answer(self, pdu: bytes) -> bytes:
        """The reply to a request."""
        kept = self._kept.get(pdu)
        if kept is not None:
            return kept.reply()
        reply = answer(pdu, self)
        area = self._by_function.get(pdu[0])
        if area is not None and reply[0] == pdu[0] and len(self._kept) < MOST_KEPT:
            self._kept[pdu] = _Kept(area, reply[:2], *unpack_from(">HH", pdu, 1))
        return reply

    def read(self, space: Space, first: int, count: int) -> list[int]:
        """Words or bits as they are now. Raises Refusal across a hole."""
        area = self._areas[space]
        known = area.known[first : first + count]
        if len(known) != count or 0 in known:
            raise Refusal(ILLEGAL_ADDRESS)
        for group in area.groups:
            group.now()
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


def _written(point: Point, words: Words) -> float | None:
    if point.kind is Kind.BIT:
        bit = words[0] if point.space.bits else words[0] >> (point.bit or 0) & 1
        return float(bool(bit) != point.inverted)
    return decode(point, words)


class _Area:
    """One space: which of its addresses exist, and the groups whose values stand in it."""

    def __init__(self, known: bytearray) -> None:
        self.known = known
        self.groups: list[_Encoded] = []

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

    def run_putter(self, run: Run) -> Callable[[Figures], None]:
        """A function that puts a run of figures where it belongs."""
        area, encode = self._bytes, run.encode
        first, end = 2 * run.first, 2 * run.end

        def put_run(figures: Figures) -> None:
            area[first:end] = encode(figures)

        return put_run


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
    spans += [(p.address, p.end) for p in readable if p.space is space]
    ends = [end for _, end in spans] + [p.end for p in points if p.space is space]
    known = bytearray(max(ends, default=0))
    for first, end in spans:
        known[first:end] = b"\1" * (end - first)
    return _Bits(known) if space.bits else _Words(known)


class _Encoded:
    """What stands of a group in one space. `version` grows with each change of a value there."""

    def __init__(self, key: Callable[[], object], points: Iterable[Point]) -> None:
        self._key = key
        self._last: object = _Encoded  # equal to no key
        self.version = 0
        self.spans = [(p.address, p.end) for p in points]

    def now(self) -> int:
        """Encode again what changed; the version then."""
        key = self._key()
        if key != self._last:
            self._last = key
            self.encode()
        return self.version

    def encode(self) -> None:
        """Look at the values; encode those that are new."""
        raise NotImplementedError


class _Looked(_Encoded):
    """Values that are got one by one."""

    def __init__(self, group: Group, cells: list[Cell], area: _Area) -> None:
        super().__init__(group.key, [c.point for c in cells])
        self._spots = [_Spot(c, area) for c in cells]

    def encode(self) -> None:
        changed = False
        for spot in self._spots:
            value = spot.get()
            if value != spot.value:
                spot.value = value
                spot.put(value)
                changed = True
        self.version += changed


class _Spot:
    """Where a cell's value goes, and what it was last."""

    __slots__ = ("get", "put", "value")

    def __init__(self, cell: Cell, area: _Area) -> None:
        self.get, self.put = cell.get, area.putter(cell)
        self.value: Value | object = _Spot  # equal to no value


class _Sampled(_Encoded):
    """Figures that are new with each sample: neighbours are encoded in one go."""

    def __init__(self, sample: Sample, figures: list[Figure], area: _Words) -> None:
        super().__init__(sample.key, [f.point for f in figures])
        self._look = sample.look
        self._puts = [area.run_putter(run) for run in runs(figures)]

    def encode(self) -> None:
        figures = self._look()
        for put in self._puts:
            put(figures)
        self.version += 1


class _Kept:
    """A request that was answered before: which groups its range shows, and the reply while nothing in them changes."""

    __slots__ = ("_area", "_count", "_first", "_groups", "_head", "_reply", "_stamp")

    def __init__(self, area: _Area, head: bytes, first: int, count: int) -> None:
        self._area, self._head, self._first, self._count = area, head, first, count
        end = first + count
        self._groups = [g for g in area.groups if any(a < end and first < z for a, z in g.spans)]
        self._stamp, self._reply = -1, b""

    def reply(self) -> bytes:
        """As it is now."""
        stamp = 0
        for group in self._groups:
            stamp += group.now()
        if stamp != self._stamp:
            self._stamp = stamp
            self._reply = self._head + self._area.raw(self._first, self._count)
        return self._reply
