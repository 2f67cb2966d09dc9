"""The numbers of a device's blocks, decoded only as far as their words have changed. Pure.

One struct call unpacks a block; what is left to do for each value stands in a table made once per type of device.
A fresh `Numbers` decodes everything, and a kept one always holds what a fresh one would find.
"""

import math
import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from operator import itemgetter

from benchctl.core.registers import Order, Point
from benchctl.field.answer import NOT_ASKED, Answers, Got
from benchctl.field.scalars import LETTERS, Scalar, Words, power_of_ten, raw_number

Raws = tuple[float, ...]
# place, least, most and nearest to zero of plain raw numbers, divisor, multiplier, offset, part, the whole of it
Row = tuple[int, float, float, float, float, float, float, int, Scalar]

# Parts of a reading that numbers may belong to; plain integers, because an enum's `|` costs as much as a value.
MEASURED, LOAD, IDENTITY, REST = 1, 2, 4, 8
ALL = MEASURED | LOAD | IDENTITY | REST


@dataclass(frozen=True, slots=True)
class Sheet:
    """The numbers of one block, in the order of the map. raws: the block's words → their raw numbers.

    needs: scale factors that they hang on. skips: the same raw number always means the same value.
    """

    block: int
    scalars: tuple[Scalar, ...]
    raws: Callable[[Words], Raws]
    needs: frozenset[int]
    skips: bool


def sheets(rows: Sequence[tuple[int, Scalar, Point]]) -> tuple[Sheet, ...]:
    """The numbers of (block, scalar, point) as sheets, by block. Values whose bytes are swapped have their own."""
    keys = sorted({(block, _swapped(p)) for block, _, p in rows})
    return tuple(_sheet(key[0], [(s, p) for block, s, p in rows if (block, _swapped(p)) == key]) for key in keys)


def _swapped(point: Point) -> bool:
    return point.order in (Order.BADC, Order.DCBA) and point.words > 1


def _sheet(block: int, rows: Sequence[tuple[Scalar, Point]]) -> Sheet:
    places: list[int] = []
    for s, p in rows:
        here = range(s.first, s.end)
        places += reversed(here) if p.order in (Order.CDAB, Order.DCBA) else here
    pick = itemgetter(*places) if len(places) > 1 else itemgetter(slice(places[0], places[0] + 1))
    pack = struct.Struct(f"{'<' if _swapped(rows[0][1]) else '>'}{len(places)}H").pack
    unpack = struct.Struct(">" + "".join(LETTERS[p.kind] for _, p in rows)).unpack
    minus_zero = any(raw_number(p, m) == 0.0 for s, p in rows if not s.whole for m in p.missing if len(m) == p.words)
    return Sheet(
        block,
        tuple(s for s, _ in rows),
        lambda words: unpack(pack(*pick(words))),
        frozenset(s.factor for s, _ in rows if s.factor >= 0),
        not minus_zero,  # which equals 0.0
    )


def _row(s: Scalar) -> Row:
    return (s.place, *s.plain(), s.divisor, s.multiplier, s.offset, s.part, s)


