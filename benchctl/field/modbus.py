"""One socket to one endpoint: the only file that knows pymodbus.

The library sends and receives; everything it is too trusting or too patient about is done here: one request at a time
with writes before reads, our own time-outs, checks of every reply, at once an end to what waits when the connection is
lost, and connecting again by a fixed schedule. Silence, exceptions and bad replies are values, never raised.
"""

import asyncio
import logging
from collections.abc import Callable, Coroutine
from typing import Any

from pymodbus.client import AsyncModbusTcpClient
from pymodbus.exceptions import ConnectionException, ModbusException, ModbusIOException
from pymodbus.pdu import ExceptionResponse, ModbusPDU
from pymodbus.pdu.bit_message import (
    ReadCoilsRequest,
    ReadDiscreteInputsRequest,
    WriteMultipleCoilsRequest,
    WriteSingleCoilRequest,
)
from pymodbus.pdu.register_message import (
    ReadHoldingRegistersRequest,
    ReadInputRegistersRequest,
    WriteMultipleRegistersRequest,
    WriteSingleRegisterRequest,
)

from benchctl.core.registers import Space
from benchctl.core.site import Endpoint
from benchctl.field.answer import BAD, DOWN, NOT_ASKED, SILENT, Answer, Got
from benchctl.field.encode import COILS, LONE_COIL, LONE_REGISTER, REGISTERS, Request
from benchctl.field.points import Block
from benchctl.field.replies import checked_read, checked_write
from benchctl.field.turn import Turn

# (endpoint, factory of the client's protocol) → transport and protocol, instead of a TCP connection.
Connect = Callable[
    [Endpoint, Callable[[], asyncio.Protocol]], Coroutine[Any, Any, tuple[asyncio.Transport, asyncio.Protocol]]]

CONNECT_TIMEOUT_S = 3.0
FIRST_WAIT_S, LONGEST_WAIT_S = 0.2, 5.0  # between attempts to connect, doubling
SETTLED_S = 5.0  # a connection that lasted so long starts the schedule anew
MUTE_REQUESTS = 3  # silent requests in a row, from every device asked, after which the socket is given up

logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # what it has to say comes back as answers

_READS: dict[Space, type[ModbusPDU]] = {
    Space.COIL: ReadCoilsRequest, Space.DISCRETE: ReadDiscreteInputsRequest,
    Space.HOLDING: ReadHoldingRegistersRequest, Space.INPUT: ReadInputRegistersRequest,
}


class _LostError(Exception):
    """The connection went while a request waited."""


class _CutError(Exception):
    """The request was abandoned for something more urgent."""


class _UnreadableError(Exception):
    """Bytes came that are no Modbus frame."""


