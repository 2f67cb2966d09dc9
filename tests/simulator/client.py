"""A bare Modbus client for the tests: one request at a time, or raw bytes."""

import asyncio
from struct import pack, unpack

from benchctl.core.site import Endpoint
from simulator.cable import Memory


class Bare(asyncio.Protocol):
    """Collects what comes."""

    transport: asyncio.Transport

    def __init__(self) -> None:
        self.bytes = bytearray()
        self.lost: list[Exception | None] = []
        self.arrived = asyncio.Event()

    def connection_made(self, transport) -> None:
        self.transport = transport

    def data_received(self, data: bytes) -> None:
        self.bytes += data
        self.arrived.set()

    def connection_lost(self, exc: Exception | None) -> None:
        self.lost.append(exc)

    async def ask(self, pdu: bytes, unit: int = 1, timeout_s: float = 1.0) -> bytes:
        """The reply PDU. Raises TimeoutError."""
        self.bytes.clear()
        self.arrived.clear()
        self.transport.write(pack(">HHHB", 7, 0, len(pdu) + 1, unit) + pdu)
        await asyncio.wait_for(self.arrived.wait(), timeout_s)
        tid, protocol, length, answered = unpack(">HHHB", self.bytes[:7])
        assert (tid, protocol, length, answered) == (7, 0, len(self.bytes) - 6, unit)
        return bytes(self.bytes[7:])


async def connected(memory: Memory, endpoint: Endpoint) -> Bare:
    """A bare client on that endpoint."""
    _, protocol = await memory.connect(endpoint, Bare)
    return protocol
