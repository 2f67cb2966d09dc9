"""A run as it grows, for whoever reads along: its scans in order, and why it ended.

The record is opened for each page and let go of, so that the recorder, which must have the file for itself when it
closes it, meets nobody for longer than a page takes; readers of a WAL never hold up its writer. A run is over when its
end is on disk, or when nobody has it open any more: a crash or a kill leaves no end. Until then it is waited for,
however slow the bench is.
"""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from benchctl.record.fault import RecordFault
from benchctl.record.reader import PAGE, Happened, Reader, Scan, being_written
from benchctl.record.seal import seal_path

LOOK_S = 0.25  # between looks, while nothing new comes
DEAD_S = 3.0  # without anything new, before it is asked whether anybody writes, and from one time to the next
SEAL_S = 10.0  # from the end to its seal: the hash of a long run takes a second or two
AGAIN = 20  # looks in a row that may fail: the file is being closed, its disk is away for a moment
SLOW_S = 15.0  # without anything new: told, once

Told = tuple[Scan, tuple[Happened, ...]]


@dataclass(frozen=True, slots=True)
class Ended:
    """Why nothing more comes. outcome: the run's, None where it has none; why: in words."""

    outcome: str | None
    sealed: bool
    why: str


def ended(reader: Reader) -> Ended:
    """Where a run stands now, and that nothing more is read of it."""
    end, sealed = reader.end, seal_path(reader.path).is_file()
    if end is not None:
        return Ended(end.outcome, sealed, f"the run has ended: {end.outcome}" + ("" if sealed else "; it has no seal"))
    return Ended(None, False, "the run goes on" if reader.condition == "being written" else interrupted(reader.newest))


def interrupted(last: int | None) -> str:
    """In words. last: number of the last scan."""
    when = "before its first scan" if last is None else f"after scan {last}"
    return f"the run was interrupted {when}: nobody writes its record any more, and it has no end and no seal"


class Happenings:
    """Events in their order, taken scan by scan. last: number of the last that was taken."""

    def __init__(self, events: Iterator[Happened], last: int = 0) -> None:
        self.last = last
        self._rest = events
        self._next = next(events, None)

    def until(self, scan: int) -> tuple[Happened, ...]:
        """Those that are left of the scans up to this one, which is among them."""
        here = []
        while self._next is not None and self._next.scan <= scan:
            here.append(self._next)
            self.last, self._next = self._next.n, next(self._rest, None)
        return tuple(here)


def told(reader: Reader) -> Iterator[Told]:
    """The scans that are there, each with its events; lazily."""
    events = Happenings(reader.events())
    for scan in reader.scans():
        yield scan, events.until(scan.n)


class Follow:
    """Iterate over it once: scans with their events until the run is over; then `ended` says why.

    after: number of the scan after which it begins, None = with the first. say: takes a line for people. pause, clock:
    seconds. Raises RecordFault when the record cannot be read, after trying again for a few seconds.
    """

    def __init__(
        self,
        path: Path,
        after: int | None = None,
        *,
        say: Callable[[str], None] = lambda _: None,
        pause: Callable[[float], None] = time.sleep,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.ended: Ended | None = None
        self._path, self._last = path, after
        self._event = 0  # number of the last event that was looked at
        self._open = False  # it has been seen without an end
        self._say, self._pause, self._clock = say, pause, clock

    def __iter__(self) -> Iterator[Told]:
        new_s = asked_s = self._clock()
        failed, slow = 0, False
        while self.ended is None:
            try:
                page, over = self._look()
                self._open, failed = self._open or not over, 0
            except RecordFault:
                failed += 1
                if failed > AGAIN:
                    raise
                page, over = [], False
            yield from page
            now_s = self._clock()
            if page:
                new_s = asked_s = now_s
            elif over:
                self.ended = self._over()
            elif now_s - asked_s >= DEAD_S:
                asked_s = now_s
                self._ask()
                if now_s - new_s >= SLOW_S and not slow:
                    slow = True
                    self._say(f"nothing new for {now_s - new_s:.0f} s, but the record is still being written")
            if self.ended is None and len(page) < PAGE:
                self._pause(LOOK_S)

    def _look(self) -> tuple[list[Told], bool]:
        """The next page, and whether the end was on disk before it was read."""
        with Reader(self._path) as reader:
            over = reader.end is not None
            scans = list(islice(reader.scans(self._last), PAGE))
            if scans:
                events = Happenings(reader.events(after=self._event), self._event)
                if self._last is not None:
                    events.until(self._last)  # of scans before the first that is wanted
                page = [(scan, events.until(scan.n)) for scan in scans]
                self._last, self._event = scans[-1].n, events.last
                return page, over
        return [], over

    def _over(self) -> Ended:
        """It has an end; its seal comes after that, if we have seen it come."""
        until_s = self._clock() + SEAL_S
        while self._open and not seal_path(self._path).is_file() and self._clock() < until_s:
            self._pause(LOOK_S)
        with Reader(self._path) as reader:
            return ended(reader)

    def _ask(self) -> None:
        """Whether anybody writes: if not, and there is no end all the same, nothing more will come."""
        if being_written(self._path):
            return
        with Reader(self._path) as reader:
            if reader.end is None and reader.newest in (None, self._last):
                self.ended = Ended(None, False, interrupted(self._last))
