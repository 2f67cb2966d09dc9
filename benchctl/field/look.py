"""One register, looked at in every way: the raw words, the four byte orders, the neighbours one down and one up.

A wrong word order and an address that is off by one both give plausible numbers; side by side they show at a glance.
"""

import asyncio
import struct
from dataclasses import dataclass

from benchctl.core.registers import Kind, Order, Space
from benchctl.core.site import Endpoint
from benchctl.field.answer import Answer, Got
from benchctl.field.link import CONNECT_TIMEOUT_S, Connect, Link
from benchctl.field.points import Block
from benchctl.field.scalars import Words, reader

EXCEPTIONS = {
    1: "the device does not know this function",
    2: "the device has no such address",
    3: "the device refuses this count or value",
    4: "the device failed inside",
    5: "accepted, still at work",
    6: "the device is busy",
    8: "the device's memory failed its parity check",
    10: "the gateway has no path to the unit",
    11: "the unit behind the gateway does not answer",
}
SILENCES = {
    Got.NOT_ASKED: "not asked",
    Got.SILENT: "no answer in time",
    Got.BAD: "an answer that does not fit the question",
    Got.DOWN: "no connection",
}


@dataclass(frozen=True, slots=True)
class Look:
    """What lies at one address: the words from there on, and every way to read them.

    integers: INT16, UINT16; wide: per word order the values as INT32, UINT32, FLOAT32 (None where only one word came).
    """

    address: int
    words: Words
    fault: str  # empty, or why there are no words
    int16: int | None = None
    uint16: int | None = None
    int32: dict[Order, int] | None = None
    uint32: dict[Order, int] | None = None
    float32: dict[Order, float] | None = None


@dataclass(frozen=True, slots=True)
class RegisterView:
    """An address with its neighbours one down and one up: a map that is off by one shows at a glance."""

    space: Space
    unit_id: int
    below: Look
    here: Look
    above: Look

    @property
    def answered(self) -> bool:
        """True when the device gave an answer of any kind."""
        return any(look.words or look.fault in EXCEPTIONS.values() for look in (self.below, self.here, self.above))


async def try_register(
    endpoint: Endpoint,
    unit_id: int,
    space: Space,
    address: int,
    *,
    connect: Connect | None = None,
    timeout_s: float = 1.0,
) -> RegisterView:
    """Read two registers (or one bit) at an address and its neighbours. Raises ValueError for an impossible address."""
    if not 0 <= address <= 0xFFFF:
        raise ValueError(f"address {address} is outside 0 to 65535")
    loop = asyncio.get_running_loop()
    link = Link(endpoint, connect=connect)
    try:
        await link.ready(loop.time() + CONNECT_TIMEOUT_S)
        looks = []
        for at in (address - 1, address, address + 1):
            if not 0 <= at <= 0xFFFF:
                looks.append(Look(at, (), "no such address in Modbus"))
                continue
            pair = not space.bits and at < 0xFFFF
            answer = await link.read(unit_id, Block(space, at, 2 if pair else 1), timeout_s, float("inf"))
            if pair and answer.got is Got.EXCEPTION and answer.code == 2:
                answer = await link.read(unit_id, Block(space, at, 1), timeout_s, float("inf"))
            looks.append(_look(at, answer, space, link.fault))
        return RegisterView(space, unit_id, looks[0], looks[1], looks[2])
    finally:
        link.close()
        await asyncio.sleep(0)


def _look(address: int, answer: Answer, space: Space, link_fault: str) -> Look:
    if answer.got is Got.EXCEPTION:
        return Look(address, (), EXCEPTIONS.get(answer.code, f"exception {answer.code}"))
    if answer.got is not Got.OK:
        said = f": {link_fault}" if answer.got is Got.DOWN and link_fault else ""
        return Look(address, (), SILENCES[answer.got] + said)
    words = answer.words
    if space.bits:
        return Look(address, words, "")
    one = struct.pack(">H", words[0])
    int16, uint16 = struct.unpack(">h", one)[0], words[0]
    if len(words) < 2:
        return Look(address, words, "", int16, uint16)
    ways = {
        kind: {order: reader(kind, order)(words) for order in Order} for kind in (Kind.INT32, Kind.UINT32, Kind.FLOAT32)
    }
    return Look(
        address,
        words,
        "",
        int16,
        uint16,
        {o: int(v) for o, v in ways[Kind.INT32].items()},
        {o: int(v) for o, v in ways[Kind.UINT32].items()},
        ways[Kind.FLOAT32],
    )
