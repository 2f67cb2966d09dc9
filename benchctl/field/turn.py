"""Whose turn it is on a line that carries one request at a time: writes before reads, a silence after each reply.

Who waits leaves a function behind: called with True, the line is his; with False, his request is abandoned.
"""

import asyncio
from collections import deque
from collections.abc import Callable

Go = Callable[[bool], None]


class Turn:
    """The right to use a line. Make it inside a running loop."""

    def __init__(self, gap_s: float) -> None:
        self.gap_s = gap_s  # silence that the line needs after a reply
        self.busy = False
        self._loop = asyncio.get_running_loop()
        self._writers: deque[Go] = deque()
        self._readers: deque[Go] = deque()
        self._next: tuple[Go, bool, asyncio.TimerHandle] | None = None  # has the line, and waits for the silence's end
        self._quiet_until_s = 0.0

    def free(self) -> bool:
        """Take the line at once if nobody has it and nothing must be waited for; False: not taken."""
        if self.busy or (self._quiet_until_s and self._quiet_until_s > self._loop.time()):
            return False
        self.busy = True
        return True

    def take(self, go: Go, *, write: bool) -> None:
        """Have `go` called when the line is free and silent; who got it must `release` it."""
        if self.busy:
            (self._writers if write else self._readers).append(go)
        else:
            self.busy = True
            self._grant(go, write=write)

    def _grant(self, go: Go, *, write: bool) -> None:
        if self._quiet_until_s > self._loop.time():
            self._next = go, write, self._loop.call_at(self._quiet_until_s, self._silent, go)
        else:
            go(True)

    def _silent(self, go: Go) -> None:
        self._next = None
        go(True)

    def leave(self, go: Go) -> None:
        """Wait no longer: `go` is not called."""
        if self._next is not None and self._next[0] == go:
            self._next[2].cancel()
            self._next = None
            self.release()
        for queue in (self._writers, self._readers):
            if go in queue:
                queue.remove(go)

    def release(self) -> None:
        """Hand the line to the next that waits, writes first."""
        if self._writers or self._readers:
            write = bool(self._writers)
            self._grant((self._writers if write else self._readers).popleft(), write=write)
        else:
            self.busy = False

    def replied(self) -> None:
        """A reply came, or was given up: the silence begins."""
        if self.gap_s:
            self._quiet_until_s = self._loop.time() + self.gap_s

    def dismiss_readers(self) -> None:
        """Reads that wait for the line are abandoned."""
        self._dismiss(self._readers, write=False)

    def dismiss_all(self) -> None:
        """Everything that waits for the line is abandoned."""
        self._dismiss(self._writers, write=True)
        self._dismiss(self._readers, write=False)

    def _dismiss(self, queue: deque[Go], *, write: bool) -> None:
        waiting = list(queue)
        queue.clear()
        if self._next is not None and self._next[1] is write:
            go = self._next[0]
            self.leave(go)
            waiting.insert(0, go)
        for go in waiting:
            go(False)
