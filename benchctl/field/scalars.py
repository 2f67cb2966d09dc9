"""Words of one value → a number or text, or why not. Pure.

Order of judgement: patterns that mean "no value" on the raw words, then IEEE 754 not-a-number, then scaling,
then the range. Word order: Modbus fixes only the bytes inside a register; see `Order` in `core/registers.py`.
"""

import math
import struct
from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

from benchctl.core.quantities import BY_NAME
from benchctl.core.registers import Kind, Order, Point

Words = tuple[int, ...]
NARROWER = 1e-9  # relative; more than what scaling rounds
LARGEST_FACTOR = 10  # SunSpec scale factors run from -10 to 10; 0x8000 means "not implemented"

# Unit of the core → (lowest, highest, smallest but zero). Outside: no such thing exists at a standby source.
# Nearer to zero than the third figure: far below any resolution, so halves of two values, or a wrong word order.
PLAUSIBLE: dict[str, tuple[float, float, float]] = {
    "V": (-1.0, 100_000.0, 1e-3),
    "A": (-100_000.0, 100_000.0, 1e-3),
    "kW": (-100_000.0, 100_000.0, 1e-6),
    "kvar": (-100_000.0, 100_000.0, 1e-6),
    "kVA": (-100_000.0, 100_000.0, 1e-6),
    "Hz": (0.0, 1_000.0, 1e-3),
    "degC": (-80.0, 1_500.0, 1e-9),
    "kPa": (-200.0, 10_000.0, 1e-6),
    "rpm": (0.0, 10_000.0, 1e-6),
    "%": (-10.0, 200.0, 1e-9),
    "kWh": (-1e12, 1e12, 1e-9),
    "s": (0.0, 1e12, 1e-9),
}
ANYTHING = (-1e30, 1e30, 1e-30)


class Scalar(NamedTuple):
    """A point made ready for decoding: where its words are and what they may be."""

    name: str
    place: int  # among the numbers of its device
    first: int  # its words in its block: first, end
    end: int
    missing: frozenset[Words] | frozenset[int]  # "no value": as words, or of whole numbers as the raw number
    whole: bool
    divisor: float  # the value is raw / divisor * multiplier; one of the two is 1
    multiplier: float
    offset: float
    factor: int  # index of the scale factor among the numbers, or -1
    low: float
    high: float
    tiny: float
    part: int  # of the reading, which changes with it; see `numbers`

    def value(self, raw: float, power: float | None) -> float | None:
        """The value of a raw number, not yet judged; power: of its scale factor, None where that is not known."""
        if power is None:
            return None
        value = raw / self.divisor * self.multiplier
        if power:
            value = value / 10.0**-power if power < 0 else value * 10.0**power
        return value + self.offset  # also makes -0.0 into 0.0

    def under(self, power: float | None) -> "Scalar":
        """The same with the power of its scale factor in it, where that gives the same to the last digit."""
        if power == 0.0:
            return self._replace(factor=-1)
        if power is not None and self.multiplier == 1.0 and power > 0.0:
            return self._replace(factor=-1, multiplier=10.0**power)
        if power is not None and self.multiplier == self.divisor == 1.0:
            return self._replace(factor=-1, divisor=10.0**-power)
        return self

    def possible(self, value: float) -> bool:
        """True when such a thing exists at a standby source."""
        return self.low <= value <= self.high and (abs(value) >= self.tiny or value == 0.0)

    def absent(self, raw: float, words: Words) -> bool:
        """True when a raw number is a pattern for "no value"; words: of its block."""
        return (raw if self.whole else words[self.first : self.end]) in self.missing

    def plain(self) -> tuple[float, float, float]:
        """(least, most, nearest to zero) of raw numbers that are values without a further look; least > most: none.

        Narrower than what is possible, never wider: what lies outside is looked at one by one.
        """
        none = (math.inf, -math.inf, math.inf)
        factor = self.multiplier / self.divisor
        if self.factor >= 0 or factor <= 0.0 or (self.tiny and self.offset) or (self.missing and not self.whole):
            return none
        least, most = (self.low - self.offset) / factor, (self.high - self.offset) / factor
        least, most = least + NARROWER * abs(least), most - NARROWER * abs(most)
        for raw in self.missing:
            if isinstance(raw, int) and least <= raw <= most:
                least, most = (least, raw - 1) if raw >= 0 else (raw + 1, most)
        tiny = self.tiny / factor * (1.0 + NARROWER)
        ends = [v for v in (self.value(least, 0.0), self.value(most, 0.0)) if v is not None]
        return (least, most, tiny) if all(self.low <= v <= self.high for v in ends) else none


