"""What time has passed between two scans, by three clocks: the loop's, one that runs on in sleep, and the wall's.

The loop's clock drives timers; on some computers it stands still while they sleep. The running clock does not, and
nobody can step it. The wall clock is told and recorded, and moves nothing; only where there is no running clock does
it say how long a hole was that the loop's clock has seen the edges of.
"""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

TOLD_S = 1.0  # a shorter step, or standing still, is not told
HOLE_PERIODS = 2.0  # a scan that is later than this may have had a sleep before it


def running_clock() -> Callable[[], float] | None:
    """A clock in seconds that runs on while the computer sleeps, or None where the loop's own is all there is.

    Linux: CLOCK_BOOTTIME (clock_gettime(2): CLOCK_MONOTONIC and the time that the system is suspended). macOS:
    CLOCK_MONOTONIC_RAW (clock_gettime(3) there: goes on in sleep, and is not adjusted; from memory, not tried).
    Windows: None; its monotonic clocks go on in sleep (from memory, not tried).
    """
    number = getattr(time, {"linux": "CLOCK_BOOTTIME", "darwin": "CLOCK_MONOTONIC_RAW"}.get(sys.platform, ""), None)
    if number is None:
        return None
    try:
        time.clock_gettime(number)
    except OSError:
        return None
    return lambda: time.clock_gettime(number)


@dataclass(frozen=True, slots=True)
class Passed:
    """The time of a scan, in seconds. now_s: the bench's time; wall_s: since 1970.

    stood_still_s: the part of dt_s in which the loop's clock stood still. clock_stepped_s: the wall clock against dt_s.
    """

    now_s: float
    dt_s: float
    wall_s: float
    stood_still_s: float
    clock_stepped_s: float


class Passing:
    """The bench's time: the loop's (`loop_s` in all arguments), and what the loop's clock has missed."""

    def __init__(self, wall: Callable[[], float], running: Callable[[], float] | None = None) -> None:
        self._wall, self._running = wall, running
        self._ahead_s = 0.0  # of the loop's clock
        self._origin_s: float | None = None  # the running clock's lead where the bench's time begins
        self._before: tuple[float, float, float] | None = None  # loop's, bench's and wall's time of the scan before

    def now_s(self, loop_s: float) -> float:
        """The bench's time now."""
        if self._running is not None:
            lead_s = self._running() - loop_s
            self._origin_s = lead_s if self._origin_s is None else self._origin_s
            self._ahead_s = lead_s - self._origin_s
        return loop_s + self._ahead_s

    def scan(self, loop_s: float, period_s: float) -> Passed:
        """The time of a scan, and what has passed since the one before. period_s: at which scans should follow."""
        now_s, wall_s = self.now_s(loop_s), self._wall()
        before, self._before = self._before, (loop_s, now_s, wall_s)
        if before is None:
            return Passed(now_s, 0.0, wall_s, 0.0, 0.0)
        loop_before_s, now_before_s, wall_before_s = before
        looped_s, walled_s = loop_s - loop_before_s, wall_s - wall_before_s
        if self._running is None and looped_s > HOLE_PERIODS * period_s and walled_s - looped_s >= TOLD_S:
            self._ahead_s += walled_s - looped_s
            now_s = loop_s + self._ahead_s
            self._before = (loop_s, now_s, wall_s)
        dt_s = max(0.0, now_s - now_before_s)
        return Passed(now_s, dt_s, wall_s, _told(dt_s - looped_s), _told(walled_s - dt_s, back=True))


def _told(seconds: float, back: bool = False) -> float:
    """What is worth telling, else 0. back: a step back is too."""
    return seconds if (abs(seconds) if back else seconds) >= TOLD_S else 0.0
