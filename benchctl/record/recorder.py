"""The recorder called inline: a rehearsal's driver, and what the live driver's thread works with.

Frames are collected and put on disk together. When that fails they are kept in memory, up to a bound, and tried again
after a while, never in a loop; what had to be thrown away becomes a row of `gap`. Nothing here raises once the record
is open: a record that fails is an input of the next scan, not the end of it.
"""

import sqlite3
import time
from collections import deque
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from benchctl.core.decision import Frame, Settings
from benchctl.core.inputs import Recorder as Health
from benchctl.files.shelf import SourceFile
from benchctl.record.book import Book
from benchctl.record.seal import write_seal

TOGETHER = 200  # frames in one transaction
TOGETHER_S = 1.0
KEPT = 2400  # frames in memory while the disk refuses: 20 min of two a second
AGAIN_S = 5.0


class Recorder:
    """Writes the frames of one run. `health` and `problem` tell how it does."""

    def __init__(
        self, path: Path, settings: Settings, meta: Mapping[str, str], files: Sequence[SourceFile], live: bool = False
    ) -> None:
        """Create the run's file. meta: what is to be known of the run, as text. Raises RecordFault."""
        self.path = path
        self.health = Health.OK
        self.problem = ""  # what is wrong, for people
        self.newest: int | None = None  # the last scan seen
        self._book = Book(path, settings, meta, files, live)
        self._waiting: deque[Frame] = deque(maxlen=KEPT)
        self._stored_s = time.monotonic()
        self._again_s: float | None = None
        self._together = 1 if live else TOGETHER
        self._closed = False

    @property
    def last_number(self) -> int | None:
        """The last scan that is on disk."""
        return self._book.last_number

    def write(self, frame: Frame) -> None:
        """Record a frame. Never raises."""
        self.newest = frame.number
        self._waiting.append(frame)
        if self._due():
            self.flush()

    def _due(self) -> bool:
        now_s = time.monotonic()
        if self._again_s is not None:
            return now_s >= self._again_s
        return len(self._waiting) >= self._together or now_s - self._stored_s >= TOGETHER_S

    def flush(self) -> bool:
        """Put on disk what waits. True when nothing waits any more."""
        frames = list(self._waiting)
        try:
            refused = self._store(frames)
        except sqlite3.Error as fault:
            self._failed(fault)
            return False
        self._waiting.clear()
        self._stored_s = time.monotonic()
        if self._again_s is not None:
            self._again_s = None
            self._recovered()
        for text in refused:
            self.health, self.problem = Health.FAILED, f"recording of {text}"
        return True

    def _store(self, frames: Sequence[Frame]) -> list[str]:
        return self._book.store(frames, self.problem or "not recorded") if frames else []

    def _failed(self, fault: sqlite3.Error) -> None:
        last = self.last_number
        since = "from the beginning" if last is None else f"after scan {last}"
        self.health = Health.FAILED
        self.problem = f"recording stopped {since}: {fault}"
        self._again_s = time.monotonic() + AGAIN_S

    def _recovered(self) -> None:
        self.health = Health.OK

    def close(self, outcome: str, totals: Mapping[str, Any]) -> bool:
        """Write the end, close and seal the file. True when it is complete and sealed; else see `problem`."""
        if self._closed:
            return False
        self._closed = True
        try:
            self.flush()
            self._book.finish(outcome, totals, self.newest, self.problem or "not recorded")
            self._book.close()
            write_seal(self.path)
        except (sqlite3.Error, OSError, ValueError, TypeError) as fault:
            self.health = Health.FAILED
            self.problem = self.problem or f"the record is not closed: {fault}"
            self._book.close()
            return False
        return True
