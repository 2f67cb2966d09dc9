"""The run host's end: a loopback socket of its own, whose clients can neither hold it up nor make it grow.

Everything here runs in one asyncio loop, except `attached`, which any thread may ask.
"""

import asyncio
import os
import time
from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchctl import __version__
from benchctl.core.shown import Snapshot
from benchctl.core.site import Site
from benchctl.door import messages as m
from benchctl.door.card import HOST, Card, remove_card, write_card
from benchctl.door.guest import Connection
from benchctl.door.house import Guest, Receive, Rejected, Times
from benchctl.door.plates import InstrumentPlate, SourcePlate, UnitPlate, limits_of
from benchctl.door.proof import new_secret

__all__ = ["Door", "Guest", "Identity", "Receive", "Rejected", "Times"]

MOST = 32  # clients
STRANGERS = 128  # connections that have not said hello yet
CALLED: dict[m.Role, str] = {"console": "console", "visitor": "shell"}
NOTES = 20  # lines for the log from ping to ping


@dataclass(frozen=True, slots=True)
class Identity:
    """What a run host says of itself. speed: times real time, None = as fast as it goes. run: the record in hand.

    attendance: who must be there, in words. runs: the folder of all records.
    """

    site: Site
    site_sha256: str
    scan_period_s: float
    rehearsal: bool = False
    speed: float | None = 1.0
    attendance: tuple[str, ...] = ()
    run: str = ""
    runs: str = ""
    version: str = __version__


