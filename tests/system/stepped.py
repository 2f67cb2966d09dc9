"""`benchctl` on a computer whose wall clock is stepped: SIGUSR1 sets it back by forty minutes, as a time server does.

The clock of a real computer is not for a test to step; so time.time is stepped before benchctl is imported.
"""

import signal
import sys
import time

STEP_S = -2400.0
real, stepped_s = time.time, 0.0


def wall() -> float:
    """The wall clock as benchctl reads it."""
    return real() + stepped_s


def step(*_: object) -> None:
    """The time server acts."""
    global stepped_s  # noqa: PLW0603 - a clock is one for all
    stepped_s += STEP_S


if __name__ == "__main__":
    time.time = wall
    signal.signal(signal.SIGUSR1, step)
    from benchctl.cli import main

    sys.exit(main())
