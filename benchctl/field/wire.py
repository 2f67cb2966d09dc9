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
    """One connection. `ended(answer)` is called once for each request, at once when its end is known.

    `lost(wire, why)` is called once when the connection has gone by itself; `why` is empty if nobody knows.
    """

    def __init__(self, lost: "Callable[[Wire, str], None]", ended: Callable[[Answer], None]) -> None:
        self._loop = asyncio.get_running_loop()
        self._lost: Callable[[Wire, str], None] | None = lost
        self._ended = ended
        self._transport: asyncio.Transport | None = None
        self._rest = b""  # the beginning of a frame
        self._transaction = 0
        self._question: Question | None = None  # under way
        self._ahead: Question | None = None  # sent, and not asked yet
        self._timer: asyncio.TimerHandle | None = None

    @property
    def open(self) -> bool:
        """True from the connection's making until its end."""
        return self._transport is not None

    def ask(self, question: Question, timeout_s: float | None) -> None:
        """Send a request on an open connection. Not to be called before the last one has ended.

        timeout_s: None where somebody else will `end` it in time.
        """
        ahead, self._ahead = self._ahead, None
        self._question = question
        self._timer = None if timeout_s is None else self._loop.call_later(timeout_s, self.end, SILENT)
        if ahead is not question:
            self._send(question)

    def ask_ahead(self, question: Question) -> None:
        """Send a request that is asked in the same step of the loop: there it only waits for its reply."""
        self._ahead = question
        self._send(question)

    def _send(self, question: Question) -> None:
        assert self._transport is not None
        self._transaction = transaction = self._transaction % LAST_TRANSACTION + 1
        self._transport.write(question.frame(transaction))

    def end(self, answer: Answer) -> None:
        """End the request under way, if there is one."""
        if self._question is not None:
            self.forget()
            self._ended(answer)

    def forget(self) -> None:
        """Nobody waits for the request under way any more."""
        self._question = None
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def close(self, *, at_once: bool = False) -> None:
        """Close the connection from our side; a request under way ends DOWN, and `lost` is not called."""
        transport, self._transport, self._lost = self._transport, None, None
        if transport is not None and at_once:
            transport.abort()
        elif transport is not None:
            transport.close()
        self.end(DOWN)

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
            buffer = b""
            self._gone("the device sent what is no Modbus frame", BAD)
        self._rest = buffer

    def _reply(self, unit_id: int, transaction: int, pdu: bytes) -> None:
        question = self._question
        if question is None or unit_id != question.unit_id:
            return
        if transaction == self._transaction:
            self.end(question.answer(pdu))
        elif transaction == 0:  # a device that does not return it cannot be trusted to answer this one
            self.end(BAD)

    def connection_lost(self, exc: Exception | None) -> None:  # noqa: ARG002 - asyncio's signature
        """The peer or the network ended it."""
        self._gone("", DOWN)

    def _gone(self, why: str, answer: Answer) -> None:
        lost, waiting = self._lost, self._question is not None
        self.forget()
        self.close(at_once=True)
        if lost is not None:
            lost(self, why)
        if waiting:  # last, because who hears it may ask again at once
            self._ended(answer)
