"""An event loop whose clock jumps: when nothing is ready it goes straight to the next timer, or there at a pace.

`asyncio.sleep`, timeouts and `call_later` follow without a change. Real sockets may be used in the same loop, but a
peer in another process cannot keep up with a jumping clock; `grace_s` then gives it real time before each jump. With a
pace the loop waits in real time, so that sockets, calls from other threads and signals find it at the right moment.
Work that takes too long makes the clock lag: nothing is skipped, and what is lost is not made up for.
"""

import asyncio
import math
import selectors
import time
from collections import deque
from collections.abc import Callable, Coroutine
from typing import Any, TypeVar

T = TypeVar("T")
Ready = list[tuple[selectors.SelectorKey, int]]
LOOK_EVERY = 64  # turns of a loop without sockets between two looks at the kernel
HANG_S = 5.0  # real seconds without a timer and without input before we call it a deadlock
THREAD_S = 0.05  # longest wait for a thread before another look
SHORTEST_WAIT_S = 0.001  # the kernel's own grain: less is owed to the next wait
CATCH_UP_S = 0.1  # lag in real seconds that is made up for: a hiccup, not a computer that is too slow
MEASURED_S = 5.0  # real seconds over which the true pace is measured
MARK_EVERY_S = 0.25


class RealTime:
    """The computer's own time, by which a paced loop waits."""

    def now(self) -> float:
        """Real seconds."""
        return time.monotonic()

    def wait(self, select: Callable[[float | None], Ready], longest_s: float | None) -> Ready:
        """Wait until something is ready, or for so long."""
        return select(longest_s)


class _Selector(selectors.DefaultSelector):
    """A selector that moves its loop's clock: instead of waiting, or by the pace times what it has waited."""

    loop: "WarpLoop"

    def __init__(self, real: RealTime) -> None:
        super().__init__()
        self._real = real
        self._turns = 0
        self._at_s: float | None = None  # of a pace: real time at which the loop's clock is where it should be

    def select(self, timeout: float | None = None) -> Ready:
        pace = self.loop.pace
        return self._jump(timeout) if pace is None else self._paced(timeout, pace)

    def begin(self) -> None:
        """Another pace from now on."""
        self._at_s = None

    def _jump(self, timeout: float | None) -> Ready:
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
            ready = super().select(self.loop.grace_s or THREAD_S)
            if ready or self.loop.threads_busy:
                return ready
        self.loop.jump(timeout)
        return []

    def _alone(self) -> bool:
        """True when no socket but the loop's own bell is watched, which is looked at now and then only (signals)."""
        self._turns += 1
        return len(self.get_map()) <= 1 and not self.loop.threads_busy and self._turns % LOOK_EVERY != 0

    def _paced(self, timeout: float | None, pace: float) -> Ready:
        if timeout is not None and timeout <= 0:
            return super().select(0)
        if self.loop.threads_busy:
            ready = self._real.wait(super().select, THREAD_S)
            self._at_s = self._real.now()
            return ready
        at_s = self._real.now() if self._at_s is None else self._at_s
        due_s = None if timeout is None else at_s + timeout / pace
        ready = self._wait(due_s)
        now_s = self._real.now()
        if due_s is None or (ready and now_s < due_s):
            self._at_s = max(at_s, now_s)
            self.loop.jump((self._at_s - at_s) * pace)
        else:
            assert timeout is not None
            self._at_s = max(due_s, now_s - CATCH_UP_S)
            self.loop.jump(timeout)
        return ready

    def _wait(self, due_s: float | None) -> Ready:
        if due_s is None:
            return self._real.wait(super().select, None)
        longest_s = due_s - self._real.now()
        return self._real.wait(super().select, longest_s) if longest_s >= SHORTEST_WAIT_S else super().select(0)


class WarpLoop(asyncio.SelectorEventLoop):
    """An event loop in virtual time, which starts at 0 s.

    grace_s: real seconds given to a kernel or peer before a jump. pace: virtual seconds a real second; None: as fast as
    it goes. real: the time that a paced loop waits by. Raises ValueError for a pace that is not above 0 and finite.
    """

    _closed = True  # until it is made: asyncio looks when a loop that was refused is thrown away

    def __init__(self, grace_s: float = 0.0, *, pace: float | None = None, real: RealTime | None = None) -> None:
        self._pace = _checked(pace)
        self.grace_s = grace_s
        self.threads_busy = 0
        self._now_s = 0.0
        self._real = real or RealTime()
        self._marks: deque[tuple[float, float]] = deque(maxlen=round(MEASURED_S / MARK_EVERY_S))  # real, virtual
        self._mark_s = -math.inf
        self._warp = _Selector(self._real)
        self._warp.loop = self
        super().__init__(self._warp)
        # Timers within a microsecond of the clock are due: without it rounding makes zero-length jumps.
        self._clock_resolution = 1e-6

    @property
    def pace(self) -> float | None:
        """Virtual seconds a real second that it is to make; None: as many as it can."""
        return self._pace

    @pace.setter
    def pace(self, pace: float | None) -> None:
        """Go on at another pace. In the loop's own thread. Raises ValueError as when it is made."""
        self._pace = _checked(pace)
        self._warp.begin()
        self._marks.clear()
        self._mark_s = -math.inf

    def time(self) -> float:
        """Virtual seconds since the loop was made."""
        return self._now_s

    def jump(self, forward_s: float) -> None:
        """Move the clock forward."""
        self._now_s += forward_s
        real_s = self._real.now()
        if real_s >= self._mark_s:
            self._marks.append((real_s, self._now_s))
            self._mark_s = real_s + MARK_EVERY_S

    @property
    def true_pace(self) -> float | None:
        """Virtual seconds a real second that it really made in the last five seconds or so; None: not known yet.

        May be asked from any thread.
        """
        try:
            real_s, virtual_s = self._marks[0]
        except IndexError:
            return None
        passed_s = self._real.now() - real_s
        return (self._now_s - virtual_s) / passed_s if passed_s >= MARK_EVERY_S else None

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


def _checked(pace: float | None) -> float | None:
    if pace is not None and not (pace > 0.0 and math.isfinite(pace)):
        raise ValueError(f"pace {pace}: expected virtual seconds a real second, above 0")
    return pace


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
