"""The client's side of one TCP connection: one request at a time, one time-out, replies to nobody skipped.

A reply belongs to the request under way when it has its transaction and its unit. A late one of an earlier request has
not, and waiting goes on until the deadline. How a request ends is always a value: the answer, SILENT at the deadline,
DOWN when the connection goes, BAD for bytes that are no Modbus, or whatever `end` says.
"""

import asyncio
import socket
from collections.abc import Callable

from benchctl.field.answer import BAD, DOWN, SILENT, Answer
from benchctl.field.modbus import Question, UnreadableError, next_frame

LAST_TRANSACTION = 0xFFFF


class Wire(asyncio.Protocol):
    """One connection. `lost(wire, why)` is called once when it has gone by itself; `why` is empty if nobody knows."""

    def __init__(self, lost: "Callable[[Wire, str], None]") -> None:
        self._loop = asyncio.get_running_loop()
        self._lost: Callable[[Wire, str], None] | None = lost
        self._transport: asyncio.Transport | None = None
        self._rest = b""  # the beginning of a frame
        self._transaction = 0
        self._question: Question | None = None
        self._waiter: asyncio.Future[Answer] | None = None

    @property
    def open(self) -> bool:
        """True from the connection's making until its end."""
        return self._transport is not None

    async def ask(self, question: Question, timeout_s: float) -> Answer:
        """Send a request and wait for its end. Not to be called before the last one has ended."""
        transport = self._transport
        if transport is None:
            return DOWN
        self._transaction = transaction = self._transaction % LAST_TRANSACTION + 1
        self._question = question
        waiter: asyncio.Future[Answer] = self._loop.create_future()
        self._waiter = waiter
        timer = self._loop.call_at(self._loop.time() + timeout_s, self.end, SILENT)
        transport.write(question.frame(transaction))
        try:
            return await waiter
        finally:
            timer.cancel()
            self._waiter = None

    def end(self, answer: Answer) -> None:
        """End the request under way, if there is one."""
        waiter = self._waiter
        if waiter is not None and not waiter.done():
            waiter.set_result(answer)

    def close(self, *, at_once: bool = False) -> None:
        """Close the connection from our side; a request under way ends DOWN, and `lost` is not called."""
        transport, self._transport, self._lost = self._transport, None, None
        self.end(DOWN)
        if transport is not None and at_once:
            transport.abort()
        elif transport is not None:
            transport.close()

    # -- called by the loop

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """The connection stands: small frames leave at once, and a dead peer is found out."""
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        sock = transport.get_extra_info("socket")
        if sock is not None:
            sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)

    def data_received(self, data: bytes) -> None:
        """Bytes of replies, cut anywhere."""
        buffer = self._rest + data if self._rest else bytes(data)
        try:
            while buffer:
                used, unit_id, transaction, pdu = next_frame(buffer)
                if not used:
                    break
                buffer = buffer[used:]
                if pdu:
                    self._reply(unit_id, transaction, pdu)
        except UnreadableError:
            self.end(BAD)
            buffer = b""
            self._gone("the device sent what is no Modbus frame")
        self._rest = buffer

    def _reply(self, unit_id: int, transaction: int, pdu: bytes) -> None:
        waiter, question = self._waiter, self._question
        if waiter is None or question is None or waiter.done() or unit_id != question.unit_id:
            return
        if transaction == self._transaction:
            waiter.set_result(question.answer(pdu))
        elif transaction == 0:  # a device that does not return it cannot be trusted to answer this one
            waiter.set_result(BAD)

    def connection_lost(self, exc: Exception | None) -> None:  # noqa: ARG002 - asyncio's signature
        """The peer or the network ended it."""
        self._gone("")

    def _gone(self, why: str) -> None:
        lost = self._lost
        self.close(at_once=True)
        if lost is not None:
            lost(self, why)
