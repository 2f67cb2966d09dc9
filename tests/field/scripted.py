"""A Modbus TCP device whose every reply a test writes: sockets on loopback, or bytes over memory in virtual time."""

import asyncio
import struct
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from benchctl.core.site import Endpoint


@dataclass(frozen=True, slots=True)
class Asked:
    """One request as it came: MBAP fields and PDU."""

    tid: int
    unit_id: int
    pdu: bytes
    at_s: float

    @property
    def function(self) -> int:
        return self.pdu[0]

    @property
    def address(self) -> int:
        return int.from_bytes(self.pdu[1:3], "big")

    @property
    def count(self) -> int:
        return int.from_bytes(self.pdu[3:5], "big")

    def frame(self, pdu: bytes, *, tid: int | None = None, unit_id: int | None = None) -> bytes:
        """A reply frame, right unless told otherwise."""
        return (
            struct.pack(
                ">HHHB", self.tid if tid is None else tid, 0, len(pdu) + 1, self.unit_id if unit_id is None else unit_id
            )
            + pdu
        )


# A script answers a request with bytes at once, (delay, bytes), None for silence, or "close".
Script = Callable[[Asked], object]


def good(memory: dict[int, int] | None = None) -> Script:
    """A well-behaved device; registers and coils share the memory, what is not in it reads 0."""
    held: dict[int, int] = {} if memory is None else memory

    def script(asked: Asked) -> bytes:
        function, address, count = asked.function, asked.address, asked.count
        if function in (3, 4):
            words = [held.get(address + i, 0) for i in range(count)]
            return asked.frame(struct.pack(f">BB{count}H", function, 2 * count, *words))
        if function in (1, 2):
            packed = sum((held.get(address + i, 0) & 1) << i for i in range(count))
            size = (count + 7) // 8
            return asked.frame(bytes((function, size)) + packed.to_bytes(size, "little"))
        if function == 5:
            held[address] = int(count == 0xFF00)
            return asked.frame(asked.pdu)
        if function == 6:
            held[address] = count
            return asked.frame(asked.pdu)
        if function == 16:
            held.update({address + i: w for i, w in enumerate(struct.unpack(f">{count}H", asked.pdu[6:]))})
        else:
            held.update({address + i: asked.pdu[6 + i // 8] >> i % 8 & 1 for i in range(count)})
        return asked.frame(asked.pdu[:5])

    return script


@dataclass
class Device(asyncio.Protocol):
    """The device's side of one connection."""

    script: Script
    asked: list[Asked]
    made: Callable[["Device"], None]
    transport: asyncio.Transport = field(init=False)
    buffer: bytes = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport
        self.made(self)

    def data_received(self, data: bytes) -> None:
        self.buffer += data
        while len(self.buffer) >= 8 and len(self.buffer) >= 6 + int.from_bytes(self.buffer[4:6], "big"):
            tid, _, length, unit_id = struct.unpack(">HHHB", self.buffer[:7])
            pdu, self.buffer = self.buffer[7 : 6 + length], self.buffer[6 + length :]
            loop = asyncio.get_running_loop()
            request = Asked(tid, unit_id, pdu, loop.time())
            self.asked.append(request)
            reply = self.script(request)
            if reply == "close":
                self.transport.close()
            elif isinstance(reply, tuple):
                loop.call_later(reply[0], self.send, reply[1])
            elif isinstance(reply, bytes):
                self.send(reply)

    def send(self, data: bytes) -> None:
        if not self.transport.is_closing():
            self.transport.write(data)


@dataclass
class Served:
    """A listening device: where, what it was asked, its connections."""

    endpoint: Endpoint
    asked: list[Asked]
    connections: list[Device]


@asynccontextmanager
async def served(script: Script, *, gateway: bool = False) -> AsyncIterator[Served]:
    """Serve a script on an ephemeral port of loopback."""
    asked: list[Asked] = []
    connections: list[Device] = []
    loop = asyncio.get_running_loop()
    server = await loop.create_server(lambda: Device(script, asked, connections.append), "127.0.0.1", 0)
    try:
        yield Served(Endpoint("127.0.0.1", server.sockets[0].getsockname()[1], gateway), asked, connections)
    finally:
        server.close()
        for device in connections:
            device.transport.abort()
        await asyncio.sleep(0)


class Pipe(asyncio.Transport):
    """One end of an in-memory connection in the loop's time."""

    def __init__(self, loop: asyncio.AbstractEventLoop, protocol: asyncio.Protocol) -> None:
        super().__init__()
        self.loop, self.protocol, self.closed = loop, protocol, False
        self.peer: Pipe

    def write(self, data) -> None:
        if not self.closed and not self.peer.closed:
            self.loop.call_soon(self.peer.receive, bytes(data))

    def receive(self, data: bytes) -> None:
        if not self.closed:
            self.protocol.data_received(data)

    def close(self) -> None:
        if not self.closed:
            self.closed = True
            self.loop.call_soon(self.protocol.connection_lost, None)
            self.loop.call_soon(self.peer.close)

    def abort(self) -> None:
        self.close()

    def is_closing(self) -> bool:
        return self.closed


class Memory:
    """Scripted devices by endpoint, connected over memory."""

    def __init__(self, scripts: dict[Endpoint, Script]) -> None:
        self.scripts = scripts
        self.asked: dict[Endpoint, list[Asked]] = {e: [] for e in scripts}
        self.attempts: list[tuple[float, Endpoint]] = []
        self.refusing: set[Endpoint] = set()
        self.connections: list[Device] = []

    async def connect(self, endpoint, factory):
        """The `connect` of a link."""
        loop = asyncio.get_running_loop()
        self.attempts.append((loop.time(), endpoint))
        if endpoint in self.refusing:
            raise ConnectionRefusedError(111, "refused")
        client = factory()
        device = Device(self.scripts[endpoint], self.asked[endpoint], self.connections.append)
        near, far = Pipe(loop, client), Pipe(loop, device)
        near.peer, far.peer = far, near
        device.connection_made(far)
        client.connection_made(near)
        return near, client