class Link:
    """A connection that looks after itself. Make it inside a running loop; all its times are the loop's."""

    def __init__(self, endpoint: Endpoint, *, connect: Connect | None = None, gap_s: float = 0.0) -> None:
        self.endpoint = endpoint
        self.turn = Turn(gap_s)
        self.fault = ""  # why there is no connection, in words
        self.attempts = 0
        self.connected_s = 0.0
        self._loop = asyncio.get_running_loop()
        self._client = AsyncModbusTcpClient(
            endpoint.host, port=endpoint.port, timeout=CONNECT_TIMEOUT_S, retries=0, reconnect_delay=0,
            trace_connect=self._edge)
        self._client.set_max_no_responses(1 << 30)
        self._ctx: Any = self._client.ctx
        self._guard()
        if connect is not None:
            self._ctx.call_create = lambda: connect(endpoint, lambda: self._ctx)
        self._connecting: asyncio.Task[bool] | None = None
        self._next_attempt_s = 0.0
        self._wait_s = FIRST_WAIT_S
        self._closed = False
        self._reading = False
        self._mute: list[int] = []  # unit ids of silent requests since the last reply
        self._asked: set[int] = set()  # unit ids asked on this connection

    # -- the connection

    @property
    def connected(self) -> bool:
        """True while there is a connection."""
        return bool(self._client.connected)

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
        now = self._loop.time()
        self._next_attempt_s = now + self._wait_s
        self._wait_s = min(2.0 * self._wait_s, LONGEST_WAIT_S)
        self._ctx.comm_params.timeout_connect = CONNECT_TIMEOUT_S
        try:
            made = await self._client.connect()
        except (OSError, ModbusException) as fault:
            made = False
            self.fault = f"no connection: {fault}"
        if not made:
            self.fault = self.fault or "no connection: refused, unreachable or too slow"
            # The attempt itself may have taken longer than the wait.
            self._next_attempt_s = max(self._next_attempt_s, self._loop.time() + FIRST_WAIT_S)
            return False
        self.connected_s = self._loop.time()
        self.fault = ""
        self._mute.clear()
        self._asked.clear()
        return True

    def _edge(self, up: bool) -> None:
        """Called by the library when the connection is made or lost."""
        if up:
            return
        lasted = self._loop.time() - self.connected_s
        if lasted >= SETTLED_S:
            self._wait_s = FIRST_WAIT_S
        self._next_attempt_s = max(self._next_attempt_s, self._loop.time() + self._wait_s)
        if not self.fault:
            self.fault = "the device closed the connection (does it accept one connection only?)"
        self._fail(_LostError())

    def abort(self, why: str) -> None:
        """Give the socket up at once; the schedule decides when to connect again."""
        self.fault = why
        transport = self._ctx.transport
        if transport is not None:
            transport.abort()
            self._ctx.connection_lost(None)

    def close(self) -> None:
        """Close for good. What waits is told that the connection is lost."""
        self._closed = True
        if self._connecting is not None:
            self._connecting.cancel()
        self._fail(_LostError())
        self.turn.dismiss_all()
        self._client.close()

    # -- one request at a time

    async def read(self, unit_id: int, block: Block, timeout_s: float, until_s: float) -> Answer:
        """Ask for one block. Never raises but CancelledError; see `Got` for how it may end."""
        if not await self.turn.take(write=False):
            return NOT_ASKED
        try:
            now = self._loop.time()
            if now + 1e-9 >= until_s:
                return NOT_ASKED
            self._reading = True
            pdu = _READS[block.space](address=block.first, count=block.count, dev_id=unit_id)
            reply = await self._ask(pdu, min(timeout_s, until_s - now))
            return reply if isinstance(reply, Answer) else checked_read(reply, block)
        finally:
            self._reading = False
            self.turn.release()

    async def write(self, unit_id: int, request: Request, timeout_s: float, until_s: float) -> Answer:
        """Send one write, before all reads that wait. OK = acknowledged; the answer has no words.

        NOT_ASKED = not sent. DOWN, SILENT and BAD = sent without a proper answer, unless there was no connection
        before (then NOT_ASKED).
        """
        if not self.connected or not await self.turn.take(write=True):
            return NOT_ASKED
        try:
            now = self._loop.time()
            if now + 1e-9 >= until_s or not self.connected:
                return NOT_ASKED
            reply = await self._ask(_write_pdu(unit_id, request), min(timeout_s, until_s - now))
            return reply if isinstance(reply, Answer) else checked_write(reply, request)
        finally:
            self.turn.release()

    def cut_reads(self) -> None:
        """Abandon the read in flight and those that wait: they end NOT_ASKED at once."""
        self.turn.dismiss_readers()
        if self._reading:
            self._fail(_CutError())

    async def quiesce(self, most_s: float) -> None:
        """Wait until nothing is in flight, `most_s` at most; a read that lasts longer is abandoned."""
        if not self.turn.busy:
            return
        idle = self._loop.create_task(self._when_idle())
        done, _ = await asyncio.wait({idle}, timeout=most_s)
        if not done:
            self.cut_reads()
            await idle

    async def _when_idle(self) -> None:
        if await self.turn.take(write=True):
            self.turn.release()

    async def _ask(self, pdu: ModbusPDU, timeout_s: float) -> ModbusPDU | Answer:
        """Send a request and wait for its reply: a reply with the right unit and transaction, or why there is none."""
        self._ctx.comm_params.timeout_connect = timeout_s
        self._asked.add(pdu.dev_id)
        try:
            reply: ModbusPDU = await self._client.execute(False, pdu)
        except _CutError:
            return NOT_ASKED
        except _UnreadableError:
            return BAD
        except (_LostError, ConnectionException):
            return DOWN
        except ModbusIOException:
            return self._no_reply(pdu.dev_id) if self.connected else DOWN
        finally:
            self.turn.replied()
        self._mute.clear()
        if reply.dev_id != pdu.dev_id or reply.transaction_id != pdu.transaction_id:
            return BAD
        if isinstance(reply, ExceptionResponse):
            named = reply.function_code & 0x7F == pdu.function_code
            return Answer(Got.EXCEPTION, code=reply.exception_code) if named else BAD
        return reply if reply.function_code == pdu.function_code else BAD

    def _no_reply(self, unit_id: int) -> Answer:
        """Count a silence. The socket is given up only when every device behind it is silent."""
        self._mute.append(unit_id)
        if len(self._mute) >= MUTE_REQUESTS and set(self._mute) >= self._asked:
            self.abort(f"no answer to {len(self._mute)} requests in a row")
        return SILENT

    def _fail(self, fault: Exception) -> None:
        """End the request in flight."""
        waiting = self._ctx.response_future
        if self.turn.busy and not waiting.done():
            waiting.set_exception(fault)

    def _guard(self) -> None:
        """Bytes that the library cannot read raise inside it; make that a bad reply and drop the connection."""
        inner = self._ctx.callback_data

        def callback_data(data: bytes, addr: tuple[str, int] | None = None) -> int:
            try:
                used: int = inner(data, addr=addr)
            except Exception:  # whatever a device may send, the scan goes on
                self._fail(_UnreadableError())
                self.abort("the device sent what is no Modbus frame")
                return len(data)
            return used

        self._ctx.callback_data = callback_data


def _write_pdu(unit_id: int, request: Request) -> ModbusPDU:
    """The library's request for a write."""
    values = list(request.values)
    if request.function == LONE_COIL:
        return WriteSingleCoilRequest(address=request.address, bits=[bool(values[0])], dev_id=unit_id)
    if request.function == COILS:
        return WriteMultipleCoilsRequest(address=request.address, bits=[bool(v) for v in values], dev_id=unit_id)
    if request.function == LONE_REGISTER:
        return WriteSingleRegisterRequest(address=request.address, registers=values, dev_id=unit_id)
    if request.function == REGISTERS:
        return WriteMultipleRegistersRequest(address=request.address, registers=values, dev_id=unit_id)
    raise ValueError(f"function {request.function} is none of 5, 6, 15, 16")
