"""The engine in a thread of its own, and the way to it from other threads.

Nothing that happens to a client, a disk or the process's main thread can hold up a scan: commands come in through the
loop's own queue, frames go out through listeners that never wait.
"""

import asyncio
import threading
from collections.abc import Callable
from typing import Protocol

from benchctl.core.command import Command
from benchctl.core.decision import Frame, Settings
from benchctl.engine import Chain, Engine

START_S = 30.0


class Closing(Chain, Protocol):
    """A chain that can be closed."""

    async def close(self) -> None:
        """Close every connection."""


class Owner:
    """Owns the engine. Every method but `_work` is for other threads."""

    def __init__(
        self,
        settings: Settings,
        make_loop: Callable[[], asyncio.AbstractEventLoop],
        make_chain: Callable[[asyncio.AbstractEventLoop], Closing],
        make_engine: Callable[[Settings, Chain], Engine],
    ) -> None:
        self.fault = ""  # why the engine ended, if it did not end because it was told to
        self._settings = settings
        self._make_loop, self._make_chain, self._make_engine = make_loop, make_chain, make_engine
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._work, name="engine", daemon=True)

    def start(self) -> None:
        """Start scanning. Raises RuntimeError when the engine cannot be made."""
        self._thread.start()
        if not self._ready.wait(START_S) or self.fault:
            raise RuntimeError(self.fault or "the engine does not start")

    @property
    def alive(self) -> bool:
        """True while it scans."""
        return self._thread.is_alive()

    @property
    def settings(self) -> Settings:
        """What it decides with now."""
        return self._engine.settings

    def submit(self, command: Command) -> None:
        """Give a command to the next scan."""
        self._call(self._engine.submit, command)

    def between_scans(self, act: Callable[[Engine], None]) -> None:
        """Do something in the engine's thread."""
        self._call(act, self._engine)

    def stop(self) -> None:
        """End after the scan in hand, and wait for it."""
        if self.alive:
            self._call(self._engine.stop)
            self._thread.join()

    def _call(self, what: Callable[..., object], *args: object) -> None:
        try:
            self._loop.call_soon_threadsafe(what, *args)
        except RuntimeError as fault:  # its loop is closed
            raise RuntimeError(self.fault or "the engine has ended") from fault

    def _work(self) -> None:
        try:
            self._loop = self._make_loop()
            asyncio.set_event_loop(self._loop)
            last = self._loop.run_until_complete(self._run())
            self.fault = last.fault
        except BaseException as fault:  # whatever it is, the other threads must know
            self.fault = f"{type(fault).__name__}: {fault}"
            raise
        finally:
            self._ready.set()
            asyncio.set_event_loop(None)
            self._loop.close()

    async def _run(self) -> Frame:
        chain = self._make_chain(self._loop)
        self._engine = self._make_engine(self._settings, chain)
        self._ready.set()
        try:
            return await self._engine.run(lambda _: False)
        finally:
            await chain.close()
