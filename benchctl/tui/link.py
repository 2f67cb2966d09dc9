"""Between a run host and the picture: attaches, keeps attached, takes in what comes, hands out orders.

Lives in the console's loop. Whoever makes it says how a host is found or started (`Attach`); nothing here knows of
processes, and a console that dies takes nothing along: the run host goes on by the site's attendance policy.
"""

import asyncio
import time
from collections import deque
from collections.abc import Awaitable, Callable, Coroutine
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from benchctl.core.shown import Snapshot
from benchctl.door import messages as m
from benchctl.door.client import Client, Refused
from benchctl.door.plates import UnitPlate
from benchctl.tui.past import back_fill
from benchctl.tui.view.alarms import followed
from benchctl.tui.view.charge import of_others, taken_from, watches
from benchctl.tui.view.loud import rings
from benchctl.tui.view.picture import STALE_S, BankTold, DropStep, Picture, Place, StageTold, Told
from benchctl.tui.view.text import clean

AGAIN_S = 2.0  # between two tries to attach again
PACE_OVER_S = 4.0
MISSED = 2.5  # scan periods without a scan: some were missed
NO_TEST = ("not started", "by hand")  # outcomes of records in which no program has run


@dataclass(frozen=True, slots=True)
class Choice:
    """Which run host is meant. speed: of a rehearsal, times real time; inf = as fast as it goes."""

    site: str
    rehearse: bool = False
    speed: float = 1.0


Attach = Callable[[Choice, bool], Awaitable[Client]]  # whether one may be started; raises Refused


