"""The run hosts of this user on this computer as benches to watch: through the door, as a visitor who only looks."""

import asyncio
import time
from collections.abc import Callable
from pathlib import Path
from typing import Literal

from benchctl.core.registers import RegisterMap
from benchctl.core.shown import Snapshot
from benchctl.core.site import Endpoint, Instrument, Limits, Nameplate, Site, Wiring
from benchctl.door.card import Card, CardFault, read_cards
from benchctl.door.client import Client, Refused
from benchctl.door.messages import Event, Welcome
from benchctl.mqtt import drawn
from benchctl.mqtt.gathered import Gathered
from benchctl.mqtt.given import Heard, Stamp, Terms, Told
from benchctl.mqtt.payloads import Head, Presence
from benchctl.mqtt.topics import Tree

LOOK_S = 2.0  # from one look for new run hosts to the next
NOWHERE = Endpoint("", 0)


class Near:
    """Puts what every run host tells into `gathered`. changed: called with the key of a bench, or None for all."""

    def __init__(self, folder: Path, gathered: Gathered, changed: Callable[[str | None], None], who: str) -> None:
        self._folder, self._gathered, self._changed, self._who = folder, gathered, changed, who
        self._guests: dict[Path | None, asyncio.Task[None]] = {}

    async def run(self) -> None:
        """Until it is cancelled."""
        try:
            while True:
                await self._look()
                await asyncio.sleep(LOOK_S)
        finally:
            for guest in self._guests.values():
                guest.cancel()
            await asyncio.gather(*self._guests.values(), return_exceptions=True)

    async def _look(self) -> None:
        try:
            cards = await asyncio.to_thread(read_cards, self._folder)
        except CardFault as fault:
            self._gathered.cut = str(fault)
            self._changed(None)
            return
        if self._gathered.cut:
            self._gathered.heard()
            self._changed(None)
        self._guests = {path: guest for path, guest in self._guests.items() if not guest.done()}
        for card in cards:
            if card.path not in self._guests:
                self._guests[card.path] = asyncio.create_task(self._visit(card))

    async def _visit(self, card: Card) -> None:
        """Listen to one run host until it is gone."""
        tree = Tree("", "rehearsal" if card.rehearsal else "real", card.site)
        try:
            client = await Client.connect(card, self._who, "visitor")
        except Refused as fault:
            if str(fault) != self._gathered.stray:
                self._gathered.strays += 1
                self._gathered.stray = str(fault)
                self._changed(None)
            return
        bench = _Bench(tree, card, client.welcome, self._told)
        try:
            async for news in client:
                bench.heard(news)
            bench.gone(client.lost)
        finally:
            await client.close()

    def _told(self, tree: Tree, noun: Head) -> None:
        self._changed(self._gathered.tell(tree, noun))


class _Bench:
    """One run host: what it tells, as it would tell a broker."""

    def __init__(self, tree: Tree, card: Card, welcome: Welcome, tell: Callable[[Tree, Head], None]) -> None:
        self._tree, self._tell = tree, tell
        self._session, self._seq = f"{card.pid}-{card.port}-{time.monotonic():.3f}", 0
        self._site = _site(welcome)
        self._connected_at = drawn.moment(time.time())
        self._words: tuple[object, ...] | None = None
        self._period_s = welcome.scan_period_s
        self._run = Path(welcome.run).stem if welcome.run else ""
        terms = Terms(welcome.rehearsal, welcome.version, welcome.scan_period_s, welcome.scan_period_s)
        self._tell(tree, drawn.plate(self._stamp(), time.time(), self._site, terms))
        self._presence("online", "")

    def heard(self, news: Snapshot | Event) -> None:
        """A scan or an event."""
        if isinstance(news, Event):
            told = Told(news.number, news.wall_s, 0.0, news.what, news.text, news.unit, news.who)
            self._tell(self._tree, drawn.event(self._stamp(), told, 0))
            return
        heard = Heard(news, self._run)
        self._tell(self._tree, drawn.live(self._stamp(), heard, self._site))
        words = drawn.alarm_words(heard)
        if words != self._words:
            self._words = words
            self._tell(self._tree, drawn.standing(self._stamp(), heard))

    def gone(self, why: str) -> None:
        """The run host cannot be reached any more: it has said why, or not."""
        self._presence("offline", why, farewell="has ended" in why)

    def _presence(self, word: Literal["online", "offline"], why: str, *, farewell: bool = False) -> None:
        at = drawn.moment(time.time()) if word == "online" or farewell else None
        noun = Presence(
            **self._stamp().head(at),
            presence=word,
            why=why,
            connected_at=self._connected_at,
            silent_after_s=10.0 * self._period_s,
        )
        self._tell(self._tree, noun)

    def _stamp(self) -> Stamp:
        self._seq += 1
        return Stamp(self._session, self._seq, drawn.moment(time.time()))


def _site(welcome: Welcome) -> Site:
    """As much of a site as a run host tells of it: enough to say which of its values are old."""
    source = welcome.source
    plate = Nameplate(
        source.name,
        source.kind,
        source.power_kw,
        source.apparent_kva,
        source.volts_v,
        source.hertz,
        Wiring(source.wiring),
        source.rating_class,
    )
    told = [Instrument(i.name, i.role, i.place, NOWHERE, 0, "", RegisterMap(())) for i in welcome.instruments]
    stale_s = welcome.limits.get("stale_s", Limits().stale_s)
    return Site(welcome.site, welcome.title, plate, (), tuple(told), Limits(stale_s=stale_s))
