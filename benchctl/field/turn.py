"""Whose turn it is on a line that carries one request at a time: writes before reads, a silence after each reply."""

import asyncio
from collections import deque

Waiting = deque["asyncio.Future[bool]"]


class Turn:
    """The right to use a line. Make it inside a running loop."""

    def __init__(self, gap_s: float) -> None:
        self.gap_s = gap_s  # silence that the line needs after a reply
        self.busy = False
        self._loop = asyncio.get_running_loop()
        self._writers: Waiting = deque()
        self._readers: Waiting = deque()
        self._quiet_until_s = 0.0

    def free(self) -> bool:
        """Take the line at once if nobody has it and nothing must be waited for; False: not taken."""
        if self.busy or (self._quiet_until_s and self._quiet_until_s > self._loop.time()):
            return False
        self.busy = True
        return True

    async def take(self, *, write: bool) -> bool:
        """Wait for the line; whoever got it must `release` it. False: abandoned while waiting, and not taken."""
        if self.busy:
            waiter: asyncio.Future[bool] = self._loop.create_future()
            (self._writers if write else self._readers).append(waiter)
            if not await self._waited(waiter):
                return False
        self.busy = True
        if self._quiet_until_s > self._loop.time():
            try:
                await asyncio.sleep(self._quiet_until_s - self._loop.time())
            except asyncio.CancelledError:
                self.release()
                raise
        return True

    async def _waited(self, waiter: "asyncio.Future[bool]") -> bool:
        try:
            return await waiter
        except asyncio.CancelledError:
            if waiter.done() and not waiter.cancelled() and waiter.result():
                self.release()
            raise

    def release(self) -> None:
        """Hand the line to the next that waits, writes first."""
        for queue in (self._writers, self._readers):
            while queue:
                waiter = queue.popleft()
                if not waiter.done():
                    waiter.set_result(True)
                    return
        self.busy = False

    def replied(self) -> None:
        """A reply came, or was given up: the silence begins."""
        if self.gap_s:
            self._quiet_until_s = self._loop.time() + self.gap_s

    def dismiss_readers(self) -> None:
        """Reads that wait for the line are abandoned."""
        _dismiss(self._readers)

    def dismiss_all(self) -> None:
        """Everything that waits for the line is abandoned."""
        _dismiss(self._writers)
        _dismiss(self._readers)


def _dismiss(queue: Waiting) -> None:
    while queue:
        waiter = queue.popleft()
        if not waiter.done():
            waiter.set_result(False)
