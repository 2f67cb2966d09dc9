"""Tells a broker of a bench: a thread and a loop of its own, which nothing waits for and which takes nothing in.

What is put into the outbox is told when the broker is there. Of a scan only the newest is ever told, and only once: a
broker that was gone gets the present and not the past. Events and the outcome of a run wait for it, within bounds.
"""

import asyncio
import random
import secrets
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, Literal

from benchctl.core.site import Site
from benchctl.files.broker import Broker
from benchctl.mqtt import drawn, topics
from benchctl.mqtt.given import Heard, Ran, Stamp, Terms, Told
from benchctl.mqtt.outbox import Outbox
from benchctl.mqtt.patience import Patience
from benchctl.mqtt.payloads import Head, Presence
from benchctl.mqtt.wire import BROKE, Outgoing, Post, WireFault, outgoing

BATCH = 20  # events that are on their way at once
STATE_S = 10.0  # after which the state is told again although its words are the same
SILENT_S = 5.0  # without a scan: then the bench is silent, at least
LOOK_S = 1.0  # from one look at the bench's words to the next, where snapshots come more seldom
SILENT_SCANS = 5.0  # ... and in scan periods
FAREWELL_S = 3.0  # for what still waits at the end
GONE = "the connection broke without a farewell: the run host was killed, or the network is gone"
THROWN_OUT = (
    "the connection is lost again and again: does another client go by our name, or do the broker's rules forbid what "
    "we publish? From now on it is tried less often"
)

Tell = Callable[[str], None]


@dataclass(slots=True)
class Said:
    """What the broker has been told in this connection; told again only when it is something else."""

    begun_s: float
    looked_s: float = -1e9
    snapshot_s: float = -1e9
    state_s: float = -1e9
    scan: int = -1
    words: tuple[Any, ...] | None = None
    alarms: tuple[Any, ...] | None = None
    run: Ran | None = None
    presence: str = ""


@dataclass(slots=True)
class _Count:
    """Numbers of what was told, by kind, in this publisher's life."""

    by: dict[str, int] = field(default_factory=dict)

    def next(self, leaf: topics.Leaf) -> int:
        self.by[leaf.name] = self.by.get(leaf.name, 0) + 1
        return self.by[leaf.name]