class Link:
    """One console's connection. changed: called when the picture has changed; rang: when a bell is due.

    failed: called with a fault of our own, which nobody else would hear of. ended: called with the name of a run whose
    record has been closed, if it was begun.
    """

    def __init__(
        self,
        picture: Picture,
        attach: Attach,
        choice: Choice,
        changed: Callable[[], None],
        rang: Callable[[], None],
        failed: Callable[[Exception], None] = lambda fault: None,
        ended: Callable[[str], None] = lambda run: None,
    ) -> None:
        self.picture, self.choice = picture, choice
        self.client: Client | None = None
        self._attach, self._changed, self._rang, self._failed, self._ended_run = attach, changed, rang, failed, ended
        self._tasks: set[asyncio.Task[None]] = set()
        self._seen: deque[tuple[float, float]] = deque(maxlen=64)  # our time, the bench's
        self._came_s: float | None = None
        self._task: asyncio.Task[None] | None = None

    def open(self) -> None:
        """Begin; returns at once."""
        self.picture.place = replace(self.picture.place, site=clean(self.choice.site), rehearsal=self.choice.rehearse)
        self._task = self._begin(self._live())

    async def close(self) -> None:
        """Let go of the run host; it goes on."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)
        if self.client is not None:
            await self.client.close()

    async def move(self, choice: Choice) -> None:
        """To another run host."""
        await self.close()
        fresh = Picture(who=self.picture.who, glyphs=self.picture.glyphs, runs=self.picture.runs)
        for name in (
            *("place", "now", "quiet_s", "lost", "pace", "story", "traces", "plan", "drop"),
            *("registers", "contact", "run", "fetching", "cursor", "ousted", "ended"),
        ):
            setattr(self.picture, name, getattr(fresh, name))
        self.choice, self.client, self._came_s = choice, None, None
        self._seen.clear()
        self.open()

    def tick(self) -> None:
        """The age of the picture by our own clock. Called often, by the screen."""
        self.picture.quiet_s = None if self._came_s is None else time.monotonic() - self._came_s

    def _begin(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        """A task that does not fail unheard: a screen that shows nothing new must not look as if nothing happened."""
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._ended)
        return task

    def _ended(self, task: asyncio.Task[None]) -> None:
        self._tasks.discard(task)
        fault = None if task.cancelled() else task.exception()
        if isinstance(fault, Exception):
            self._failed(fault)

    async def _live(self) -> None:
        starting = True
        while True:
            picture = self.picture
            picture.starting = "attaching to the run host" if self.picture.now else "starting the run host"
            self._changed()
            try:
                self.client = client = await self._attach(self.choice, starting)
            except Refused as fault:
                picture.lost = clean(str(fault))
                self._changed()
                await asyncio.sleep(AGAIN_S)
                continue
            starting = False  # one that went away under load is started again by a person, not by a screen
            picture.lost, picture.place = "", place_of(client.welcome)
            picture.pace_asked = client.welcome.speed
            self._seen.clear()
            self._begin(self._catch_up(client))
            async for news in client:
                self._take(news)
            picture.lost = clean(client.lost)
            self._rang()
            self._changed()
            await asyncio.sleep(AGAIN_S)

    async def _catch_up(self, client: Client) -> None:
        """What happened before this console came."""
        try:
            past = await client.past(2000)
            self.picture.story.before(told(m.Event.model_validate(e)) for e in past["events"])
            await back_fill(self.picture, client, past["events"])
        except (Refused, ValueError, KeyError):
            return
        self._changed()

    def _take(self, news: Snapshot | m.Event) -> None:
        picture = self.picture
        if isinstance(news, m.Event):
            picture.story.add(event := told(news))
            if taken_from(event, picture.place.console):
                picture.ousted = event
                self.say(event.text, bad=True)
                self._rang()
            elif words := of_others(event, picture.place.console):
                self.say(words)
            if news.what == "outcome" and news.text not in NO_TEST:
                self._ended_run(clean(Path(str(news.data.get("run", ""))).stem))
            return
        before_s, self._came_s = self._came_s, time.monotonic()
        patience_s = max(STALE_S, MISSED * picture.place.scan_period_s)
        picture.traces.feed(news, joined=before_s is not None and self._came_s - before_s <= patience_s)
        picture.cursor.alarm = followed(picture.cursor.alarm, picture.now, news)
        if rings(picture.now, news):
            self._rang()
        picture.now, picture.quiet_s = news, 0.0
        picture.ousted = picture.ousted if watches(picture) else None
        self._seen.append((self._came_s, news.now_s))
        picture.pace = self._pace()
        if picture.drop in (DropStep.SENT, DropStep.ACCEPTED) and news.dropped and news.off:
            picture.drop, picture.drop_why = DropStep.OPEN, ""
        if picture.drop is DropStep.OPEN and not news.dropped:
            picture.drop = DropStep.NONE
        self._changed()

    def _pace(self) -> float | None:
        """The true factor over the last seconds."""
        if not self.picture.place.rehearsal or len(self._seen) < 3:
            return None
        last = self._seen[-1]
        first = next(p for p in self._seen if last[0] - p[0] <= PACE_OVER_S)
        return (last[1] - first[1]) / (last[0] - first[0]) if last[0] - first[0] > 0.5 else None

    # -- orders

    def give(self, verb: str, value: float | None = None, **parts: Any) -> None:
        """Send an order; what becomes of it is told in the picture."""
        self._begin(self._give(verb, value, parts))

    async def _give(self, verb: str, value: float | None, parts: dict[str, Any]) -> None:
        said = await self.order(verb, value, **parts)
        self.say(f"{verb}: {said}" if said else f"{verb}: done", bad=bool(said))

    async def order(self, verb: str, value: float | None = None, **parts: Any) -> str:
        """Send an order and wait for the scan that has had it; returns why not, or nothing."""
        if self.client is None or self.picture.lost:
            return "no run host is attached"
        try:
            await self.client.order(verb, value, **{"who": self.picture.who, **parts})
        except Refused as fault:
            return clean(str(fault))
        return ""

    def drop(self) -> None:
        """All load off, at once; what has become of it is shown step by step."""
        self.picture.drop, self.picture.drop_why = DropStep.SENT, ""
        self._changed()
        self._begin(self._drop())

    async def _drop(self) -> None:
        why = await self.order("drop", based_on=None)
        picture = self.picture
        if why:
            picture.drop = DropStep.FAILED
            picture.drop_why = f"{why}: use the emergency stop or open the breaker"
        elif picture.drop is DropStep.SENT:
            picture.drop = DropStep.ACCEPTED
        self._changed()

    def say(self, words: str, *, bad: bool = False) -> None:
        """A word to the operator."""
        self.picture.hint, self.picture.hint_bad = clean(words), bad
        self._changed()


def told(event: m.Event) -> Told:
    """An event of the run host as a line of the story."""
    return Told(
        event.number,
        event.wall_s,
        time.strftime("%H:%M:%S", time.localtime(event.wall_s)),
        event.what,
        clean(event.text),
        clean(event.unit),
        clean(event.who),
        tuple(event.data.items()),
    )


def place_of(welcome: m.Welcome) -> Place:
    """What a welcome says of the site."""
    return Place(
        site=clean(welcome.site),
        title=clean(welcome.title),
        rehearsal=welcome.rehearsal,
        banks=tuple(_bank(u) for u in welcome.units),
        instruments=tuple((clean(i.name), clean(i.role), clean(i.place)) for i in welcome.instruments),
        ends={clean(name): clean(end) for name, end in _ends(welcome)},
        nameplate={k: clean(v) if isinstance(v, str) else v for k, v in welcome.source.model_dump().items()},
        limits=dict(welcome.limits),
        attendance="; ".join(clean(said) for said in welcome.attendance),
        scan_period_s=welcome.scan_period_s,
        pid=welcome.pid,
        runs=clean(welcome.runs),
        console=welcome.console,
    )


def _ends(welcome: m.Welcome) -> list[tuple[str, str]]:
    units = [(u.name, u.endpoint) for u in welcome.units]
    return [*units, *((i.name, i.endpoint) for i in welcome.instruments)]


def _bank(plate: UnitPlate) -> BankTold:
    return BankTold(
        name=clean(plate.name),
        title=clean(plate.title),
        rated_kw=plate.rated_kw,
        endpoint=clean(plate.endpoint),
        stages=tuple(StageTold(clean(name), kw) for name, kw in plate.stages),
        position=clean(plate.position),
        step_kw=plate.step_kw,
    )


__all__ = ["Attach", "Choice", "Link", "StageTold", "place_of", "told"]
