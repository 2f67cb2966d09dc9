"""Words of one value → a number or text, or why not. Pure.

Order of judgement: patterns that mean "no value" on the raw words, then IEEE 754 not-a-number, then scaling,
then the range. Word order: Modbus fixes only the bytes inside a register; see `Order` in `core/registers.py`.
"""

import math
import struct
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import NamedTuple

from benchctl.core.quantities import BY_NAME
from benchctl.core.registers import Kind, Order, Point

Words = tuple[int, ...]
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
    first: int  # its words in its block: first, end
    end: int
    missing: frozenset[Words]
    number: Callable[[Words], float]
    divisor: float  # the value is raw / divisor * multiplier; one of the two is 1
    multiplier: float
    offset: float
    factor: int  # index of the scale factor among the scalars, or -1
    low: float
    high: float
    tiny: float


def scalar(point: Point, first: int, factor: int) -> Scalar:
    """Prepare a numeric point whose words begin at `first` of its block."""
    low, high, tiny = PLAUSIBLE.get(BY_NAME[point.name].unit if point.name in BY_NAME else "", ANYTHING)
    # 2771 / 10 is the double nearest to 277.1; 2771 * 0.1 is not always the nearest.
    inverse = 1.0 / point.scale
    exact = abs(inverse) >= 1.0 and math.isclose(inverse, round(inverse), rel_tol=1e-12)
    return Scalar(
        point.name,
        first,
        first + point.words,
        # A known value may be written as a pattern that elsewhere means "no value".
        frozenset(point.missing) if point.expect is None else frozenset(),
        reader(point.kind, point.order),
        float(round(inverse)) if exact else 1.0,
        1.0 if exact else point.scale,
        point.offset,
        factor,
        max(low, point.minimum) if point.minimum is not None else low,
        min(high, point.maximum) if point.maximum is not None else high,
        tiny if point.kind in (Kind.FLOAT32, Kind.FLOAT64) else 0.0,
    )


def reader(kind: Kind, order: Order) -> Callable[[Words], float]:
    """A function from the words on the wire to the raw number."""
    count = kind.words
    if kind is Kind.UINT16:
        return _uint16
    if kind is Kind.INT16:
        return _int16
    if kind in (Kind.UINT32, Kind.INT32) and order in (Order.ABCD, Order.CDAB):
        return _WHOLE32[kind, order]
    unpack = struct.Struct(">" + _LETTERS[kind]).unpack
    pack = struct.Struct(f">{count}H").pack

    def number(words: Words) -> float:
        found: float = unpack(pack(*straight(words, order)))[0]
        return found

    def plain(words: Words) -> float:
        found: float = unpack(pack(*words))[0]
        return found

    return plain if order is Order.ABCD else number


_LETTERS = {
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
    data = struct.pack(">" + _LETTERS[kind], value)
    return straight(struct.unpack(f">{kind.words}H", data), order)


@lru_cache(maxsize=1024)  # a serial number is read again and again
def text(words: Words, order: Order) -> str | None:
    """Two characters a register, without trailing NULs and spaces; None when there is nothing."""
    if order in (Order.BADC, Order.DCBA):
        words = tuple((w & 0xFF) << 8 | w >> 8 for w in words)
    data = b"".join(w.to_bytes(2, "big") for w in words).split(b"\0")[0]
    return data.decode("utf-8", "replace").strip() or None


def judge(
    rows: Sequence[tuple[int, Scalar]],
    words: Words,
    numbers: list[float | None],
    values: dict[str, float],
    suspect: list[str],
) -> None:
    """Decode the numbers of one block of registers.

    rows: (index, point) of each; numbers: by index, scale factors already in it; values: valid ones by name are added;
    suspect: names of values that cannot be true are added. The loop is written out because it runs for every value of
    every scan.
    """
    for index, (name, first, end, missing, number, divisor, multiplier, offset, factor, low, high, tiny) in rows:
        own = words[first:end]
        if own in missing:
            continue
        value = number(own) / divisor * multiplier
        if factor >= 0:
            power = numbers[factor]
            if power is None:
                continue
            value = value / 10.0**-power if power < 0 else value * 10.0**power
        value += offset  # also makes -0.0 into 0.0
        if low <= value <= high and (value >= tiny or value <= -tiny or value == 0.0):
            numbers[index] = values[name] = value
        elif not math.isnan(value):  # not a number is "no value"; everything else here is a suspicion
            suspect.append(name)


def power_of_ten(ready: Scalar, words: Words) -> float | None:
    """A SunSpec scale factor, or None when it is not implemented or no power of ten that can be meant."""
    own = words[ready.first : ready.end]
    value = ready.number(own)
    return None if own in ready.missing or abs(value) > LARGEST_FACTOR else value


def _uint16(words: Words) -> float:
    return words[0]


def _int16(words: Words) -> float:
    return words[0] - 65536 if words[0] & 0x8000 else words[0]


# Most values of most scans are of these kinds; a struct there and back takes three times as long.
_WHOLE32: dict[tuple[Kind, Order], Callable[[Words], float]] = {
    (Kind.UINT32, Order.ABCD): lambda w: w[0] << 16 | w[1],
    (Kind.UINT32, Order.CDAB): lambda w: w[1] << 16 | w[0],
    (Kind.INT32, Order.ABCD): lambda w: (w[0] << 16 | w[1]) - ((w[0] & 0x8000) << 17),
    (Kind.INT32, Order.CDAB): lambda w: (w[1] << 16 | w[0]) - ((w[1] & 0x8000) << 17),
}