class Page:
    """A sheet as last filled in for one device; names of values that cannot be true by their place."""

    __slots__ = ("bit", "filled", "raws", "rows", "sheet", "suspect", "unread")

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.bit = 1 << sheet.block
        self.rows = [_row(s) for s in sheet.scalars]
        self.unread: tuple[float | None, ...] = tuple([None] * len(self.rows))
        self.raws = self.unread
        self.filled = False
        self.suspect: dict[int, str] = {}

    def empty(self, numbers: list[float | None]) -> None:
        """Nothing is known of it any more."""
        self.raws = self.unread
        self.filled = False
        self.suspect.clear()
        for scalar in self.sheet.scalars:
            numbers[scalar.place] = None

    def rescale(self, numbers: Sequence[float | None]) -> None:
        """Scale factors changed: everything is to be decoded anew."""
        self.raws = self.unread
        self.rows = [_row(s.under(numbers[s.factor]) if s.factor >= 0 else s) for s in self.sheet.scalars]

    def fill(self, words: Words, holes: Sequence[int], numbers: list[float | None]) -> int:
        """Take the words of the block; tells which parts of the reading changed. Written out: it runs for each value.

        numbers: by place, scale factors already in it.
        """
        suspect, moved = self.suspect, 0
        raws, before = self.sheet.raws(words), self.raws
        self.raws = raws if self.sheet.skips and not holes else self.unread
        self.filled = True
        for row, raw, old in zip(self.rows, raws, before, strict=True):
            if raw == old:
                continue
            place, least, most, tiny, divisor, multiplier, offset, part, scalar = row
            moved |= part
            if least <= raw <= most and (raw >= tiny or raw <= -tiny) and not holes:
                numbers[place] = raw / divisor * multiplier + offset
                if suspect:
                    suspect.pop(place, None)
            else:
                self._look(scalar, raw, words, holes, numbers)
        return moved

    def _look(
        self, scalar: Scalar, raw: float, words: Words, holes: Sequence[int], numbers: list[float | None]
    ) -> None:
        """Take one value that needs more than scaling."""
        place = scalar.place
        numbers[place] = None
        self.suspect.pop(place, None)
        if scalar.absent(raw, words) or (holes and not all_there(holes, scalar.first, scalar.end)):
            return
        value = scalar.value(raw, numbers[scalar.factor] if scalar.factor >= 0 else 0.0)
        if value is None:
            return
        if scalar.possible(value):
            numbers[place] = value
        elif not math.isnan(value):  # not a number is "no value"; everything else here is a suspicion
            self.suspect[place] = scalar.name


def all_there(holes: Sequence[int], first: int, end: int) -> bool:
    """True when no hole lies in [first, end) of a block."""
    return not any(first <= hole < end for hole in holes)


class Numbers:
    """The numbers of one device as last decoded. found: by place, valid ones and scale factors, else None.

    Its last place is always None: where a device has no such value.
    """

    __slots__ = ("_factors", "_pages", "found", "suspect")

    def __init__(self, count: int, factors: Sequence[Sheet], numbers: Sequence[Sheet]) -> None:
        self.found: list[float | None] = [None] * (count + 1)
        self.suspect: list[str] = []  # names of values that cannot be true
        self._factors = [Page(s) for s in factors]
        self._pages = [Page(s) for s in numbers]

    def take(self, answers: Answers, changed: int) -> int:
        """Take the answers of a device, one a block; bit i of changed: block i may have other ones than the last time.

        Tells which parts of the reading may have changed.
        """
        moved, numbers = 0, self.found
        for page in self._factors:
            if changed & page.bit and (others := self._powers(page, answers)):
                changed |= others
                moved = ALL
        for page in self._pages:
            if not changed & page.bit:
                continue
            answer = answers[page.sheet.block]
            if answer.got is not Got.OK:
                if page.filled:
                    page.empty(numbers)
                    moved = ALL
                continue
            if answer.holes or page.raws is page.unread:
                page.empty(numbers)
                moved = ALL
            moved |= page.fill(answer.words, answer.holes, numbers)
        if moved:
            self.suspect = [p.suspect[i] for p in self._pages if p.suspect for i in sorted(p.suspect)]
        return moved

    def _powers(self, page: Page, answers: Answers) -> int:
        """Take scale factors; where one changed, the blocks whose values hang on it, which are to be filled in anew."""
        answer, numbers = answers[page.sheet.block], self.found
        others: list[Page] = []
        raws = page.sheet.raws(answer.words) if answer.got is Got.OK else page.unread
        if raws == page.raws and not answer.holes:
            return 0
        page.raws = () if answer.holes else raws
        for factor, raw in zip(page.sheet.scalars, raws, strict=True):
            there = raw is not None and all_there(answer.holes, factor.first, factor.end)
            power = power_of_ten(factor, raw, answer.words) if there and raw is not None else None
            if power != numbers[factor.place]:
                numbers[factor.place] = power
                others += [p for p in self._pages if factor.place in p.sheet.needs]
        for other in others:
            other.rescale(numbers)
        return sum({p.bit for p in others})


def padded(answers: Answers, count: int) -> Answers:
    """Answers of a device, one for each of its blocks."""
    return answers if len(answers) == count else answers + (NOT_ASKED,) * (count - len(answers))
