"""The controller's process: engine, door, log, signals and life time put together.

The main thread has the loop of the clients; the engine has a thread of its own, and so has each record. If the door
breaks, the bench goes on: nobody is attached then, and the load comes off in the site's time.
"""

import asyncio
import os
import signal
import time
import traceback
from collections.abc import Callable
from contextlib import ExitStack, suppress
from dataclasses import replace
from datetime import datetime
from typing import Any

from benchctl import __version__
from benchctl.claim import FOLDER as CLAIMS
from benchctl.claim import claim, endpoints
from benchctl.clocks import running_clock
from benchctl.controller.awake import Awake
from benchctl.controller.broadcast import Broadcast
from benchctl.controller.connections import Connections
from benchctl.controller.ending import Ending
from benchctl.controller.introduce import identity
from benchctl.controller.look import Beside
from benchctl.controller.news import Happened, News
from benchctl.controller.owner import Closing, Owner
from benchctl.controller.recent import Recent
from benchctl.controller.requests import ANSWER_S, Requests
from benchctl.controller.session import Session, at_rest
from benchctl.controller.terms import Terms
from benchctl.controller.words import told
from benchctl.controller.world import World
from benchctl.core.decision import Frame, Settings
from benchctl.core.snapshot import snapshot
from benchctl.door import messages as m
from benchctl.door.card import FOLDER as CARDS
from benchctl.door.server import Door
from benchctl.engine import Chain, Engine
from benchctl.field.chain import Chain as FieldChain
from benchctl.folders import on_network
from benchctl.record.recover import close_all_interrupted
from benchctl.rehearsal import RehearsedChain, paced_loop

LOOK_S = 0.5
SIGNALS = ("SIGTERM", "SIGINT", "SIGBREAK")


