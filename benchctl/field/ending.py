"""When the reads of one scan end: with the last of them, at the deadline or by a cut, whichever comes first."""

import asyncio
from collections.abc import Sequence


class Ending:
    """The end of one scan after the other. Make it inside a running loop.

    The cut is watched by one task from scan to scan, because a task for every scan costs as much as a request.
    """

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._over: asyncio.Future[None] | None = None  # of the scan in progress
        self._left = 0  # reads that are not done
        self._was_cut = False
        self._cut: asyncio.Event | None = None
        self._watch: asyncio.Task[None] | None = None

    async def of(self, reads: "Sequence[asyncio.Task[None]]", until_s: float, cut: asyncio.Event | None) -> bool:
        """Wait for the end; then none of the reads runs any more. True when they were cut, or cancelled for a drop.

        Raises what a read raised.
        """
        self._over = self._loop.create_future()
        self._left, self._was_cut = len(reads), False
        for read in reads:
            read.add_done_callback(self._done)
        self._follow(cut)
        timer = self._loop.call_at(until_s, self._end)
        try:
            if reads:
                await self._over
        finally:
            timer.cancel()
            self._over = None
            await see_out(reads)
        for read in reads:
            if not read.cancelled():
                read.result()
        return self._was_cut

    def _end(self) -> None:
        if self._over is not None and not self._over.done():
            self._over.set_result(None)

    def _done(self, read: "asyncio.Task[None]") -> None:
        self._left -= 1
        if self._over is None:
            return
        self._was_cut = self._was_cut or read.cancelled()
        if not self._left or (not read.cancelled() and read.exception() is not None):
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


async def see_out(tasks: "Sequence[asyncio.Task[None]]") -> None:
    """Cancel what is not done and wait until it is."""
    left = [t for t in tasks if not t.done()]
    for task in left:
        task.cancel()
    if left:
        await asyncio.gather(*left, return_exceptions=True)
