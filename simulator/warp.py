"""An event loop whose clock jumps: when nothing is ready it goes straight to the next timer.

`asyncio.sleep`, timeouts and `call_later` follow without a change. Real sockets may be used in the same loop,
but a peer in another process cannot keep up with a jumping clock; `grace_s` then gives it real time before
each jump.
"""

import asyncio
import selectors
from collections.abc import Callable, Coroutine
from typing import Any, TypeVar

T = TypeVar("T")
LOOK_EVERY = 64  # turns of a loop without sockets between two looks at the kernel
HANG_S = 5.0  # real seconds without a timer and without input before we call it a deadlock


class _WarpSelector(selectors.DefaultSelector):
    """A selector that moves its loop's clock instead of waiting."""

    loop: "WarpLoop"
    _turns = 0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        ready = [] if timeout is not None and self._alone() else super().select(0)
        if ready:
            return ready
        if timeout is None:
            ready = super().select(HANG_S)
            if not ready and not self.loop.threads_busy:
                raise RuntimeError("virtual time: nothing is scheduled and nothing arrives: deadlock")
            return ready
        if timeout <= 0:
            return ready
        if self.loop.threads_busy or self.loop.grace_s:
            ready = super().select(self.loop.grace_s or 0.05)
            if ready or self.loop.threads_busy:
                return ready
        self.loop.jump(timeout)
        return []

    def _alone(self) -> bool:
        """True when no socket but the loop's own bell is watched, which is looked at now and then only (signals)."""
        self._turns += 1
        return len(self.get_map()) <= 1 and not self.loop.threads_busy and self._turns % LOOK_EVERY != 0


class WarpLoop(asyncio.SelectorEventLoop):
    """An event loop in virtual time, which starts at 0 s.

    Grace_s: real seconds given to a kernel or peer before a jump.
    """

    def __init__(self, grace_s: float = 0.0) -> None:
        self.grace_s = grace_s
        self.threads_busy = 0
        self._now_s = 0.0
        selector = _WarpSelector()
        selector.loop = self
        super().__init__(selector)
        # Timers within a microsecond of the clock are due: without it rounding makes zero-length jumps.
        self._clock_resolution = 1e-6

    def time(self) -> float:
        """Virtual seconds since the loop was made."""
        return self._now_s

    def jump(self, forward_s: float) -> None:
        """Move the clock forward."""
        self._now_s += forward_s

    def run_in_executor(  # type: ignore[override]  # typeshed types the arguments variadically
        self, executor: Any, func: Callable[..., T], *args: Any
    ) -> "asyncio.Future[T]":
        """As in asyncio; the clock stands still while the thread runs."""
        future = super().run_in_executor(executor, func, *args)
        self.threads_busy += 1
        future.add_done_callback(self._thread_done)
        return future

    def _thread_done(self, _: Any) -> None:
        self.threads_busy -= 1


def run(coroutine: Coroutine[Any, Any, T], loop: WarpLoop | None = None) -> T:
    """Run a coroutine to its end in virtual time, cancel what it left behind, and return its result.

    Closes the loop.
    """
    loop = loop or WarpLoop()
    try:
        asyncio.set_event_loop(loop)
        return loop.run_until_complete(coroutine)
    finally:
        left = asyncio.all_tasks(loop)
        for task in left:
            task.cancel()
        if left:
            loop.run_until_complete(asyncio.gather(*left, return_exceptions=True))
        loop.run_until_complete(loop.shutdown_asyncgens())
        asyncio.set_event_loop(None)
        loop.close()
