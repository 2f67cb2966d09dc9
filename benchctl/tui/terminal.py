"""How a console ends when it is not left: each way is told here once, and each leaves the load to the run host.

| what happens | what the console does | the load |
|---|---|---|
| the terminal is gone (SIGHUP) | ends at once, quietly | nobody is attached: the site's attendance decides |
| SIGTERM | gives the terminal back and ends | as above |
| SIGINT, Ctrl-C | asks whether to leave | nothing changes until that is answered |
| SIGTSTP | stops; goes on with SIGCONT, and shows nothing old as live | not attached meanwhile |
| a fault of the screen | gives the terminal back, says in a line where the load stands, exit code 70 | as with SIGHUP |
| a terminal that takes no output | waits for it, and is not attached meanwhile | as with SIGHUP |

A terminal that is gone is a trap. The kernel sends SIGCONT after SIGHUP, at which the driver would begin to draw anew;
the thread that writes ends with an error, its queue fills, and whoever writes waits for ever. So: no SIGCONT any more,
the null device in place of the terminal, the reading thread told to stop, and then the loop is asked to leave. What
waits all the same is ended by a timer. And the signal may never come, if the terminal is not the controlling one of the
process: a thread asks the terminal itself whether its other end is gone.
"""

import contextlib
import contextvars
import os
import select
import signal
import threading
from collections.abc import Callable
from types import FrameType
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    import asyncio

    from textual.driver import Driver

HUNG_UP, TERMINATED = "the terminal is gone", "ended by SIGTERM"
ENDED = 1  # exit code of a console that did not end by itself
LEAVE_S = 5.0  # then a process that cannot leave is ended


class Screen(Protocol):
    """A console, as far as its ends are concerned."""

    @property
    def loop(self) -> "asyncio.AbstractEventLoop":
        """The loop in which all of it lives."""

    @property
    def driver(self) -> "Driver | None":
        """What reads and writes the terminal."""

    def ask_to_leave(self) -> None:
        """As Ctrl-C."""

    def exit(self, result: int | None = None) -> None:
        """End it with this exit code."""


class Ends:
    """The signals of one console, from `watch` until `release`. ended: why it did not end by itself, or nothing."""

    def __init__(self, console: Screen) -> None:
        self.ended = ""
        self._console = console
        self._before: dict[int, Any] = {}
        self._soon: Callable[[Callable[[], object]], object] = lambda do: do()
        self._last: threading.Timer | None = None

    def watch(self) -> None:
        """Take the signals over; called in the console's loop, after the driver took its own."""
        loop, context = self._console.loop, contextvars.copy_context()
        self._soon = lambda do: loop.call_soon_threadsafe(do, context=context)
        for name, do in (("SIGHUP", self._hung_up), ("SIGTERM", self._terminated), ("SIGINT", self._interrupted)):
            number = getattr(signal, name, None)  # Windows has no SIGHUP
            if number is not None:
                self._before[number] = signal.signal(number, do)
        if hasattr(select, "poll"):  # not on Windows
            threading.Thread(target=self._watch_terminal, name="terminal", daemon=True).start()

    def _watch_terminal(self) -> None:
        """Sleep until the other end of the terminal is gone, and say so as the system does."""
        asked = select.poll()
        asked.register(0, 0)  # of nothing but that it is gone: that is always told (poll(2), POLLHUP)
        asked.poll()
        if self._before and not self.ended:
            os.kill(os.getpid(), signal.SIGHUP)

    def release(self) -> None:
        """Give the signals back, but for one: from a terminal that is gone they come again and again."""
        for number, before in self._before.items():
            if not (self.ended == HUNG_UP and number == getattr(signal, "SIGHUP", None)):
                signal.signal(number, before if before is not None else signal.SIG_DFL)
        self._before.clear()

    def over(self) -> None:
        """The terminal is given back: there is time again."""
        if self._last is not None:
            self._last.cancel()

    # Handlers run in the main thread, wherever the loop is; they only arrange for it.

    def _hung_up(self, _number: int, _frame: FrameType | None) -> None:
        self._out_of_time()
        if self.ended == HUNG_UP:
            return
        self.ended = HUNG_UP
        signal.signal(signal.SIGCONT, signal.SIG_IGN)
        with contextlib.suppress(OSError):
            null = os.open(os.devnull, os.O_RDWR)
            for standard in (0, 1, 2):
                os.dup2(null, standard)
            os.close(null)
        stop = getattr(self._console.driver, "exit_event", None)
        if stop is not None:
            stop.set()
        self._soon(lambda: self._console.exit(ENDED))

    def _terminated(self, _number: int, _frame: FrameType | None) -> None:
        self._out_of_time()
        self.ended = self.ended or TERMINATED
        self._soon(lambda: self._console.exit(ENDED))

    def _interrupted(self, _number: int, _frame: FrameType | None) -> None:
        self._soon(self._console.ask_to_leave)

    def _out_of_time(self) -> None:
        if self._last is None:
            self._last = threading.Timer(LEAVE_S, os._exit, (ENDED,))
            self._last.daemon = True
            self._last.start()
