"""Connections that exist only in memory, in the loop of the client: same bytes as TCP, no sockets, virtual
time.

The server's side is served inside the client's `write`; only the reply travels through the loop, at the time
it would arrive. Replies keep their order by a queue, because the loop's timers do not for equal times.
"""

import asyncio
from collections import deque
from collections.abc import Callable
from contextvars import copy_context
from typing import Any, TypeVar

from benchctl.core.scenario import FAULT_BY_NAME
from benchctl.core.site import Endpoint
from simulator.bench import Bench
from simulator.cables import Closable
from simulator.station import Conversation, stations

P = TypeVar("P", bound=asyncio.Protocol)


class Memory:
    """All endpoints of a bench. The bench's time is the loop's from here on: `clock()` gives it."""

    def __init__(self, bench: Bench, loop: asyncio.AbstractEventLoop, dead_time: bool = True) -> None:
        self.bench, self._loop = bench, loop
        self._stations = stations(bench, dead_time)
        self._offset_s = bench.now_s - loop.time()
        # Connections break when the cable does, not when somebody next asks. Faults that wait for a segment are found
        # at the next request.
        for fault in bench.scenario.faults:
            if FAULT_BY_NAME[fault.fault].on == "cable" and fault.during is None:
                loop.call_at(fault.at_s - self._offset_s, self._wake)

    def clock(self) -> float:
        """The bench's time now."""
        return self._loop.time() + self._offset_s

    def _wake(self) -> None:
        self.bench.advance(self.clock())

    async def connect(self, endpoint: Endpoint, protocol_factory: Callable[[], P]) -> "tuple[MemoryTransport, P]":
        """Connect a client.

        Raises ConnectionRefusedError if there is no such endpoint or its cable is cut or refuses.
        """
        await asyncio.sleep(0)
        self.bench.advance(self.clock())
        station = self._stations.get(endpoint)
        if station is None or station.cable.closed:
            raise ConnectionRefusedError(f"{endpoint.host}:{endpoint.port} refuses connections")
        protocol = protocol_factory()
        transport = MemoryTransport(self._loop, protocol, station.cable.sockets, endpoint, self._offset_s)
        transport.conversation = Conversation(station, self.clock, transport.deliver, transport.close)
        protocol.connection_made(transport)
        return transport, protocol


class MemoryTransport(asyncio.Transport, Closable):
    """The client's transport."""

    conversation: Conversation

    def __init__(
        self,
        loop: asyncio.AbstractEventLoop,
        protocol: asyncio.Protocol,
        sockets: set[Closable],
        endpoint: Endpoint,
        offset_s: float,
    ) -> None:
        super().__init__()
        self._loop, self._protocol, self._sockets, self._offset_s = loop, protocol, sockets, offset_s
        self._endpoint = endpoint
        self._queue: deque[bytes] = deque()
        self._context = copy_context()  # one for all replies
        self._closed = False
        sockets.add(self)

    def write(self, data: Any) -> None:
        """Bytes to the server."""
        if not self._closed:
            self.conversation.feed(data)

    def deliver(self, reply: bytes, at_s: float) -> None:
        """A reply that arrives at that time of the bench."""
        self._queue.append(reply)
        self._loop.call_at(at_s - self._offset_s, self._arrive, context=self._context)

    def _arrive(self) -> None:
        reply = self._queue.popleft()
        if not self._closed:
            self._protocol.data_received(reply)

    def close(self) -> None:
        """End the connection from the client's side, or because the server has no more use of it."""
        self._lose(None)

    def abort(self) -> None:
        """End it as a broken cable does."""
        self._lose(ConnectionResetError("the connection is lost"))

    def _lose(self, why: Exception | None) -> None:
        if not self._closed:
            self._closed = True
            self._sockets.discard(self)
            self._loop.call_soon(self._protocol.connection_lost, why)

    def is_closing(self) -> bool:
        """True once closed."""
        return self._closed

    def get_extra_info(self, name: str, default: Any = None) -> Any:
        """Addresses, as a socket would give."""
        return {"peername": (self._endpoint.host, self._endpoint.port), "sockname": ("memory", 0)}.get(name, default)

    def set_protocol(self, protocol: asyncio.BaseProtocol) -> None:
        """Hand the connection to another protocol."""
        assert isinstance(protocol, asyncio.Protocol)
        self._protocol = protocol

    def get_protocol(self) -> asyncio.BaseProtocol:
        """Who receives."""
        return self._protocol

    def can_write_eof(self) -> bool:
        """Never half closed."""
        return False

    def get_write_buffer_size(self) -> int:
        """Nothing waits here."""
        return 0