def scalar(point: Point, place: int, first: int, factor: int, part: int) -> Scalar:
    """Prepare a numeric point whose words begin at `first` of its block."""
    low, high, tiny = PLAUSIBLE.get(BY_NAME[point.name].unit if point.name in BY_NAME else "", ANYTHING)
    # 2771 / 10 is the double nearest to 277.1; 2771 * 0.1 is not always the nearest.
    inverse = 1.0 / point.scale
    exact = abs(inverse) >= 1.0 and math.isclose(inverse, round(inverse), rel_tol=1e-12)
    whole = point.kind not in (Kind.FLOAT32, Kind.FLOAT64)
    # A known value may be written as a pattern that elsewhere means "no value".
    missing = frozenset(m for m in point.missing if point.expect is None and len(m) == point.words)
    raws = {m: raw_number(point, m) for m in missing}
    return Scalar(
        point.name,
        place,
        first,
        first + point.words,
        # what is not a number is no value anyhow
        frozenset(int(n) for n in raws.values()) if whole else frozenset(m for m in missing if not math.isnan(raws[m])),
        whole,
        float(round(inverse)) if exact else 1.0,
        1.0 if exact else point.scale,
        point.offset,
        factor,
        max(low, point.minimum) if point.minimum is not None else low,
        min(high, point.maximum) if point.maximum is not None else high,
        0.0 if whole else tiny,
        part,
    )


def raw_number(point: Point, words: Words) -> float:
    """The raw number of a point, before any scaling."""
    return reader(point.kind, point.order)(words)


def reader(kind: Kind, order: Order) -> Callable[[Words], float]:
    """A function from the words on the wire to the raw number."""
    unpack = struct.Struct(">" + LETTERS[kind]).unpack
    pack = struct.Struct(f">{kind.words}H").pack

    def number(words: Words) -> float:
        found: float = unpack(pack(*straight(words, order)))[0]
        return found

    return number


LETTERS = {
    Kind.UINT16: "H",
    Kind.INT16: "h",
    Kind.UINT32: "I",
    Kind.INT32: "i",
    Kind.UINT64: "Q",
    Kind.INT64: "q",
    Kind.FLOAT32: "f",
    Kind.FLOAT64: "d",
}


def straight(words: Words, order: Order) -> Words:
    """Words in the order received → most significant first. Its own inverse: also from a value to the wire."""
    if order is Order.ABCD or len(words) == 1:
        return words
    if order is not Order.BADC:
        words = words[::-1]
    return words if order is Order.CDAB else tuple((w & 0xFF) << 8 | w >> 8 for w in words)


def to_words(kind: Kind, order: Order, raw: float) -> Words:
    """A raw number as words on the wire. Raises struct.error when it does not fit the kind."""
    value = raw if kind in (Kind.FLOAT32, Kind.FLOAT64) else int(raw)
    data = struct.pack(">" + LETTERS[kind], value)
    return straight(struct.unpack(f">{kind.words}H", data), order)


@lru_cache(maxsize=1024)  # a serial number is read again and again
def text(words: Words, order: Order) -> str | None:
    """Two characters a register, without trailing NULs and spaces; None when there is nothing."""
    if order in (Order.BADC, Order.DCBA):
        words = tuple((w & 0xFF) << 8 | w >> 8 for w in words)
    data = b"".join(w.to_bytes(2, "big") for w in words).split(b"\0")[0]
    return data.decode("utf-8", "replace").strip() or None


def power_of_ten(row: Scalar, raw: float, words: Words) -> float | None:
    """A SunSpec scale factor of a block, or None when it is not implemented or no power of ten that can be meant."""
    return None if row.absent(raw, words) or abs(raw) > LARGEST_FACTOR else raw
