"""Following a run in a terminal: events as they come, the state when nothing comes, questions, and what is typed.

Ctrl-C is a reflex and must not become a full load rejection: it asks to unload and to cool down; pressed again it says
how far that is and how to drop.
"""

import asyncio
import signal
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

from benchctl.cli import GOOD, NOT_GOOD
from benchctl.cli.assess import tell_verdicts
from benchctl.cli.charge import gone, what_now, who_gave
from benchctl.cli.keyboard import Keyboard
from benchctl.cli.rehearse import EXIT
from benchctl.cli.telling import ASKED, clock, in_terminal, reading_due, ring, state_line, steady, wrapped
from benchctl.cli.typed import LEAVE, order_of
from benchctl.cli.voice import Voice
from benchctl.core.shown import Snapshot
from benchctl.door import messages as m
from benchctl.door.client import Client, Refused

QUIET_S = 10.0  # without a word before the state is told
STEADY = 3.0  # times that, while nothing moves
DROP = "to take everything off at once {}use `benchctl drop` in any shell"
STAYS = "it goes on if you {}"
LOST = "the run host is gone: nobody owns the chain. The units' watchdogs drop their load; look at the units."

NOTHING_DONE = ("by hand", "not started")  # outcomes of a record that ends because nothing goes on


class Follow:
    """One terminal that follows one run: the one at this path, or, where none is named, the next that is done.

    asks: lines that are typed are orders. who: gives them, if not the one who has attached.
    """

    def __init__(
        self, client: Client, voice: Voice, keyboard: Keyboard, *, asks: bool, run: str = "", who: str = ""
    ) -> None:
        self._run, self._who = run, who
        self._drop = DROP.format("type drop, or " if asks else "")
        self._stays = STAYS.format(f"type {LEAVE}" if asks else "close this terminal")
        self._refused: set[str] = set()  # why, as the bench has told already
        self._client, self._voice, self._keyboard, self._asks = client, voice, keyboard, asks
        self._told_s = time.monotonic()
        self._reflexes = 0
        self._unload_s = 0.0
        self._permissives: tuple[Any, ...] = ()
        self._asked_s: float | None = None  # how long nobody had given a sign when one was asked for
        self._orders: set[asyncio.Task[None]] = set()
        self._leaving = False
        self._before: Snapshot | None = None

    async def to_the_end(self) -> int:
        """Until the run's outcome is known, the operator leaves, or the run host is gone; returns the exit code."""
        loop = asyncio.get_running_loop()
        with suppress(NotImplementedError):  # Windows: KeyboardInterrupt instead
            loop.add_signal_handler(signal.SIGINT, self._reflex)
        typed = loop.create_task(self._typing()) if self._asks else None
        try:
            async for news in self._client:
                if self._leaving:
                    self._voice.row({"outcome": "left"})
                    return NOT_GOOD if self._run else GOOD
                if isinstance(news, Snapshot):
                    self._state(news)
                elif news.what != "outcome":
                    self._event(news)
                elif not self._run and news.text in NOTHING_DONE:
                    self._say(f"{clock(news.wall_s)}  {'record closed':<18} {news.data['run']}")
                elif self._run in ("", news.data["run"]):
                    return self._outcome(news)
        finally:
            if typed is not None:
                typed.cancel()
            with suppress(NotImplementedError):
                loop.remove_signal_handler(signal.SIGINT)
        return self._lost()

    def _lost(self) -> int:
        """The run host cannot be reached any more."""
        why, now = self._client.lost, self._client.snapshot
        if not self._run and now is not None and resting(now):
            self._say(f"{why}; no load was on")
            self._voice.row({"outcome": "left", "why": why})
            return GOOD
        self._say(why)
        self._say(LOST)
        self._voice.row({"outcome": "chain lost", "why": why})
        return EXIT["chain lost"]

    def _event(self, event: m.Event) -> None:
        own = self._client.welcome.console
        by = f" ({who})" if (who := who_gave(event, own)) else ""
        if event.what == "refused":
            self._refused.add(str(event.data.get("why", "")))
        how = (ASKED.get(event.what, "") or what_now(event, own)) if self._asks else ""
        self._say(f"{clock(event.wall_s)}  {event.what:<18} {event.text}{by}" + (f" - {how}" if how else ""))
        if event.what == "check-in":
            self._asked_s = 0.0
        if how and event.what != "refused":
            ring()

    def _state(self, now: Snapshot) -> None:
        self._calls(now)
        self._before = now
        if now.mode == "checks" and not now.loaded and now.permissives != self._permissives:
            self._permissives = now.permissives
            missing = [text for text, holds in now.permissives if holds is not True]
            if missing:
                self._say(f"{clock(now.wall_s)}  {'waits for':<18} {'; '.join(missing)}")
        if self._asked_s is not None:
            self._asked_s = None if now.person_s < self._asked_s else now.person_s
        absent = self._asked_s is not None
        if time.monotonic() - self._told_s >= (STEADY if steady(now, absent=absent) else 1.0) * QUIET_S:
            words = state_line(now, asks=self._asks, absent=absent)
            self._say(f"{clock(now.wall_s)}  {now.mode:<18} {words}")

    def _calls(self, now: Snapshot) -> None:
        """What a scan asks of a person without an event: who is at the controls, and readings."""
        left = gone(self._before, now) if now.charge_console != self._client.welcome.console else ""
        calls = (("not attached", left, "type charge"), ("reading due", *reading_due(self._before, now)))
        for word, text, how in calls:
            if text:
                self._say(f"{clock(now.wall_s)}  {word:<18} {text}" + (f" - {how}" if self._asks else ""))
                ring()

    def _say(self, line: str) -> None:
        for part in wrapped(line):
            self._voice.narrate(part)
        self._told_s = time.monotonic()

    def _outcome(self, event: m.Event) -> int:
        data = dict(event.data)
        outcome, sealed = str(data["outcome"]), bool(data.pop("sealed"))
        problem = str(data.pop("problem"))
        peak = data["delivered_peak_kw"]
        if problem:
            self._voice.narrate(f"the record is not complete: {problem}")
        self._voice.text(f"outcome     {outcome}")
        told = "not known" if peak is None else f"{peak:.1f} kW ({data['delivered_from']})"
        self._voice.text(f"peak        {data['planned_peak_kw']:.1f} kW planned, {told} delivered")
        self._voice.text(f"record      {data['run']}")
        run = Path(str(data["run"]))
        self._voice.row(data | {"verdicts": tell_verdicts(run, self._voice) if run.is_file() else []})
        return EXIT.get(outcome, 1) if sealed else max(1, EXIT.get(outcome, 1))

    # -- the operator

    def _reflex(self) -> None:
        self._reflexes += 1
        if in_terminal():
            self._voice.narrate("")  # below the ^C that it shows
        now = self._client.snapshot
        if now is not None and resting(now):
            self._leave()
        elif self._reflexes == 1:
            self._unload_s = time.monotonic()
            self._say(f"Ctrl-C: unloading, then cooling down; {self._drop}")
            self._order("unload")
        elif now is not None and now.loaded:
            self._say(f"unloading, {time.monotonic() - self._unload_s:.0f} s; {self._drop}")
        else:
            rest = f"{now.cool_down_s:.0f} s" if now is not None else "not known"
            self._say(f"all load is off; cooling down, {rest} left; {self._stays}")

    async def _typing(self) -> None:
        while (line := await self._keyboard.line()) is not None:
            self._typed(line)

    def _leave(self) -> None:
        """Go, and say what that means."""
        self._leaving = True
        now = self._client.snapshot
        if now is None or not resting(now):
            self._say("left: the run host goes on; attach again, or the load comes off in the site's time")

    def _typed(self, line: str) -> None:
        if line.lower() == LEAVE:
            self._leave()
            return
        try:
            verb, parts = order_of(line)
        except ValueError as fault:
            self._say(str(fault))
            return
        self._order(verb, **parts)

    def _order(self, verb: str, **parts: Any) -> None:
        task = asyncio.get_running_loop().create_task(self._give(verb, parts))
        self._orders.add(task)
        task.add_done_callback(self._orders.discard)

    async def _give(self, verb: str, parts: dict[str, Any]) -> None:
        try:
            await self._client.order(verb, who=self._who, **parts)
        except Refused as fault:
            if str(fault) not in self._refused:
                self._say(f"{verb}: {fault}")
            self._refused.discard(str(fault))


def resting(now: Snapshot) -> bool:
    """True when nothing goes on: load is read back off, and nothing runs, unloads or cools."""
    return now.off is True and now.mode in ("idle", "done")