class Door:
    """Lets clients in, shows them what is, tells them what happens, brings their requests to `receive`.

    receive(guest, message) gives the data of the answer, or raises Rejected. identity may be replaced at any time:
    it is what the next client is told.
    """

    def __init__(
        self,
        folder: Path,
        identity: Identity,
        receive: Receive,
        *,
        times: Times = Times(),  # noqa: B008 - a value
        clock: Callable[[], float] = time.monotonic,
        log: Callable[[str], None] = lambda _: None,
    ) -> None:
        self.identity, self.times, self.secret = identity, times, new_secret()
        self.clock, self._log = clock, log
        self._folder, self._receive = folder, receive
        self._card: Card | None = None
        self._server: asyncio.Server | None = None
        self._ticking: asyncio.Task[None] | None = None
        self._open: dict[int, Connection] = {}
        self._inside: tuple[Connection, ...] = ()  # replaced, never changed: other threads read it
        self._work: set[asyncio.Task[None]] = set()
        self._count = self._notes = 0
        self._named: dict[m.Role, int] = dict.fromkeys(CALLED, 0)
        self._newest: Snapshot | None = None
        self._line: bytes | None = None  # of the newest

    # -- for the host

    async def open(self) -> Card:
        """Listen, and put the card where clients look for it. Raises CardFault, OSError.

        Raises ValueError when the identity cannot be told, for instance a speed without end.
        """
        self.welcome("0" * 64, "")
        loop = asyncio.get_running_loop()
        self._server = await loop.create_server(self._connection, HOST, 0)
        one = self.identity
        port = self._server.sockets[0].getsockname()[1]
        card = Card(
            site=one.site.name,
            site_sha256=one.site_sha256,
            rehearsal=one.rehearsal,
            pid=os.getpid(),
            port=port,
            secret=self.secret,
            started_wall_s=time.time(),
        )
        try:
            self._card = write_card(self._folder, card)
        except BaseException:
            self._server.close()
            raise
        self._ticking = loop.create_task(self._tick())
        return self._card

    def show(self, snapshot: Snapshot) -> None:
        """The newest scan, to every client that can take it now."""
        self._newest, self._line = snapshot, None
        line = self.newest() if self._inside else None
        if line is not None:
            for connection in self._inside:
                connection.show(line)

    def tell(self, event: m.Event) -> None:
        """Something that happened, to every client."""
        if self._inside:
            line = m.encode(event)
            for connection in self._inside:
                connection.send(line)

    @property
    def attached(self) -> int:
        """How many consoles have a loop that is alive. From any thread."""
        return len(self.consoles)

    @property
    def consoles(self) -> tuple[str, ...]:
        """The names of those consoles, in the order in which they came. From any thread."""
        now_s, most_s = self.clock(), self.times.attached_s
        known = [(c, c.ponged_s) for c in self._inside if _is_console(c)]
        return tuple([c.name for c, ponged_s in known if ponged_s is not None and now_s - ponged_s <= most_s])

    @property
    def guests(self) -> tuple[Guest, ...]:
        """The clients that are in."""
        return tuple(c.guest for c in self._inside if c.hello is not None)

    async def close(self, why: str) -> None:
        """Say why to every client, and close. Requests that are still in hand are given up."""
        if self._card is not None:
            remove_card(self._card)
        if self._server is not None:
            self._server.close()
        if self._ticking is not None:
            self._ticking.cancel()
        for task in tuple(self._work):
            task.cancel()
        await self._until(lambda: all(c.idle for c in self._inside))  # the last events are the run's outcome
        for connection in tuple(self._open.values()):
            connection.drop(why)
        await self._until(lambda: not self._open)

    async def _until(self, test: Callable[[], bool]) -> None:
        loop = asyncio.get_running_loop()
        end_s = loop.time() + self.times.linger_s
        while not test() and loop.time() < end_s:  # noqa: ASYNC110 - seldom, and not for long
            await asyncio.sleep(0.01)

    # -- for the connections

    def admit(self, connection: Connection, role: m.Role) -> str:
        """Let it in, or say why not. A client that does not answer any more makes room for one that does.

        It is called by what it is and a number that nobody else gets as long as this host lives.
        """
        if len(self._inside) >= MOST:
            silent = [c for c in self._inside if self._silent_s(c) > self.times.attached_s]
            if not silent:
                return f"{MOST} clients are attached already"
            max(silent, key=self._silent_s).drop("did not answer, and another client needs the place")
        self._named[role] += 1
        connection.name = f"{CALLED[role]} {self._named[role]}"
        self._inside = (*self._inside, connection)
        return ""

    def left(self, connection: Connection) -> None:
        """It is not served any more."""
        self._inside = tuple(c for c in self._inside if c is not connection)

    def lost(self, connection: Connection) -> None:
        """Its socket is closed."""
        self._open.pop(connection.number, None)

    def welcome(self, proof: str, console: str) -> m.Welcome:
        """The host's first words. console: what the client is called here."""
        one = self.identity
        return m.Welcome(
            proof=proof,
            version=one.version,
            site=one.site.name,
            title=one.site.title,
            units=tuple(UnitPlate.of(unit) for unit in one.site.units),
            instruments=tuple(InstrumentPlate.of(instrument) for instrument in one.site.instruments),
            source=SourcePlate.of(one.site.nameplate),
            limits=limits_of(one.site.limits),
            attendance=one.attendance,
            rehearsal=one.rehearsal,
            speed=one.speed,
            pid=os.getpid(),
            scan_period_s=one.scan_period_s,
            run=one.run,
            runs=one.runs,
            console=console,
        )

    def newest(self) -> bytes | None:
        """The newest snapshot as a line, made once for all."""
        if self._line is None and self._newest is not None:
            self._line = m.encode(m.Shown(snapshot=self._newest))
        return self._line

    def serve(self, work: Coroutine[Any, Any, None]) -> None:
        """Do something beside."""
        task = asyncio.get_running_loop().create_task(work)
        self._work.add(task)
        task.add_done_callback(self._work.discard)

    async def receive(self, guest: Guest, message: m.Request) -> dict[str, Any]:
        """Act on a request. Raises Rejected."""
        return await self._receive(guest, message)

    def note(self, text: str) -> None:
        """For whoever reads the host's log, which nobody outside may fill."""
        self._notes += 1
        if self._notes <= NOTES:
            self._log(text)

    def _connection(self) -> Connection:
        self._count += 1
        strangers = [c for c in self._open.values() if c.hello is None]
        if len(strangers) >= STRANGERS:  # whoever has said nothing must not keep others out
            strangers[0].cut()
        connection = self._open[self._count] = Connection(self, self._count)
        return connection

    def _silent_s(self, connection: Connection) -> float:
        return self.clock() - (connection.since_s if connection.ponged_s is None else connection.ponged_s)

    async def _tick(self) -> None:
        while True:
            await asyncio.sleep(self.times.ping_s)
            if self._notes > NOTES:
                self._log(f"{self._notes - NOTES} more of the kind")
            self._notes, now_s = 0, self.clock()
            for connection in tuple(self._open.values()):
                if connection.hello is not None:
                    connection.ping()
                connection.look(now_s)


def _is_console(connection: Connection) -> bool:
    return connection.hello is not None and connection.hello.role == "console"
