"""The computer is kept awake while a run host has anything to watch; how far that holds stands in the record."""

import asyncio
from collections.abc import Callable
from contextlib import suppress

from benchctl.controller.session import at_rest
from benchctl.core.decision import Event, Frame
from benchctl.engine import Engine
from benchctl.wakeful import Stand, Wakeful

KIND = "sleep"

Between = Callable[[Callable[[Engine], None]], object]


class Awake:
    """between: does something in the engine's thread, as `Owner.between_scans`. A rehearsal may fall asleep."""

    def __init__(self, rehearsal: bool, between: Between, wakeful: Wakeful | None = None) -> None:
        self._between = between
        self._wakeful = None if rehearsal else wakeful or Wakeful(self._tell)

    def start(self) -> None:
        """Say at once if it could not be kept awake: before anybody puts load on. Never waits."""
        if self._wakeful is not None:
            self._wakeful.look()

    def show(self, frame: Frame) -> None:
        """A scan: awake from the start of a program, or an order by hand, until load is off and cool. Never waits."""
        if self._wakeful is not None:
            self._wakeful.want(not at_rest(frame))

    async def end(self) -> None:
        """Let it sleep."""
        if self._wakeful is not None:
            await asyncio.to_thread(self._wakeful.close)

    def _tell(self, stand: Stand) -> None:
        event = Event(KIND, stand.words, data=(("held", stand.held),))
        with suppress(RuntimeError):  # the engine has ended, and nobody is left to be told
            self._between(lambda engine: engine.note(event))
