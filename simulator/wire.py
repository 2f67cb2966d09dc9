"""Modbus TCP, the server's side: bytes to requests, requests to bytes. Pure.

Modbus Application Protocol Specification V1.1b3 (functions and exceptions) and Modbus Messaging on TCP/IP
V1.0b (header): transaction 2 bytes, protocol 2 (0), length 2 (unit and PDU), unit 1; all big-endian; bits
packed lowest address first.
"""

from struct import pack, unpack_from
from typing import Protocol

from benchctl.core.registers import Space

ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_VALUE, DEVICE_FAILURE, BUSY, NO_TARGET = 1, 2, 3, 4, 6, 11
READS = {1: Space.COIL, 2: Space.DISCRETE, 3: Space.HOLDING, 4: Space.INPUT}
_MOST_BITS, _MOST_REGISTERS = 2000, 125
_LONGEST = 254  # unit and PDU


class Refusal(Exception):  # noqa: N818 - a reply of the protocol, not an error of ours
    """The device answers with this exception code."""

    def __init__(self, code: int) -> None:
        super().__init__(f"Modbus exception {code}")
        self.code = code


class NotModbus(Exception):  # noqa: N818 - as above
    """The bytes are no Modbus TCP frame; the connection is of no more use."""


class Store(Protocol):
    """What answers requests: the four spaces of one device. Raises Refusal."""

    def read(self, space: Space, first: int, count: int) -> list[int]:
        """Words, or bits as 0 and 1."""

    def write(self, space: Space, first: int, values: list[int], function: int) -> None:
        """Write words or bits by that function."""


def split(data: bytes) -> tuple[list[tuple[int, int, bytes]], bytes]:
    """Whole frames from the front of the data (transaction, unit, PDU), and what is left.

    Raises NotModbus on a wrong header.
    """
    frames, place, size = [], 0, len(data)
    while size - place >= 8:
        transaction, protocol, length, unit = unpack_from(">HHHB", data, place)
        if protocol != 0 or not 2 <= length <= _LONGEST:
            raise NotModbus(f"protocol {protocol}, length {length}")
        end = place + 6 + length
        if end > size:
            break
        frames.append((transaction, unit, data[place + 7 : end]))
        place = end
    return frames, data[place:]


def frame(transaction: int, unit: int, pdu: bytes) -> bytes:
    """A reply with its header."""
    return pack(">HHHB", transaction, 0, len(pdu) + 1, unit) + pdu


def refusal(pdu: bytes, code: int) -> bytes:
    """The exception reply to a request."""
    return bytes((pdu[0] | 0x80, code))


def writes(pdu: bytes) -> bool:
    """True for requests that write."""
    return pdu[0] in (5, 6, 15, 16, 22, 23)


def answer(pdu: bytes, store: Store) -> bytes:
    """The reply to a request, an exception reply where the protocol or the store asks for one."""
    try:
        space = READS.get(pdu[0])
        if space is not None:
            return _read(pdu, store, space)
        write = _WRITES.get(pdu[0])
        return write(pdu, store) if write else refusal(pdu, ILLEGAL_FUNCTION)
    except Refusal as no:
        return refusal(pdu, no.code)


def _need(pdu: bytes, length: int) -> None:
    if len(pdu) != length:
        raise Refusal(ILLEGAL_VALUE)


def _range(first: int, count: int, most: int) -> None:
    if not 1 <= count <= most:
        raise Refusal(ILLEGAL_VALUE)
    if first + count > 0x10000:
        raise Refusal(ILLEGAL_ADDRESS)


def _read(pdu: bytes, store: Store, space: Space) -> bytes:
    _need(pdu, 5)
    first, count = unpack_from(">HH", pdu, 1)
    bits = space.bits
    _range(first, count, _MOST_BITS if bits else _MOST_REGISTERS)
    values = store.read(space, first, count)
    if bits:
        return bytes((pdu[0], (count + 7) // 8)) + packed_bits(values)
    return pack(f">BB{count}H", pdu[0], 2 * count, *values)


def packed_bits(bits: list[int]) -> bytes:
    """Eight to a byte, the lowest address in the least significant bit."""
    return sum(1 << i for i, bit in enumerate(bits) if bit).to_bytes((len(bits) + 7) // 8, "little")


def _write_coil(pdu: bytes, store: Store) -> bytes:
    _need(pdu, 5)
    address, value = unpack_from(">HH", pdu, 1)
    if value not in (0x0000, 0xFF00):
        raise Refusal(ILLEGAL_VALUE)
    store.write(Space.COIL, address, [int(value != 0)], 5)
    return pdu


def _write_register(pdu: bytes, store: Store) -> bytes:
    _need(pdu, 5)
    address, value = unpack_from(">HH", pdu, 1)
    store.write(Space.HOLDING, address, [value], 6)
    return pdu


def _write_coils(pdu: bytes, store: Store) -> bytes:
    if len(pdu) < 7:
        raise Refusal(ILLEGAL_VALUE)
    first, count, size = unpack_from(">HHB", pdu, 1)
    if size != (count + 7) // 8 or len(pdu) != 6 + size:
        raise Refusal(ILLEGAL_VALUE)
    _range(first, count, 1968)
    whole = int.from_bytes(pdu[6:], "little")
    store.write(Space.COIL, first, [whole >> i & 1 for i in range(count)], 15)
    return pdu[:5]


def _write_registers(pdu: bytes, store: Store) -> bytes:
    if len(pdu) < 8:
        raise Refusal(ILLEGAL_VALUE)
    first, count, size = unpack_from(">HHB", pdu, 1)
    if size != 2 * count or len(pdu) != 6 + size:
        raise Refusal(ILLEGAL_VALUE)
    _range(first, count, 123)
    store.write(Space.HOLDING, first, list(unpack_from(f">{count}H", pdu, 6)), 16)
    return pdu[:5]


def _mask_write(pdu: bytes, store: Store) -> bytes:
    _need(pdu, 7)
    address, keep, put = unpack_from(">HHH", pdu, 1)
    (now,) = store.read(Space.HOLDING, address, 1)
    store.write(Space.HOLDING, address, [now & keep | put & ~keep & 0xFFFF], 22)
    return pdu


def _write_then_read(pdu: bytes, store: Store) -> bytes:
    if len(pdu) < 12:
        raise Refusal(ILLEGAL_VALUE)
    first, count, place, written, size = unpack_from(">HHHHB", pdu, 1)
    if size != 2 * written or len(pdu) != 10 + size:
        raise Refusal(ILLEGAL_VALUE)
    _range(first, count, 125)
    _range(place, written, 121)
    store.write(Space.HOLDING, place, list(unpack_from(f">{written}H", pdu, 10)), 23)
    return pack(f">BB{count}H", 23, 2 * count, *store.read(Space.HOLDING, first, count))


_WRITES = {
    5: _write_coil,
    6: _write_register,
    15: _write_coils,
    16: _write_registers,
    22: _mask_write,
    23: _write_then_read,
}
