"""Modbus TCP frames: the only file that knows pymodbus, of which it uses the codec and nothing else. Pure.

A request is made ready once and sent again and again: only its transaction id changes. The library is too trusting: it
takes replies that are too short, that have more bytes than they say, or that echo another write. Here a reply counts
byte by byte: a read's has this function, this count and this length, a write's is its own echo. The library is asked
only about what is neither: a refusal, or no reply of Modbus at all.
"""

import logging
import struct
from collections.abc import Callable
from functools import lru_cache

from pymodbus.framer import FramerSocket
from pymodbus.pdu import DecodePDU, ExceptionResponse, ModbusPDU
from pymodbus.pdu.bit_message import (
    ReadCoilsRequest,
    ReadDiscreteInputsRequest,
    WriteMultipleCoilsRequest,
    WriteSingleCoilRequest,
)
from pymodbus.pdu.register_message import (
    ReadHoldingRegistersRequest,
    ReadInputRegistersRequest,
    WriteMultipleRegistersRequest,
    WriteSingleRegisterRequest,
)

from benchctl.core.registers import Space
from benchctl.field.answer import BAD, NOT_ASKED, Answer, Got
from benchctl.field.encode import COILS, LONE_COIL, LONE_REGISTER, REGISTERS, Request
from benchctl.field.points import Block

SHORTEST, LONGEST = 2, 254  # the MBAP header's length: unit id and function at least; a PDU has 253 bytes at most

logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # what it has to say comes back as answers

_READS: dict[Space, type[ModbusPDU]] = {
    Space.COIL: ReadCoilsRequest,
    Space.DISCRETE: ReadDiscreteInputsRequest,
    Space.HOLDING: ReadHoldingRegistersRequest,
    Space.INPUT: ReadInputRegistersRequest,
}
_HEADER = struct.Struct(">HHHB").unpack_from
_DECODER = DecodePDU(False)
_FRAMER = FramerSocket(_DECODER)
ACKNOWLEDGED = Answer(Got.OK)
ECHO = 5  # bytes of a write's echo: function, address, and the value or the count


class UnreadableError(Exception):
    """Bytes came that are no Modbus frame, or a reply that is none of Modbus."""


def next_frame(data: bytes) -> tuple[int, int, int, bytes]:
    """(bytes it takes, unit id, transaction id, PDU) of the first frame in `data`; 0 bytes while it is not whole.

    A frame of another protocol is to be skipped: it has no PDU. Raises UnreadableError for a length that no frame has.
    """
    if len(data) < 8:
        return 0, 0, 0, b""
    transaction, protocol, length, unit_id = _HEADER(data)
    if not SHORTEST <= length <= LONGEST:
        raise UnreadableError
    end = length + 6
    if len(data) < end:
        return 0, 0, 0, b""
    if protocol:
        return end, 0, 0, b""
    if length == SHORTEST:  # from a device that miscounts its exceptions; the library knows them
        found: tuple[int, int, int, bytes] = _FRAMER.decode(data)
        return found
    return end, unit_id, transaction, data[7:end]


class Question:
    """One request made ready, and what its replies mean.

    words: unpacks the reply of a read, size: bytes of its values. A write has neither, and no `space`.
    """

    __slots__ = ("_answer", "_begins", "_function", "_head", "_length", "_reply", "_tail", "_words", "space", "unit_id")

    def __init__(
        self,
        pdu: ModbusPDU,
        words: Callable[[bytes], tuple[int, ...]] | None = None,
        size: int = 0,
        space: Space | None = None,
    ) -> None:
        self.unit_id = pdu.dev_id
        self.space = space
        self._function = pdu.function_code
        self._tail = _FRAMER.buildFrame(pdu)[2:]
        self._words = words
        head = self._tail[5 : 5 + ECHO] if words is None else bytes((pdu.function_code, size))
        self._head, self._begins, self._length = head, len(head), len(head) + size
        self._reply: bytes | None = None  # of the last time, and what it said
        self._answer = NOT_ASKED

    def frame(self, transaction: int) -> bytes:
        """The request's bytes under a transaction id of 1 to 65535."""
        return transaction.to_bytes(2, "big") + self._tail

    def answer(self, reply: bytes) -> Answer:
        """What a reply's PDU says. The same bytes as the last time give the same object.

        Raises UnreadableError when they are no reply of Modbus at all.
        """
        if reply != self._reply:
            self._answer = self._judged(reply)
            self._reply = reply
        return self._answer

    def _judged(self, reply: bytes) -> Answer:
        if len(reply) == self._length and reply[: self._begins] == self._head:
            return ACKNOWLEDGED if self._words is None else Answer(Got.OK, self._words(reply))
        decoded = _decoded(reply)
        if isinstance(decoded, ExceptionResponse) and decoded.function_code & 0x7F == self._function:
            return Answer(Got.EXCEPTION, code=decoded.exception_code)
        return BAD


def _decoded(reply: bytes) -> ModbusPDU:
    try:
        decoded = _DECODER.decode(reply)
    except Exception as fault:  # whatever a device may send, the scan goes on
        raise UnreadableError from fault
    if decoded is None:
        raise UnreadableError
    return decoded


def read_question(unit_id: int, block: Block) -> Question:
    """A read made ready. Raises ValueError for a count or address that Modbus does not have."""
    pdu = _READS[block.space](address=block.first, count=block.count, dev_id=unit_id)
    size = (block.count + 7) // 8 if block.space.bits else 2 * block.count
    words = _bits(block) if block.space.bits else struct.Struct(f">2x{block.count}H").unpack
    return Question(pdu, words, size, block.space)


def _bits(block: Block) -> Callable[[bytes], tuple[int, ...]]:
    """Bits of a reply 16 a word; the first is the lowest bit of the first byte, and padding counts for nothing."""
    every, shifts = (1 << block.count) - 1, tuple(range(0, block.count, 16))

    def words(reply: bytes) -> tuple[int, ...]:
        bits = int.from_bytes(reply[2:], "little") & every
        return tuple([bits >> shift & 0xFFFF for shift in shifts])

    return words


@lru_cache(maxsize=1 << 13)  # a drop of some hundred units, stage by stage, stays in it
def write_question(unit_id: int, request: Request) -> Question:
    """A write made ready. Raises ValueError for a function that is none of 5, 6, 15, 16."""
    return Question(_write_pdu(unit_id, request))


def _write_pdu(unit_id: int, request: Request) -> ModbusPDU:
    """The library's request for a write."""
    values = list(request.values)
    if request.function == LONE_COIL:
        return WriteSingleCoilRequest(address=request.address, bits=[bool(values[0])], dev_id=unit_id)
    if request.function == COILS:
        return WriteMultipleCoilsRequest(address=request.address, bits=[bool(v) for v in values], dev_id=unit_id)
    if request.function == LONE_REGISTER:
        return WriteSingleRegisterRequest(address=request.address, registers=values, dev_id=unit_id)
    if request.function == REGISTERS:
        return WriteMultipleRegistersRequest(address=request.address, registers=values, dev_id=unit_id)
    raise ValueError(f"function {request.function} is none of 5, 6, 15, 16")
