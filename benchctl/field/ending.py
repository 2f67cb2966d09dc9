"""When the reads of one scan end: with the last of them, at the deadline or by a cut, whichever comes first."""

import asyncio
from collections.abc import Coroutine, Sequence
from typing import Any

from benchctl.field.line import Line


class Ending:
    """The end of one scan after the other. Make it inside a running loop.

    The cut is watched by one task from scan to scan, because a task for every scan costs as much as a request.
    """

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._over: asyncio.Future[None] | None = None  # of the scan in progress
        self._left = 0  # lines that are not done
        self._was_cut = False
        self._fault: Exception | None = None
        self._cut: asyncio.Event | None = None
        self._watch: asyncio.Task[None] | None = None
        self._timer: asyncio.TimerHandle

    async def of(self, lines: Sequence[Line], until_s: float, grace_s: float, cut: asyncio.Event | None) -> bool:
        """Scan all lines until `until_s`; then none of them reads any more. True when they were cut for a drop.

        Raises what a read raised.
        """
        self._over = over = self._loop.create_future()
        self._left, self._was_cut, self._fault = len(lines), False, None
        self._follow(cut)
        for line in lines:
            line.start(until_s, self._done)
        self._timer = self._loop.call_at(until_s, self._expire, lines, grace_s)
        try:
            if self._left:
                await over
        finally:
            self._timer.cancel()
            self._over = None
            for line in lines:
                line.cancel()
        if self._fault is not None:
            raise self._fault
        return self._was_cut

    def _expire(self, lines: Sequence[Line], grace_s: float) -> None:
        self._timer = self._loop.call_later(grace_s, self._end)
        for line in lines:
            line.expire()

    def _end(self) -> None:
        if self._over is not None and not self._over.done():
            self._over.set_result(None)

    def _done(self, fault: Exception | None, cancelled: bool) -> None:
        self._left -= 1
        if self._over is None:
            return
        self._was_cut = self._was_cut or cancelled
        self._fault = self._fault or fault
        if not self._left or fault is not None:
            self._end()

    def _follow(self, cut: asyncio.Event | None) -> None:
        if cut is not self._cut or self._watch is None or self._watch.done():
            self.forget()
            self._cut = cut
            self._watch = None if cut is None else self._loop.create_task(self._until_set(cut))

    async def _until_set(self, cut: asyncio.Event) -> None:
        await cut.wait()
        if self._over is not None and not self._over.done():
            self._was_cut = True
            self._end()

    def forget(self) -> None:
        """Watch no cut any more."""
        if self._watch is not None:
            self._watch.cancel()
        self._watch = self._cut = None


async def unless(cut: asyncio.Event, work: Coroutine[Any, Any, None]) -> None:
    """Do the work; once the cut is set, give up what is left of it."""
    loop = asyncio.get_running_loop()
    doing, watching = loop.create_task(work), loop.create_task(cut.wait())
    try:
        await asyncio.wait((doing, watching), return_when=asyncio.FIRST_COMPLETED)
    finally:
        await see_out((doing, watching))
    if not doing.cancelled():
        doing.result()


async def see_out(tasks: "Sequence[asyncio.Task[Any]]") -> None:
    """Cancel what is not done and wait until it is."""
    left = [t for t in tasks if not t.done()]
    for task in left:
        task.cancel()
    if left:
        await asyncio.gather(*left, return_exceptions=True)