class Host:
    """Owns a chain until nobody needs it. log: takes a line, and must not wait."""

    def __init__(self, terms: Terms, log: Callable[[str], None]) -> None:
        self._terms, self._write = terms, log
        self._ending = Ending(terms.site, terms.ends_after_s)
        self._why = "it was broken off"
        self._door: Door | None = None
        self._rehearsed: RehearsedChain | None = None
        self._recent = Recent(terms.site)
        self._world = World(terms, lambda: self._owner, ANSWER_S)

    async def run(self) -> int:
        """Own the chain; returns the exit code. Raises ClaimFault when somebody else owns a part of it."""
        site = self._terms.site
        with ExitStack() as held:
            if not self._terms.rehearsal:
                held.enter_context(claim(endpoints(site), "control", site.name, self._terms.state / CLAIMS))
            return await self._own()

    def _clear_up(self) -> None:
        """Close what a crash has left, and say what a record on this disk is worth. May take long: in a thread."""
        for _, words in close_all_interrupted(self._terms.runs, self._terms.site.name):
            self._log(words)
        if not self._terms.rehearsal and on_network(self._terms.runs):
            self._log(f"{self._terms.runs}: is on a network drive, where a record can be lost: use another folder")

    async def _own(self) -> int:
        loop = asyncio.get_running_loop()
        loop.set_exception_handler(lambda _, what: self._log(f"a fault of benchctl itself: {_fault(what)}"))
        terms = self._terms
        settings = Settings.of(terms.site, None, terms.scan_period_s)
        session = Session(terms, lambda outcome: _call(loop, self._closed, outcome))
        news = News(loop, self._show, self._tell, lambda *told: self._requests.answered(*told))  # noqa: PLW0108
        self._owner = Owner(settings, self._make_loop, self._make_chain, lambda s, c: self._engine(s, c, session, news))
        self._requests = Requests(self._owner, session, self._log, self._recent, self._world)
        self._broadcast = Broadcast(terms, loop, self._log, self._say)
        self._awake = Awake(terms.rehearsal, self._owner.between_scans)
        self._owner.start()
        try:
            self._awake.start()
            await self._open_door()
            self._broadcast.start()
            self._catch_signals(loop)
            self._log(f"run host for {terms.site.name}, process {os.getpid()}, benchctl {__version__}")
            clearing = asyncio.create_task(asyncio.to_thread(self._clear_up))  # units come before old records
            code = await self._watch()
            await clearing
            return code
        finally:
            self._owner.stop()
            await self._awake.end()
            await asyncio.to_thread(session.end)
            await asyncio.sleep(0)  # what the last closing has told
            if self._door is not None:
                await self._door.close(self._owner.fault or self._why)
            await self._broadcast.end(self._owner.fault or self._why)

    # -- the engine's side

    def _make_loop(self) -> asyncio.AbstractEventLoop:
        return paced_loop(self._terms.pace) if self._terms.rehearsal else asyncio.new_event_loop()

    def _make_chain(self, loop: asyncio.AbstractEventLoop) -> Closing:
        if not self._terms.rehearsal:
            return FieldChain(self._terms.site)
        self._rehearsed = RehearsedChain(self._terms.site, loop, self._terms.scenario, self._terms.seed)
        return self._rehearsed

    def _engine(self, settings: Settings, chain: Chain, session: Session, news: News) -> Engine:
        rehearsal, begun_s, loop = self._terms.rehearsal, time.time(), asyncio.get_running_loop()
        wire = chain if isinstance(chain, FieldChain) else None
        self._requests.beside = lambda: Beside(wire.said, wire.absent, wire.faults) if wire else Beside()
        connections = Connections(
            self._terms.site,
            lambda: wire.troubles if wire else {},
            lambda event: engine.note(event),  # noqa: PLW0108 - made below
        )
        engine = Engine(
            settings,
            chain,
            (lambda: begun_s + loop.time()) if rehearsal else time.time,
            (  # each on its own: one that fails is left out
                *((self._rehearsed.listen,) if self._rehearsed else ()),
                connections.listen,
                lambda frame: session.write(frame, engine.settings),
                lambda frame: self._recent.listen(frame, session.current),
                lambda _: self._world.listen(session.current),
                lambda frame: news.put(frame, engine.settings),
            ),
            session.health,
            attached=self._somebody,
            consoles=lambda: self._door.consoles if self._door is not None else (),
            running=None if rehearsal else running_clock(),
        )
        if self._rehearsed is not None:
            self._world.watch(self._rehearsed, engine)
        return engine

    def _somebody(self) -> bool | None:
        """Whether a client is attached; None where nobody has to be. In the engine's thread."""
        if not self._world.terms.needs_person:
            return None
        return self._door is not None and self._door.attached > 0

    # -- the clients' side

    async def _open_door(self) -> None:
        terms = self._terms
        self._door = Door(terms.state / CARDS, identity(terms), self._requests.receive, log=self._log)
        await self._door.open()

    def _show(self, frame: Frame, settings: Settings) -> None:
        self._requests.frame(frame, settings)
        self._awake.show(frame)
        if self._door is not None:
            run, terms = self._requests.run_path, self._world.terms
            if (run, terms.pace) != (self._door.identity.run, self._door.identity.speed):
                self._door.identity = replace(identity(terms), run=run)
            kwh, whole = self._recent.energy.figures
            pace = self._world.true_pace
            shown = snapshot(frame, settings, energy_kwh=kwh, energy_whole=whole, pace=pace)
            self._door.show(shown)
            self._broadcast.show(shown, run)

    def _tell(self, happened: Happened) -> None:
        event = told(self._terms.site, happened)
        self._log(f"{event.what}: {event.text}" + (f" ({event.who})" if event.who else ""), happened.frame.wall_s)
        self._say(event)

    def _closed(self, outcome: dict[str, Any]) -> None:
        """A run's record is closed: clients that wait for its outcome get it."""
        word = str(outcome["outcome"])
        latest = self._requests.latest
        told = f"{outcome['run']}: {word}" + (f"; {outcome['problem']}" if outcome["problem"] else "")
        self._log(told, latest.wall_s if latest else None)
        self._say(m.Event(number=0, wall_s=time.time(), what="outcome", text=word, data=outcome))

    def _say(self, event: m.Event) -> None:
        """To everybody who is there, and kept for those who come."""
        self._recent.tell(event)
        if self._door is not None:
            self._door.tell(event)
        self._broadcast.tell(event)

    async def _watch(self) -> int:
        """Until nobody needs it, or the engine has ended; returns the exit code."""
        while self._owner.alive:
            there = self._door.guests if self._door is not None else ()
            guests = sum(guest.role == "console" for guest in there)  # who only watches needs no run host
            self._ending.idle_s = self._world.terms.ends_after_s
            why = self._ending.over(self._requests.latest, guests, time.monotonic())
            if why:
                self._why = why
                self._log(f"ends: {why}")
                return 0
            await asyncio.sleep(LOOK_S)
        self._log(f"the engine has ended: {self._owner.fault}")
        if self._owner.cause is not None:
            self._log("".join(traceback.format_exception(self._owner.cause)))
        return 1

    def _catch_signals(self, loop: asyncio.AbstractEventLoop) -> None:
        for name in SIGNALS:
            number = getattr(signal, name, None)
            if number is None:
                continue
            try:
                loop.add_signal_handler(number, self._signalled, name)
            except NotImplementedError:  # Windows
                signal.signal(number, lambda *_, name=name: loop.call_soon_threadsafe(self._signalled, name))
        if hasattr(signal, "SIGHUP"):
            loop.add_signal_handler(signal.SIGHUP, self._log, "a terminal has gone (SIGHUP): nothing changes")

    def _signalled(self, name: str) -> None:
        self._log(f"signal {name}")
        command, latest = self._ending.signal(name), self._requests.latest
        if latest is None or not at_rest(latest):
            with suppress(RuntimeError):  # the engine has ended, and so will we
                self._requests.submit(command)

    def _log(self, line: str, wall_s: float | None = None) -> None:
        at = datetime.fromtimestamp(time.time() if wall_s is None else wall_s).astimezone()
        with suppress(OSError, ValueError):  # a full disk, a broken pipe or a closed file must not end it
            self._write(f"{at.isoformat(timespec='milliseconds')}  {line}")


def _fault(what: dict[str, Any]) -> str:
    """What asyncio tells of an exception that nobody awaited, in a line."""
    fault = what.get("exception")
    return f"{what['message']}: {type(fault).__name__}: {fault}" if fault else str(what["message"])


def _call(loop: asyncio.AbstractEventLoop, what: Callable[..., object], *args: object) -> None:
    """From another thread."""
    with suppress(RuntimeError):  # the loop has ended
        loop.call_soon_threadsafe(what, *args)
