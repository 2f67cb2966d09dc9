"""A bench served as real Modbus TCP.

One listening socket an endpoint, several unit ids behind one where the site says so.
"""

import asyncio
import contextlib
from collections.abc import Callable
from functools import partial
from typing import Any, Literal

from benchctl.core.site import Endpoint
from simulator.bench import Bench
from simulator.cables import Closable
from simulator.station import Conversation, Station, stations

TICK_S = 0.05


class Server:
    """Serves a bench. clock: the bench's time; dead_time False: answers at once."""

    def __init__(self, bench: Bench, clock: Callable[[], float], dead_time: bool = True) -> None:
        self._bench, self._clock = bench, clock
        self._stations = stations(bench, dead_time)
        self._listening: list[asyncio.Server] = []
        self._ticking: asyncio.Task[None] | None = None

    async def start(
        self, host_override: str | None = None, ports: Literal["site", "ephemeral"] = "site"
    ) -> dict[Endpoint, tuple[str, int]]:
        """Listen.

        Returns where each endpoint is. Raises OSError when a port cannot be had; nothing listens then.
        """
        loop = asyncio.get_running_loop()
        places: dict[int, tuple[str, int]] = {}
        try:
            for station in dict.fromkeys(self._stations.values()):
                host = host_override or station.endpoint.host
                port = station.endpoint.port if ports == "site" else 0
                server = await loop.create_server(partial(_Connection, station, self._clock), host, port)
                self._listening.append(server)
                address = server.sockets[0].getsockname()
                places[id(station)] = (address[0], address[1])
        except OSError:
            await self.stop()
            raise
        self._ticking = asyncio.create_task(self._tick())
        return {endpoint: places[id(station)] for endpoint, station in self._stations.items()}

    async def _tick(self) -> None:
        """Faults of the cable act on time though nobody asks anything."""
        while True:
            self._bench.advance(self._clock())
            await asyncio.sleep(TICK_S)

    async def stop(self) -> None:
        """End every connection and stop listening."""
        if self._ticking:
            self._ticking.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._ticking
        for server in self._listening:
            server.close()
        for station in self._stations.values():
            station.cable.break_off()
        for server in self._listening:
            await server.wait_closed()
        self._listening.clear()


class _Connection(asyncio.Protocol, Closable):
    """One client."""

    def __init__(self, station: Station, clock: Callable[[], float]) -> None:
        self._station, self._clock = station, clock
        self._loop = asyncio.get_running_loop()
        self._conversation = Conversation(station, clock, self._send, self.abort)
        self._transport: asyncio.Transport | None = None
        self._queue: list[bytes] = []

    def connection_made(self, transport: Any) -> None:
        """A client came; a cut cable lets nobody in."""
        self._transport = transport
        self._station.cable.sockets.add(self)
        if self._station.cable.closed:
            transport.abort()

    def data_received(self, data: bytes) -> None:
        """Bytes of requests."""
        self._conversation.feed(data)

    def connection_lost(self, exc: Exception | None) -> None:  # noqa: ARG002 - asyncio's signature
        """The client went."""
        self._station.cable.sockets.discard(self)
        self._transport = None

    def _send(self, reply: bytes, at_s: float) -> None:
        wait_s = at_s - self._clock()
        if wait_s <= 0 and not self._queue:
            if self._transport:
                self._transport.write(reply)
            return
        self._queue.append(reply)
        self._loop.call_later(max(0.0, wait_s), self._leave)

    def _leave(self) -> None:
        reply = self._queue.pop(0)
        if self._transport:
            self._transport.write(reply)

    def abort(self) -> None:
        """End the connection as a broken cable does."""
        if self._transport:
            self._transport.abort()
