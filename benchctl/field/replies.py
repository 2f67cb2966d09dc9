"""Does a reply fit its request? The library hands over replies that are too short, or that echo another write. Pure."""

from collections.abc import Sequence
from typing import Protocol

from benchctl.field.answer import BAD, Answer, Got
from benchctl.field.encode import LONE_COIL, LONE_REGISTER, Request
from benchctl.field.points import Block

ACKNOWLEDGED = Answer(Got.OK)


class Reply(Protocol):
    """What a decoded reply has; which of it means something depends on its function."""

    address: int
    count: int
    bits: Sequence[bool]
    registers: Sequence[int]


def checked_read(reply: Reply, block: Block) -> Answer:
    """The words of a reply of exactly the length that was asked for."""
    if not block.space.bits:
        words = tuple(reply.registers)
        return Answer(Got.OK, words) if len(words) == block.count else BAD
    bits = reply.bits
    if len(bits) != (block.count + 7) // 8 * 8:
        return BAD
    packed = 0
    for bit in reversed(bits[: block.count]):
        packed = packed << 1 | bit
    return Answer(Got.OK, tuple(packed >> 16 * i & 0xFFFF for i in range(block.words)))


def checked_write(reply: Reply, request: Request) -> Answer:
    """A write is acknowledged only by its own echo: address, and value or count."""
    if reply.address != request.address:
        return BAD
    if request.function == LONE_COIL:
        return ACKNOWLEDGED if [bool(b) for b in reply.bits[:1]] == [bool(request.values[0])] else BAD
    if request.function == LONE_REGISTER:
        return ACKNOWLEDGED if tuple(reply.registers) == request.values else BAD
    return ACKNOWLEDGED if reply.count == len(request.values) else BAD
