"""The simulator's in-memory network with a mill between its replies and the client, and a ledger of each connection."""

import asyncio
from collections.abc import Callable
from typing import Any

from benchctl.core.site import Endpoint, Instrument, Unit
from benchctl.field.sweep import decoder_of
from simulator.bench import Bench
from simulator.cable import Memory, MemoryTransport
from simulator.station import Conversation, Station
from simulator.wire import split
from tests.hostile.frames import CLOSE, Mill
from tests.hostile.ledger import READ_WORDS, Asked, Ledger

STEP_S = 2e-6  # between pieces that keep their order: more than the loop's grain


class Network(Memory):
    """Every connection of a bench, spoilt. `log` has all requests since it was last emptied, with their endpoints."""

    def __init__(self, bench: Bench, loop: asyncio.AbstractEventLoop, mill: Mill) -> None:
        super().__init__(bench, loop)
        self.mill = mill
        self.loop = loop
        self.log: list[tuple[Endpoint, Asked]] = []
        nouns: tuple[Unit | Instrument, ...] = (*bench.site.units, *bench.site.instruments)
        plans = [(noun.endpoint, decoder_of(noun).plan) for noun in nouns]
        self.fixed = {(endpoint, b.first) for endpoint, plan in plans for b in plan.blocks[plan.each :]}
        self.trembles = False  # figures of devices change with every reply
        self._banks = {(u.endpoint, u.unit_id): bench.banks[i] for i, u in enumerate(bench.site.units)}

    async def connect(self, endpoint: Endpoint, protocol_factory: Callable[[], Any]) -> Any:
        transport, protocol = await super().connect(endpoint, protocol_factory)
        transport.conversation = Spoilt(self, self._stations[endpoint], endpoint, transport)
        return transport, protocol

    def ordered(self, endpoint: Endpoint, unit_id: int) -> int:
        """The load that stands ordered at a unit; 0 for an instrument."""
        bank = self._banks.get((endpoint, unit_id))
        return bank.elements.order if bank else 0


class Spoilt(Conversation):
    """One connection's bytes: requests pass as they are, replies through the mill."""

    __slots__ = ("_at_s", "_endpoint", "_ledger", "_net", "_past", "_transport")

    def __init__(self, net: Network, station: Station, endpoint: Endpoint, transport: MemoryTransport) -> None:
        super().__init__(station, net.clock, self._reply, transport.close)
        self._net, self._endpoint, self._transport = net, endpoint, transport
        self._ledger, self._past, self._at_s = Ledger(), net.mill.past(), 0.0

    def feed(self, data: bytes) -> None:
        frames, rest = split(bytes(data))
        assert not rest, "the client sends whole frames"
        for transaction, unit_id, pdu in frames:
            asked = self._ledger.ask(transaction, unit_id, pdu)
            self._net.bench.advance(self._net.clock())
            asked.before = self._net.ordered(self._endpoint, unit_id)
            self._net.log.append((self._endpoint, asked))
        super().feed(data)
        for asked in self._ledger.asked[-len(frames) :]:
            asked.after = self._net.ordered(self._endpoint, asked.unit_id)
        del self._ledger.asked[:-4]

    def _reply(self, reply: bytes, at_s: float) -> None:
        reply = self._trembling(reply) if self._net.trembles else reply
        self._ledger.asked[-1].honest = reply[7:]
        loop_s = at_s - self._net._offset_s
        for data, late_s in self._net.mill.spoilt(reply, self._past):
            due_s = loop_s + late_s
            if due_s <= self._at_s and late_s < 0.05:  # pieces keep their order; what is much later stands in its own
                due_s = self._at_s + STEP_S
            self._at_s = max(self._at_s, due_s) if late_s < 0.05 else self._at_s
            self._net.loop.call_at(due_s, self._arrive, data)

    def _trembling(self, reply: bytes) -> bytes:
        """The reply with other last digits in some registers: an old one is then never by chance the right one."""
        rng = self._net.mill.rng
        if (
            reply[7] not in READ_WORDS
            or len(reply) < 30
            or (self._endpoint, self._ledger.asked[-1].first) in self._net.fixed
        ):
            return reply
        new = bytearray(reply)
        for _ in range(3):
            new[10 + 2 * rng.randrange((len(reply) - 9) // 2)] ^= rng.randint(1, 3)
        return bytes(new)

    def _arrive(self, data: bytes) -> None:
        if self._transport.is_closing():
            return
        if data == CLOSE:
            self._transport.abort()
            return
        self._ledger.arrive(data, self._net.loop.time())
        protocol = self._transport.get_protocol()
        assert isinstance(protocol, asyncio.Protocol)
        protocol.data_received(data)
