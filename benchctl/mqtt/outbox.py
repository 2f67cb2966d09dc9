"""What waits to be told: of each state only the newest, of events and runs a bounded number in their order.

Any thread may put something in; nothing that is put in waits. What the broker has not confirmed stays, so that an
event is told at least once; when there are too many, the oldest are given up, counted, and the count is told.
"""

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from benchctl.mqtt.given import Heard, Ran, Told

EVENTS = 1000  # that may wait: an hour of a lively run


@dataclass(frozen=True, slots=True)
class Waiting:
    """An event with its number."""

    seq: int
    told: Told


@dataclass(frozen=True, slots=True)
class Latest:
    """The newest scan, and when it came by a clock that does not go back."""

    heard: Heard
    came_s: float


class Outbox:
    """Shared by whoever has something to tell and the publisher."""

    def __init__(self, clock: Callable[[], float], most: int = EVENTS) -> None:
        self._clock, self._most = clock, most
        self._lock = threading.Lock()
        self._events: deque[Waiting] = deque()
        self._count = self._lost = 0
        self._latest: Latest | None = None
        self._ran: Ran | None = None
        self.wake: Callable[[], None] = lambda: None

    def show(self, heard: Heard) -> None:
        """A scan; the one before is forgotten."""
        self._latest = Latest(heard, self._clock())

    def ran(self, ran: Ran) -> None:
        """What is known of a run now; what was known before is forgotten."""
        with self._lock:
            self._ran = ran
        self.wake()

    def tell(self, told: Told) -> None:
        """An event."""
        with self._lock:
            self._count += 1
            self._events.append(Waiting(self._count, told))
            if len(self._events) > self._most:
                self._events.popleft()
                self._lost += 1
        self.wake()

    @property
    def latest(self) -> Latest | None:
        """The newest scan."""
        return self._latest

    @property
    def run(self) -> Ran | None:
        """The newest that is known of a run."""
        return self._ran

    @property
    def lost(self) -> int:
        """Events that were given up: all of them are older than any that waits."""
        return self._lost

    def waiting(self, most: int) -> tuple[Waiting, ...]:
        """The oldest events that wait; they stay until `confirmed`."""
        with self._lock:
            return tuple(self._events[k] for k in range(min(most, len(self._events))))

    def confirmed(self, seq: int) -> None:
        """Forget the events up to this number: the broker has them."""
        with self._lock:
            while self._events and self._events[0].seq <= seq:
                self._events.popleft()
