"""One socket to one endpoint, which looks after itself.

One request at a time with writes before reads, our own time-outs, at once an end to what waits when the connection is
lost, and connecting again by a fixed schedule. Silence, exceptions and bad replies are values, never raised.
"""

import asyncio
from collections.abc import Callable, Coroutine
from math import inf
from typing import Any

from benchctl.core.site import Endpoint
from benchctl.field.answer import DOWN, NOT_ASKED, SILENT, Answer, Got
from benchctl.field.modbus import Question, read_question
from benchctl.field.points import Block
from benchctl.field.turn import Go, Turn
from benchctl.field.wire import Wire

# (endpoint, factory of the client's protocol) → transport and protocol, instead of a TCP connection.
Connect = Callable[
    [Endpoint, Callable[[], asyncio.Protocol]], Coroutine[Any, Any, tuple[asyncio.Transport, asyncio.Protocol]]
]
End = Callable[[Answer], None]

CONNECT_TIMEOUT_S = 3.0
FIRST_WAIT_S, LONGEST_WAIT_S = 0.2, 5.0  # between attempts to connect, doubling
SETTLED_S = 5.0  # a connection that lasted so long starts the schedule anew
MUTE_REQUESTS = 3  # silent requests in a row, from every device asked, after which the socket is given up
SAME_INSTANT_S = 1e-9  # a deadline that close is over: sums of times are not exact
CLOSED = "the device closed the connection (does it accept one connection only?)"


async def tcp(
    endpoint: Endpoint,
    factory: Callable[[], asyncio.Protocol],
) -> tuple[asyncio.Transport, asyncio.Protocol]:
    """Connect by TCP. Raises OSError."""
    return await asyncio.get_running_loop().create_connection(factory, endpoint.host, endpoint.port)


