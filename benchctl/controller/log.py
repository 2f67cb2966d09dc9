"""The run host's log: lines that go out through a thread of their own.

Where they go may be a pipe that nobody reads, a terminal that was stopped or a disk that is full: whoever writes a line
never waits for it.
"""

import os
import queue
import threading
from contextlib import suppress

LINES = 1000  # that may wait
END_S = 1.0  # for what still waits at the end


class Log:
    """Writes lines to a file descriptor. Any thread may write."""

    def __init__(self, descriptor: int, lines: int = LINES) -> None:
        self._descriptor = descriptor
        self._waiting: queue.Queue[str | None] = queue.Queue(lines)
        self._lost = 0
        self._thread = threading.Thread(target=self._run, name="log", daemon=True)
        self._thread.start()

    def write(self, line: str) -> None:
        """Hand a line over; it is lost when too many wait, and the next one says so."""
        try:
            self._waiting.put_nowait(line)
        except queue.Full:
            self._lost += 1

    def close(self) -> None:
        """Give what waits a moment to leave."""
        with suppress(queue.Full):
            self._waiting.put_nowait(None)
            self._thread.join(END_S)

    def _run(self) -> None:
        while (line := self._waiting.get()) is not None:
            if self._lost:
                line, self._lost = f"({self._lost} lines are lost: nobody took them)\n{line}", 0
            rest = f"{line}\n".encode("utf-8", "backslashreplace")
            with suppress(OSError):  # a full disk, a closed pipe: there is nowhere to say it
                while rest:
                    rest = rest[os.write(self._descriptor, rest) :]  # no buffer, whose lock would hold up the exit
