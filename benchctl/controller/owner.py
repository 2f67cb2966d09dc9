"""The engine in a thread of its own, and the way to it from other threads.

Nothing that happens to a client, a disk or the process's main thread can hold up a scan: commands come in through the
loop's own queue, frames go out through listeners that never wait.
"""

import asyncio
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import Protocol

from benchctl.core.command import Command, Verb
from benchctl.core.decision import Frame, Settings
from benchctl.engine import Chain, Engine

START_S = 30.0
ENDED = "the engine has ended"


class Closing(Chain, Protocol):
    """A chain that can be closed."""

    async def close(self) -> None:
        """Close every connection."""


class Owner:
    """Owns the engine. Every method but `_work` and `_run` is for other threads.

    fault: why the engine ended, empty while it scans and where it was told to end; cause: what was raised then.
    """

    def __init__(
        self,
        settings: Settings,
        make_loop: Callable[[], asyncio.AbstractEventLoop],
        make_chain: Callable[[asyncio.AbstractEventLoop], Closing],
        make_engine: Callable[[Settings, Chain], Engine],
    ) -> None:
        self.fault = ""
        self.cause: BaseException | None = None
        self._settings = settings
        self._make_loop, self._make_chain, self._make_engine = make_loop, make_chain, make_engine
        self._at_work: tuple[asyncio.AbstractEventLoop, Engine] | None = None
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._work, name="engine", daemon=True)

    def start(self) -> None:
        """Start scanning. Raises RuntimeError when the engine cannot be made."""
        self._thread.start()
        if not self._ready.wait(START_S) or self.fault:
            raise RuntimeError(self.fault or "the engine does not start") from self.cause

    @property
    def alive(self) -> bool:
        """True while it scans."""
        return self._thread.is_alive()

    def submit(self, command: Command) -> None:
        """Give a command to the next scan. Raises RuntimeError when there is none any more."""
        engine = self.between_scans(lambda engine: engine.submit(command))
        if command.verb is Verb.DROP:
            engine.expect_drop()

    def between_scans(self, act: Callable[[Engine], None]) -> Engine:
        """Do something in the engine's thread; returns the engine. Raises RuntimeError when it has ended."""
        if self._at_work is None:
            raise RuntimeError(self.fault or ENDED)
        loop, engine = self._at_work
        try:
            loop.call_soon_threadsafe(act, engine)
        except RuntimeError:  # its loop is closed
            raise RuntimeError(self.fault or ENDED) from None
        return engine

    def stop(self) -> None:
        """End after the scan in hand, and wait for it."""
        with suppress(RuntimeError):  # it has ended by itself
            self.between_scans(lambda engine: engine.stop())
        if self.alive:
            self._thread.join()

    def _work(self) -> None:
        loop = None
        try:
            loop = self._make_loop()
            asyncio.set_event_loop(loop)
            last = loop.run_until_complete(self._run(loop))
            self.fault = last.fault
        except BaseException as fault:  # whatever it is, the other threads must know
            self.fault, self.cause = f"{type(fault).__name__}: {fault}", fault
        finally:
            self._ready.set()
            asyncio.set_event_loop(None)
            if loop is not None:
                loop.close()

    async def _run(self, loop: asyncio.AbstractEventLoop) -> Frame:
        chain = self._make_chain(loop)
        try:
            engine = self._make_engine(self._settings, chain)
            self._at_work = loop, engine
            self._ready.set()
            return await engine.run(lambda _: False)
        finally:
            await chain.close()