class Link:
    """A connection that looks after itself. Make it inside a running loop; all its times are the loop's."""

    def __init__(self, endpoint: Endpoint, *, connect: Connect | None = None, gap_s: float = 0.0) -> None:
        self.endpoint = endpoint
        self.turn = Turn(gap_s)
        self.fault = ""  # why there is no connection, in words
        self.troubles = 0  # connections lost and attempts that failed
        self.trouble = ""  # the last of them, in words
        self.attempts = 0
        self.connected_s = 0.0
        self._loop = asyncio.get_running_loop()
        self._dial = connect or tcp
        self._wire: Wire | None = None
        self._connecting: asyncio.Task[bool] | None = None
        self._next_attempt_s = 0.0
        self._wait_s = FIRST_WAIT_S
        self._closed = False
        self._end: End | None = None  # of the request under way
        self._writing = False
        self._unit_id = 0
        self._waiting: dict[End, Go] = {}  # of requests that wait for their turn
        self._mute: list[int] = []  # unit ids of silent requests since the last reply
        self._asked: set[int] = set()  # unit ids asked on this connection

    # -- the connection

    @property
    def connected(self) -> bool:
        """True while there is a connection."""
        return self._wire is not None

    def supervise(self) -> "asyncio.Task[bool] | None":
        """Begin to connect if there is no connection and the schedule allows it; the running attempt, or None."""
        if self.connected or self._closed:
            return None
        if self._connecting is None or self._connecting.done():
            if self._loop.time() < self._next_attempt_s:
                return None
            self._connecting = self._loop.create_task(self._connect())
        return self._connecting

    async def ready(self, until_s: float) -> bool:
        """Wait for a connection until `until_s` at most, if one can be had by then."""
        attempt = self.supervise()
        if attempt is not None:
            await asyncio.wait({attempt}, timeout=max(0.0, until_s - self._loop.time()))
        return self.connected

    async def _connect(self) -> bool:
        self.attempts += 1
        self._next_attempt_s = self._loop.time() + self._wait_s
        self._wait_s = min(2.0 * self._wait_s, LONGEST_WAIT_S)
        try:
            async with asyncio.timeout(CONNECT_TIMEOUT_S):
                _, wire = await self._dial(self.endpoint, lambda: Wire(self._lost, self._ended))
        except OSError as fault:  # of which TimeoutError is one
            return self._refused(f"no connection: {_reason(fault)}")
        assert isinstance(wire, Wire)
        if not wire.open:
            return self._refused(CLOSED)
        self._wire = wire
        self.connected_s = self._loop.time()
        self.fault = ""
        self._mute.clear()
        self._asked.clear()
        return True

    def _failed(self, why: str) -> None:
        self.fault = self.trouble = why
        self.troubles += 1

    def _refused(self, why: str) -> bool:
        self._failed(why)
        # The attempt itself may have taken longer than the wait.
        self._next_attempt_s = max(self._next_attempt_s, self._loop.time() + FIRST_WAIT_S)
        return False

    def _lost(self, wire: Wire, why: str) -> None:
        """The connection has gone."""
        if wire is not self._wire:
            return
        self._wire = None
        self._failed(why or CLOSED)
        if self._loop.time() - self.connected_s >= SETTLED_S:
            self._wait_s = FIRST_WAIT_S
        self._next_attempt_s = max(self._next_attempt_s, self._loop.time() + self._wait_s)

    def abort(self, why: str) -> None:
        """Give the socket up at once; the schedule decides when to connect again."""
        wire = self._wire
        if wire is not None:
            self._lost(wire, why)
            wire.close(at_once=True)

    def close(self) -> None:
        """Close for good. What waits is told that the connection is lost."""
        self._closed = True
        if self._connecting is not None:
            self._connecting.cancel()
        self.turn.dismiss_all()
        wire, self._wire = self._wire, None
        if wire is not None:
            wire.close()

    # -- one request at a time

    def begin(
        self,
        question: Question,
        timeout_s: float,
        until_s: float,
        end: End,
        *,
        write: bool = False,
        watched: bool = False,
    ) -> Answer | None:
        """Send a request as soon as it has its turn. An answer: it ended at once. None: `end(answer)` will be called.

        watched: the caller calls `expire` at `until_s`, so that all requests of all lines need but one timer.

        NOT_ASKED = not sent. DOWN, SILENT and BAD = sent without a proper answer, unless there was no connection
        before: then a read is DOWN and a write NOT_ASKED.
        """
        if self.turn.free():
            return self._send(question, timeout_s, until_s, end, write=write, watched=watched)

        timer = None if watched or until_s == inf else self._loop.call_at(until_s, self._too_late, end)

        def go(mine: bool) -> None:
            del self._waiting[end]
            if timer is not None:
                timer.cancel()
            answer: Answer | None = NOT_ASKED
            if mine:
                answer = self._send(question, timeout_s, until_s, end, write=write, watched=watched)
            if answer is not None:
                end(answer)

        self._waiting[end] = go
        self.turn.take(go, write=write)
        return None

    def _too_late(self, end: End) -> None:
        """The deadline of a request has come, and it has not had its turn."""
        go = self._waiting.pop(end, None)
        if go is not None:
            self.turn.leave(go)
            end(NOT_ASKED)

    def begin_ahead(self, question: Question) -> None:
        """Send a write, if it would have its turn at once; who begins it in the same step of the loop finds it sent.

        So the frames of a drop are on every wire before anything is kept of the first.
        """
        if self._wire is not None and self.turn.free():
            self._wire.ask_ahead(question)
            self.turn.release()

    def _send(
        self, question: Question, timeout_s: float, until_s: float, end: End, *, write: bool, watched: bool
    ) -> Answer | None:
        """Send in our turn."""
        wire, left_s = self._wire, until_s - self._loop.time()
        if left_s <= SAME_INSTANT_S or wire is None:
            self.turn.release()
            return NOT_ASKED if write or left_s <= SAME_INSTANT_S else DOWN
        self._asked.add(question.unit_id)
        self._end, self._writing, self._unit_id = end, write, question.unit_id
        try:
            wire.ask(question, timeout_s if timeout_s < left_s else None if watched else left_s)
        except Exception:
            self.withdraw(end)  # what could not be sent keeps nobody waiting
            raise
        return None

    def _ended(self, answer: Answer) -> None:
        """The request under way has ended; count silences."""
        end, self._end = self._end, None
        self.turn.replied()
        if answer.got is Got.SILENT:
            self._no_reply(self._unit_id)
        elif self._mute and answer.got in _REPLIES:
            self._mute.clear()
        self.turn.release()
        if end is not None:
            end(answer)

    def expire(self, end: End) -> None:
        """The deadline of what `end` waits for has come."""
        if self._end == end and self._wire is not None:
            self._wire.end(SILENT)

    def withdraw(self, end: End) -> None:
        """Ask no longer for what `end` waits for: it will not be called."""
        if self._end == end:
            self._end = None
            if self._wire is not None:
                self._wire.forget()
            self.turn.replied()
            self.turn.release()
        elif end in self._waiting:
            self.turn.leave(self._waiting.pop(end))

    async def ask(self, question: Question, timeout_s: float, until_s: float, *, write: bool = False) -> Answer:
        """Send a request and wait for its end. Never raises but CancelledError; see `Got` for how it may end."""
        waiter: asyncio.Future[Answer] = self._loop.create_future()

        def end(answer: Answer) -> None:
            if not waiter.done():
                waiter.set_result(answer)

        answer = self.begin(question, timeout_s, until_s, end, write=write)
        if answer is not None:
            return answer
        try:
            return await waiter
        except asyncio.CancelledError:
            self.withdraw(end)
            raise

    async def read(self, unit_id: int, block: Block, timeout_s: float, until_s: float) -> Answer:
        """Ask for one block."""
        return await self.ask(read_question(unit_id, block), timeout_s, until_s)

    def cut_reads(self) -> None:
        """Abandon the read in flight and those that wait: they end NOT_ASKED at once."""
        self.turn.dismiss_readers()
        if self._end is not None and not self._writing and self._wire is not None:
            self._wire.end(NOT_ASKED)

    async def quiesce(self, most_s: float) -> None:
        """Wait until a write would go out at once: for the end of what is in flight and of the silence after it.

        Nothing else is waited for, and nothing at all on a free line; a read ends after `most_s` at the latest.
        """
        if self.turn.free():
            self.turn.release()
            return
        idle = asyncio.Event()
        self.turn.take(lambda mine: self._idle(idle, mine), write=True)
        timer = self._loop.call_later(most_s, self.cut_reads)
        try:
            await idle.wait()
        finally:
            timer.cancel()

    def _idle(self, idle: asyncio.Event, mine: bool) -> None:
        if mine:
            self.turn.release()
        idle.set()

    def _no_reply(self, unit_id: int) -> None:
        """Count a silence. The socket is given up only when every device behind it is silent."""
        self._mute.append(unit_id)
        if len(self._mute) >= MUTE_REQUESTS and set(self._mute) >= self._asked:
            self.abort(f"no answer to {len(self._mute)} requests in a row")


_REPLIES = (Got.OK, Got.EXCEPTION, Got.BAD)


def _reason(fault: OSError) -> str:
    """Why a connection could not be had, in words."""
    if isinstance(fault, TimeoutError):
        return "nobody answers at this address"
    if isinstance(fault, ConnectionRefusedError):
        return "the device refuses it (is the port right?)"
    return fault.strerror or str(fault) or "it cannot be reached"
