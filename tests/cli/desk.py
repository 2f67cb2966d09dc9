"""A terminal in memory: what is said and printed, what is typed, and a run host that is played."""

import asyncio
import os
import signal
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

from benchctl.cli.follow import Follow
from benchctl.cli.voice import Voice
from benchctl.core.shown import Snapshot
from benchctl.door import messages as m
from benchctl.door.client import Refused
from tests.door.rooms import SHOWN


def shown(**changes: Any) -> Snapshot:
    """A scan, by default under load with a program running."""
    keys: dict[str, Any] = {"mode": "running", "off": False, "loaded": True}
    return replace(SHOWN, **(keys | changes))


REST = shown(mode="idle", off=True, loaded=False)


class Quiet(Voice):
    """Keeps what is said."""

    def __init__(self) -> None:
        super().__init__(json_lines=True)
        self.said: list[str] = []
        self.rows: list[dict[str, Any]] = []
        self.texts: list[str] = []

    def row(self, data: Any) -> None:
        self.rows.append(dict(data))

    def text(self, line: str = "") -> None:
        self.texts.append(line)

    def narrate(self, line: str) -> None:
        self.said.append(line)

    def heard(self, words: str) -> bool:
        """Whether a line had these words."""
        return any(words in line for line in self.said)


class Typed:
    """A keyboard: lines are put in; None is the end of input."""

    def __init__(self) -> None:
        self.lines: asyncio.Queue[str | None] = asyncio.Queue()

    async def line(self) -> str | None:
        return await self.lines.get()


class Played:
    """A client of a run host that is not there. refuses: why orders are; answers: what they bring."""

    def __init__(self, snapshot: Snapshot | None = None) -> None:
        self.snapshot, self.lost = snapshot, ""
        self.welcome = SimpleNamespace(console="console 1")
        self.orders: list[tuple[str, dict[str, Any]]] = []
        self.refuses = ""
        self.answers: dict[str, Any] = {"scan": 7}
        self.closed = False
        self._news: asyncio.Queue[Snapshot | m.Event | None] = asyncio.Queue()

    async def order(self, verb: str, value: float | None = None, **keys: Any) -> dict[str, Any]:
        if value is not None:
            keys["value"] = value
        self.orders.append((verb, {k: v for k, v in keys.items() if v not in ("", None)}))
        if self.refuses:
            raise Refused(self.refuses)
        return self.answers

    async def __aiter__(self) -> AsyncIterator[Snapshot | m.Event]:
        while (news := await self._news.get()) is not None:
            if isinstance(news, Snapshot):
                self.snapshot = news
            yield news

    def show(self, snapshot: Snapshot) -> None:
        """A scan comes."""
        self._news.put_nowait(snapshot)

    def tell(self, what: str, text: str = "", **keys: Any) -> None:
        """An event comes."""
        self._news.put_nowait(m.Event(number=1, wall_s=1_700_000_000.0, what=what, text=text, **keys))

    def lose(self, why: str) -> None:
        """The run host is gone."""
        self.lost = why
        self._news.put_nowait(None)

    async def close(self) -> None:
        self.closed = True


class Desk:
    """A follower at work."""

    def __init__(self, client: Played, asks: bool, run: str, who: str) -> None:
        self.client, self.voice, self.typed = client, Quiet(), Typed()
        self.follow = Follow(client, self.voice, self.typed, asks=asks, run=run, who=who)  # type: ignore[arg-type]
        self.task = asyncio.create_task(self.follow.to_the_end())

    async def code(self) -> int:
        """The exit code."""
        return await asyncio.wait_for(self.task, 10.0)

    def type(self, line: str | None) -> None:
        self.typed.lines.put_nowait(line)

    async def reflex(self) -> None:
        """Ctrl-C."""
        os.kill(os.getpid(), signal.SIGINT)
        await asyncio.sleep(0.02)


@asynccontextmanager
async def at(now=None, *, asks: bool = True, run: str = "", who: str = "") -> AsyncIterator[Desk]:
    """A desk where this scan has come."""
    desk = Desk(Played(now or shown()), asks, run, who)
    await asyncio.sleep(0.01)
    try:
        yield desk
    finally:
        desk.task.cancel()
        await asyncio.gather(desk.task, return_exceptions=True)
