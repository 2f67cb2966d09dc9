"""One connection to the run host: a stranger until he has proven the secret, then a guest.

Whatever a client does or leaves undone costs it its own connection at most. What goes out never waits for it: of
snapshots and pings only the newest is kept for a socket that is full, and of events and answers a bounded number.
"""

import asyncio
import socket
import time
from collections import deque
from contextlib import suppress
from dataclasses import replace
from typing import cast

from benchctl.door import messages as m
from benchctl.door.house import Guest, House, Rejected
from benchctl.door.pieces import answer_line
from benchctl.door.proof import CLIENT, HOST, new_nonce, proof, proven

QUEUE = 500  # events and answers that wait for a client
ASKED = 32  # requests of one client in hand at once
RATE = 400  # lines of one client from ping to ping
SEND_BYTES = 64 << 10  # of the system's own buffer: what a stopped client finds when it goes on is not older than that


class Connection(asyncio.Protocol):
    """A socket of the door. Lives in the door's loop."""

    def __init__(self, house: House, number: int) -> None:
        self.number = number
        self.hello: m.Hello | None = None
        self.name = ""  # once it is in
        self.ponged_s: float | None = None
        self.since_s, self.since_wall_s = house.clock(), time.time()
        self._house = house
        self._nonce = new_nonce()
        self._transport: asyncio.Transport | None = None
        self._gone = False
        self._half, self._searched, self._half_since_s = bytearray(), 0, 0.0
        self._full = False
        self._waiting: deque[bytes] = deque()
        self._snapshot: bytes | None = None
        self._ping = False  # one is due
        self._pinged = self._pong = 0
        self._lines = self._asked = 0

    @property
    def guest(self) -> Guest:
        """Who this is. Only for those who are in."""
        assert self.hello is not None
        age_s = None if self.ponged_s is None else self._house.clock() - self.ponged_s
        said = self.hello
        return Guest(self.number, said.who, said.role, said.version, self.since_wall_s, age_s, self.name)

    # -- what goes out

    def send(self, line: bytes) -> None:
        """An event or an answer, in order; too many that are not read end the connection."""
        if len(self._waiting) >= QUEUE:
            self.drop(f"{QUEUE} messages were not read")
            return
        self._waiting.append(line)
        self._flush()

    def show(self, line: bytes) -> None:
        """A snapshot; it replaces one that could not be sent yet."""
        self._snapshot = line
        self._flush()

    def ping(self) -> None:
        """Ask for a pong, as soon as that can be sent."""
        self._ping = True
        self._flush()

    def _flush(self) -> None:
        """Send until the socket is full: asyncio calls pause_writing as soon as it would have to keep a byte."""
        while self._transport is not None and not self._full and not self._gone:
            if self._ping:
                self._ping, self._pinged = False, self._pinged + 1
                line = m.encode(m.Ping(n=self._pinged))
            elif self._waiting:
                line = self._waiting.popleft()
            elif self._snapshot is not None:
                line, self._snapshot = self._snapshot, None
            else:
                return
            self._transport.write(line)

    @property
    def idle(self) -> bool:
        """True when no event or answer waits."""
        return not self._waiting

    def drop(self, why: str, reason: m.RefusedFor = "message") -> None:
        """End it with a last word, if that leaves in time. What still comes in is thrown away."""
        if self._gone or self._transport is None:
            return
        self._leave()
        if why:
            who = f"{self.hello.who} ({self.hello.role})" if self.hello else "a stranger"
            self._house.note(f"connection {self.number} of {who} ended: {why}")
        last = m.Bye(why=why) if self.hello else m.Refused(reason=reason, why=why)
        self._transport.write(m.encode(last))
        with suppress(OSError):  # not closed yet: that could take the last word back; the other side may be gone
            self._transport.write_eof()
        asyncio.get_running_loop().call_later(self._house.times.linger_s, self._transport.abort)

    def cut(self) -> None:
        """End it at once, without a word."""
        self._leave()
        self._house.lost(self)
        if self._transport is not None:
            self._transport.abort()

    def _leave(self) -> None:
        self._gone = True
        self._house.left(self)
        self._waiting.clear()
        self._half, self._snapshot = bytearray(), None

    # -- asyncio.Protocol

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """The first word is the host's."""
        self._transport = cast("asyncio.Transport", transport)
        if self._gone:
            self._transport.abort()
            return
        self._transport.set_write_buffer_limits(high=0)
        with suppress(OSError):  # the other side may be gone already
            transport.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BYTES)
        self._waiting.append(m.encode(m.Challenge(nonce=self._nonce)))
        self._flush()

    def pause_writing(self) -> None:
        """The socket is full."""
        self._full = True

    def resume_writing(self) -> None:
        """The socket is empty again."""
        self._full = False
        self._flush()

    def connection_lost(self, exc: Exception | None) -> None:  # noqa: ARG002 - asyncio's signature
        """The client is gone, however it went."""
        if not self._gone:
            self._leave()
        self._house.lost(self)

    def data_received(self, data: bytes) -> None:
        """Take the whole lines out of what has come in."""
        if self._gone:
            return
        if not self._half:
            self._half_since_s = self._house.clock()
        self._half += data
        while not self._gone:
            longest = m.CLIENTS_LINE if self.hello else m.STRANGERS_LINE
            end = self._half.find(b"\n", self._searched)
            if (len(self._half) if end < 0 else end) > longest:
                self.drop(f"a line of more than {longest} bytes")
            elif end < 0:
                self._searched = len(self._half)
                return
            else:
                line = bytes(self._half[:end])
                del self._half[: end + 1]
                self._searched, self._half_since_s = 0, self._house.clock()
                self._line(line)

    def look(self, now_s: float) -> None:
        """Once a ping: what has this connection left undone for too long?"""
        self._lines = 0
        times = self._house.times
        if self.hello is None and now_s - self.since_s > times.hello_s:
            self.drop(f"nothing said for {times.hello_s:g} s", "time")
        elif self._half and now_s - self._half_since_s > times.line_s:
            self.drop(f"a line was not ended within {times.line_s:g} s", "time")

    # -- what comes in

    def _line(self, line: bytes) -> None:
        self._lines += 1
        if self._lines > RATE:
            self.drop(f"more than {RATE} lines within {self._house.times.ping_s:g} s")
            return
        try:
            message = m.decode(line, m.CLIENT_KINDS if self.hello else {"hello": m.Hello})
        except m.VersionFault as fault:
            self.drop(f"this run host speaks version {m.PROTOCOL} of the messages, the client {_version(fault)}; "
                      "use one version of benchctl for both", "version")  # fmt: skip
        except m.MessageFault as fault:
            self.drop(f"not understood: {fault}")
        else:
            self._message(message)

    def _message(self, message: m.Message) -> None:
        match message:
            case m.Hello():
                self._hello(message)
            case m.Pong(n=n):
                self._ponged(n)
            case m.Bye():
                self.drop("")
            case _ if isinstance(message, m.REQUESTS):
                self._request(message)

    def _hello(self, hello: m.Hello) -> None:
        if self.hello is not None:
            self.drop("hello was said twice")
            return
        secret = self._house.secret
        if not proven(hello.proof, secret, CLIENT, self._nonce, hello.nonce):
            self.drop("the secret is not that of this run host", "secret")
            return
        why = self._house.admit(self, hello.role)
        if why:
            self.drop(why, "full")
            return
        self.hello = hello
        self.send(m.encode(self._house.welcome(proof(secret, HOST, self._nonce, hello.nonce), self.name)))
        self.ping()
        newest = self._house.newest()
        if newest is not None:
            self.show(newest)

    def _ponged(self, n: int) -> None:
        if n > self._pinged:
            self.drop(f"pong {n} came before its ping")
        elif n > self._pong:
            self._pong, self.ponged_s = n, self._house.clock()

    def _request(self, message: m.Request) -> None:
        if self._asked >= ASKED:
            self.send(m.encode(m.Rejected(id=message.id, why=f"{ASKED} requests of yours are in hand already")))
            return
        self._asked += 1
        self._house.serve(self._answer(message))

    async def _answer(self, message: m.Request) -> None:
        """Have a request done and send what came of it; it is done even if the client goes away meanwhile."""
        guest = self.guest
        if isinstance(message, m.Order) and message.who:
            guest = replace(guest, who=message.who)
        try:
            line = await answer_line(m.Accepted(id=message.id, data=await self._house.receive(guest, message)))
        except Rejected as fault:
            line = m.encode(m.Rejected(id=message.id, why=str(fault)))
        except Exception as fault:  # whatever it is, the client must have an answer and the others go on
            told = f"{message.kind} failed: {type(fault).__name__}: {fault}"
            self._house.note(told)
            line = m.encode(m.Rejected(id=message.id, why=told))
        if len(line) > m.HOSTS_LINE:
            line = m.encode(m.Rejected(id=message.id, why=f"the answer is longer than {m.HOSTS_LINE} bytes"))
        self._asked -= 1
        if not self._gone:
            self.send(line)


def _version(fault: m.VersionFault) -> str:
    return "none" if fault.found is None else f"version {fault.found}"
