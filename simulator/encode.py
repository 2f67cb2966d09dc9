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

_FORMATS = {Kind.UINT16: ">H", Kind.INT16: ">h", Kind.UINT32: ">I", Kind.INT32: ">i", Kind.UINT64: ">Q",
            Kind.INT64: ">q", Kind.FLOAT32: ">f", Kind.FLOAT64: ">d"}


def _unknown(kind: Kind) -> bytes:
    """The usual pattern of a type for "no valid value": all ones, only the sign bit, or not a number."""
    size = 2 * kind.words
    if kind in (Kind.FLOAT32, Kind.FLOAT64):
        return struct.pack(_FORMATS[kind], math.nan)
    return b"\xff" * size if kind.value.startswith("u") else b"\x80" + b"\0" * (size - 1)


def _limits(kind: Kind) -> tuple[int, int]:
    """Most negative and largest raw number of a type."""
    bits = 16 * kind.words
    return (0, 2**bits - 1) if kind.value.startswith("u") else (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1)


def turn(raw: bytes, order: Order) -> Words:
    """Bytes, most significant first, as words in that order."""
    words = list(struct.unpack(f">{len(raw) // 2}H", raw))
    if len(words) > 1:
        if order in (Order.CDAB, Order.DCBA):
            words.reverse()
        if order in (Order.BADC, Order.DCBA):
            words = [(w << 8 | w >> 8) & 0xFFFF for w in words]
    return tuple(words)


def encoder(point: Point, power_of_ten: int = 0) -> Callable[[Value], Words]:
    """A function from a value in the core's unit to the point's words.

    Power_of_ten: of its scale factor point.
    """
    if point.kind is Kind.TEXT:
        return _text(point)
    kind, order, offset = point.kind, point.order, point.offset
    factor = point.scale * 10.0**power_of_ten
    unknown = point.missing[0] if point.missing else turn(_unknown(kind), order)
    form = _FORMATS[kind]
    single = kind.words == 1
    if kind in (Kind.FLOAT32, Kind.FLOAT64):
        pack, unpack = struct.Struct(form).pack, struct.Struct(f">{kind.words}H").unpack
        plain, swapped = order is Order.ABCD, order is Order.CDAB

        def real(value: Value) -> Words:
            if value is None or isinstance(value, str):
                return unknown
            raw = pack((value - offset) / factor)
            if plain:
                return unpack(raw)
            return unpack(raw)[::-1] if swapped else turn(raw, order)

        return real
    low, high = _limits(kind)
    # a value at the end of its range must not read as missing, where the map calls that pattern so
    if turn(struct.pack(form, high), order) in point.missing:
        high -= 1
    if turn(struct.pack(form, low), order) in point.missing:
        low += 1

    def whole(value: Value) -> Words:
        if value is None or isinstance(value, str):
            return unknown
        raw = min(high, max(low, round((value - offset) / factor)))
        return (raw & 0xFFFF,) if single else turn(struct.pack(form, raw), order)

    return whole


def _text(point: Point) -> Callable[[Value], Words]:
    size = 2 * point.length

    def text(value: Value) -> Words:
        raw = str("" if value is None else value).encode("ascii", "replace")[:size].ljust(size, b"\0")
        return struct.unpack(f">{point.length}H", raw)

    return text


def decode(point: Point, words: Words) -> float | None:
    """What a client wrote, in the core's unit; None for not a number."""
    kind = point.kind
    plain = list(words)
    if len(plain) > 1:
        if point.order in (Order.BADC, Order.DCBA):
            plain = [(w << 8 | w >> 8) & 0xFFFF for w in plain]
        if point.order in (Order.CDAB, Order.DCBA):
            plain.reverse()
    (raw,) = struct.unpack(_FORMATS[kind], struct.pack(f">{len(plain)}H", *plain))
    value = float(raw) * point.scale + point.offset
    return value if math.isfinite(value) else None


def power_of_ten(point: Point, largest: float) -> int:
    """The scale factor that lets the largest value fit the point's type with as many figures as it can."""
    if point.kind in (Kind.FLOAT32, Kind.FLOAT64) or largest <= 0:
        return 0
    room = _limits(point.kind)[1] * 0.9
    return max(-10, min(10, math.ceil(math.log10(largest / abs(point.scale) / room))))