class Publisher:
    """One bench at one broker. log takes a line; say takes a line that people at the bench should see. Any thread."""

    def __init__(
        self,
        broker: Broker,
        site: Site,
        terms: Terms,
        *,
        log: Tell,
        say: Tell | None = None,
        chance: Callable[[], float] = random.random,
    ) -> None:
        self._broker, self._site, self._terms = broker, site, terms
        self._log, self._say, self._chance = log, say or log, chance
        world: topics.World = "rehearsal" if terms.rehearsal else "real"
        self.tree = topics.Tree(broker.root, world, broker.bench or site.name)
        self.session = secrets.token_hex(8)
        self.outbox = Outbox(time.monotonic)
        self.silent_s = max(SILENT_S, SILENT_SCANS * terms.scan_period_s)
        self._count, self._patience = _Count(), Patience()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._wake, self._ending = asyncio.Event(), asyncio.Event()
        self._why, self._closing = "it was broken off", False
        self._connected_at = ""
        self._thread = threading.Thread(target=self._main, name="broker", daemon=True)

    # -- from any thread

    def start(self) -> None:
        """Begin to look for the broker."""
        self._thread.start()

    def show(self, heard: Heard) -> None:
        """A scan."""
        self.outbox.show(heard)

    def tell(self, told: Told) -> None:
        """An event."""
        self.outbox.tell(told)

    def ran(self, ran: Ran) -> None:
        """What is known of a run."""
        self.outbox.ran(ran)

    def close(self, why: str, patience_s: float = FAREWELL_S) -> bool:
        """Tell what waits and say farewell; False when that took too long. Takes up to patience_s."""
        self._why, self._closing = why, True
        if self._thread.ident is None:
            return True  # it was never started
        if self._loop is not None:
            with suppress(RuntimeError):  # it has ended already
                self._loop.call_soon_threadsafe(self._ending.set)
        self._thread.join(patience_s)
        return not self._thread.is_alive()

    # -- in its own thread

    def _main(self) -> None:
        try:
            # The library watches sockets, which the usual loop of Windows cannot.
            with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
                self._loop = runner.get_loop()
                self.outbox.wake = self._woken
                runner.run(self._keep())
        except Exception as fault:  # the bench goes on, whatever happens here
            what = f"{type(fault).__name__}: {fault}"
            self._log(f"a fault of benchctl itself, the broker is told nothing any more: {what}")
        if self.outbox.waiting(1):
            self._log(f"{self._broker}: the last events were not told: the broker is not there")

    def _woken(self) -> None:
        if self._loop is not None:
            with suppress(RuntimeError):
                self._loop.call_soon_threadsafe(self._wake.set)

    async def _keep(self) -> None:
        """Connect, tell, and again, until it is to end."""
        while not (self._closing or self._ending.is_set()):
            begun_s: float | None = None
            try:
                async with outgoing(self._broker, self._presence_post("offline", GONE, None)) as out:
                    begun_s = time.monotonic()
                    self._patience.connected()
                    self._say(f"{self._broker}: connected, as {self.tree.topic(topics.PRESENCE)}")
                    await self._serve(out)
                    return
            except WireFault as fault:
                self._failed(str(fault), begun_s)
            with suppress(TimeoutError):
                await asyncio.wait_for(self._ending.wait(), self._patience.wait_s(self._chance()))

    def _failed(self, why: str, begun_s: float | None) -> None:
        if begun_s is None:
            if self._patience.failed():
                self._log(f"the broker cannot be told: {why} (try {self._patience.failures})")
            return
        now_s = time.monotonic()
        often = self._patience.lost(now_s, now_s - begun_s)
        self._say(f"{self._broker}: connection lost: {why}")
        if often:
            self._say(f"{self._broker}: {THROWN_OUT}")

    async def _serve(self, out: Outgoing) -> None:
        """Tell all that is to be told, until it is to end. Raises WireFault."""
        said = Said(time.monotonic())
        self._connected_at = drawn.moment(time.time())
        await self._publish(out, topics.PLATE, lambda s: drawn.plate(s, time.time(), self._site, self._terms))
        while not self._ending.is_set():
            self._wake.clear()
            await self._round(out, said)
            for refusal in out.refusals():
                self._say(f"{self._broker}: the broker does not take what we publish: {refusal}")
            if not self.outbox.waiting(1):
                await self._rest(out, said)
        await self._farewell(out, said)

    async def _rest(self, out: Outgoing, said: Said) -> None:
        """Until an event comes, a look is due, or the end. Raises WireFault when the connection ends meanwhile."""
        due_s = said.looked_s + min(LOOK_S, self._terms.snapshot_s) - time.monotonic()
        waits: list[asyncio.Future[Any]] = [asyncio.ensure_future(e.wait()) for e in (self._wake, self._ending)]
        try:
            await asyncio.wait([*waits, out.gone], timeout=max(0.0, due_s), return_when=asyncio.FIRST_COMPLETED)
        finally:
            for wait in waits:
                wait.cancel()
        if out.gone.done():
            raise WireFault(BROKE)

    async def _round(self, out: Outgoing, said: Said) -> None:
        """One of everything that is due; of the events a batch."""
        now_s, latest = time.monotonic(), self.outbox.latest
        every_s = min(LOOK_S, self._terms.snapshot_s)
        if now_s >= said.looked_s + every_s:
            said.looked_s = max(said.looked_s + every_s, now_s - 0.5 * every_s)  # a grid, unless it was missed
            if latest is not None and now_s - latest.came_s <= self.silent_s:
                await self._tell_scan(out, said, latest.heard, now_s)
        run = self.outbox.run
        if run is not None and run is not said.run:
            await self._publish(out, topics.RUN, lambda s: drawn.run(s, run))
            said.run = run
        await self._tell_presence(out, said)
        await self._tell_events(out)

    async def _tell_scan(self, out: Outgoing, said: Said, heard: Heard, now_s: float) -> None:
        """State and alarms where they are news, and a scan that has not been told, at its rate."""
        if (words := drawn.words(heard)) != said.words or now_s - said.state_s >= STATE_S:
            await self._publish(out, topics.STATE, lambda s: drawn.state(s, heard, self._site))
            said.words, said.state_s = words, now_s
        if (alarms := drawn.alarm_words(heard)) != said.alarms:
            await self._publish(out, topics.ALARMS, lambda s: drawn.standing(s, heard))
            said.alarms = alarms
        if now_s >= said.snapshot_s + self._terms.snapshot_s and heard.shown.number != said.scan:
            said.snapshot_s = max(said.snapshot_s + self._terms.snapshot_s, now_s - 0.5 * self._terms.snapshot_s)
            said.scan = heard.shown.number
            await self._publish(out, topics.SNAPSHOT, lambda s: drawn.live(s, heard, self._site))

    async def _tell_presence(self, out: Outgoing, said: Said) -> None:
        latest, now_s = self.outbox.latest, time.monotonic()
        age_s = None if latest is None else now_s - latest.came_s
        if age_s is None and now_s - said.begun_s <= self.silent_s:
            return  # it begins
        word: Literal["online", "silent"] = "online" if age_s is not None and age_s <= self.silent_s else "silent"
        if word == said.presence:
            return
        why = "" if word == "online" else "no scan yet" if age_s is None else f"no scan for {age_s:.0f} s"
        await out.publish(self._presence_post(word, why, time.time()))
        said.presence = word

    async def _tell_events(self, out: Outgoing) -> None:
        batch = self.outbox.waiting(BATCH)
        if not batch:
            return
        lost = self.outbox.lost
        posts = [
            self._post(topics.EVENT, drawn.event(self._stamp(one.seq), one.told, lost), one.told.what) for one in batch
        ]
        told = await asyncio.gather(*(out.publish(post) for post in posts), return_exceptions=True)
        for one, fault in zip(batch, told, strict=True):
            if isinstance(fault, BaseException):
                raise fault
            self.outbox.confirmed(one.seq)

    async def _farewell(self, out: Outgoing, said: Said) -> None:
        """What still waits, then that we go."""
        run = self.outbox.run
        if run is not None and run is not said.run:
            await self._publish(out, topics.RUN, lambda s: drawn.run(s, run))
        while self.outbox.waiting(1):
            await self._tell_events(out)
        await out.publish(self._presence_post("offline", self._why, time.time()))

    async def _publish(self, out: Outgoing, leaf: topics.Leaf, draw: Callable[[Stamp], Head]) -> None:
        await out.publish(self._post(leaf, draw(self._stamp(self._count.next(leaf)))))

    def _presence_post(self, word: Literal["online", "silent", "offline"], why: str, at_s: float | None) -> Post:
        """A presence; at_s None: a last will, which the broker tells at a time that nobody knows yet."""
        stamp = self._stamp(0 if at_s is None else self._count.next(topics.PRESENCE))
        at = None if at_s is None else drawn.moment(at_s)
        connected_at = self._connected_at if at_s is not None else stamp.sent_at
        noun = Presence(
            **stamp.head(at), presence=word, why=why, connected_at=connected_at, silent_after_s=self.silent_s
        )
        return self._post(topics.PRESENCE, noun)

    def _post(self, leaf: topics.Leaf, noun: Head, what: str = "") -> Post:
        return Post(self.tree.topic(leaf, what), drawn.encoded(noun), leaf.qos, leaf.retained)

    def _stamp(self, seq: int) -> Stamp:
        return Stamp(self.session, seq, drawn.moment(time.time()))
