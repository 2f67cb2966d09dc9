"""Values to words and back, for every type, byte order, scale and missing pattern that a register map can
have.

A value of several registers is written most significant byte first (ABCD) and then turned round: CDAB swaps
the words, BADC the bytes within each word, DCBA both. A single register has no order. What does not fit a
type stays at its end, as devices do; what is not known becomes the map's missing pattern, or the usual one of
its type.
"""

import math
import struct
from collections.abc import Callable

from benchctl.core.registers import Kind, Order, Point

Value = float | str | bool | None
Words = tuple[int, ...]

FORMATS = {
    Kind.UINT16: ">H",
    Kind.INT16: ">h",
    Kind.UINT32: ">I",
    Kind.INT32: ">i",
    Kind.UINT64: ">Q",
    Kind.INT64: ">q",
    Kind.FLOAT32: ">f",
    Kind.FLOAT64: ">d",
}


def _unknown(kind: Kind) -> bytes:
    """The usual pattern of a type for "no valid value": all ones, only the sign bit, or not a number."""
    size = 2 * kind.words
    if kind in (Kind.FLOAT32, Kind.FLOAT64):
        return struct.pack(FORMATS[kind], math.nan)
    return b"\xff" * size if kind.value.startswith("u") else b"\x80" + b"\0" * (size - 1)


def _range(kind: Kind) -> tuple[int, int]:
    """Most negative and largest raw number of a type."""
    bits = 16 * kind.words
    return (0, 2**bits - 1) if kind.value.startswith("u") else (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1)


def limits(point: Point) -> tuple[int, int]:
    """Most negative and largest raw number that a point of whole numbers may show.

    A value at the end of its range must not read as missing, where the map calls that pattern so.
    """
    low, high = _range(point.kind)
    pack, missing = struct.Struct(FORMATS[point.kind]).pack, [_bytes(words) for words in point.missing]
    return low + (turn(pack(low), point.order) in missing), high - (turn(pack(high), point.order) in missing)


def turn(raw: bytes, order: Order) -> bytes:
    """Bytes, most significant first, as they stand in registers in that order."""
    if len(raw) > 2 and order in (Order.CDAB, Order.DCBA):
        raw = b"".join([raw[i : i + 2] for i in range(len(raw) - 2, -2, -2)])
    if len(raw) > 2 and order in (Order.BADC, Order.DCBA):
        raw = b"".join([raw[i + 1 : i + 2] + raw[i : i + 1] for i in range(0, len(raw), 2)])
    return raw


def encoder(point: Point, power_of_ten: int = 0) -> Callable[[Value], bytes]:
    """A function from a value in the core's unit to the bytes of the point's registers.

    Power_of_ten: of its scale factor point.
    """
    if point.kind is Kind.TEXT:
        return _text(point)
    kind, order = point.kind, point.order
    factor = point.scale * 10.0**power_of_ten
    unknown = _bytes(point.missing[0]) if point.missing else turn(_unknown(kind), order)
    pack = struct.Struct(FORMATS[kind]).pack
    plain = order is Order.ABCD or kind.words == 1
    if kind in (Kind.FLOAT32, Kind.FLOAT64):
        return _real(pack, unknown, order, plain, point.offset, factor)
    return _whole(pack, unknown, order, plain, point.offset, factor, *limits(point))


def _real(
    pack: Callable[[float], bytes], unknown: bytes, order: Order, plain: bool, offset: float, factor: float
) -> Callable[[Value], bytes]:
    def real(value: Value) -> bytes:
        if value is None or isinstance(value, str):
            return unknown
        raw = pack((value - offset) / factor)
        return raw if plain else turn(raw, order)

    return real


def _whole(
    pack: Callable[[int], bytes],
    unknown: bytes,
    order: Order,
    plain: bool,
    offset: float,
    factor: float,
    low: int,
    high: int,
) -> Callable[[Value], bytes]:
    def whole(value: Value) -> bytes:
        if value is None or isinstance(value, str):
            return unknown
        number = round((value - offset) / factor)
        if not low <= number <= high:
            number = low if number < low else high
        raw = pack(number)
        return raw if plain else turn(raw, order)

    return whole


def _text(point: Point) -> Callable[[Value], bytes]:
    size = 2 * point.length

    def text(value: Value) -> bytes:
        return str("" if value is None else value).encode("ascii", "replace")[:size].ljust(size, b"\0")

    return text


def _bytes(words: Words) -> bytes:
    return struct.pack(f">{len(words)}H", *words)


def decode(point: Point, words: Words) -> float | None:
    """What a client wrote, in the core's unit; None for not a number."""
    kind = point.kind
    (raw,) = struct.unpack(FORMATS[kind], turn(_bytes(words), point.order))  # turning twice is not turning at all
    value = float(raw) * point.scale + point.offset
    return value if math.isfinite(value) else None


def power_of_ten(point: Point, largest: float) -> int:
    """The scale factor that lets the largest value fit the point's type with as many figures as it can."""
    if point.kind in (Kind.FLOAT32, Kind.FLOAT64) or largest <= 0:
        return 0
    room = _range(point.kind)[1] * 0.9
    return max(-10, min(10, math.ceil(math.log10(largest / abs(point.scale) / room))))
