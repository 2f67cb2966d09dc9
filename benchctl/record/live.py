"""The live recorder: its own thread, a bounded queue, one durable commit a scan.

`write` only puts a frame into the queue, so that no disk can delay a contactor. A thread that falls behind writes what
waits in fewer commits; when the queue is full, frames are dropped and the record says which. A reserve, a file of real
bytes beside the record, is given up when the disk is full, so that the alarm, the unload and the end are still
recorded. From then on the recorder counts as failed, whatever still fits.
"""

import os
import queue
import sqlite3
import threading
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from benchctl.core.decision import Frame, Settings
from benchctl.core.inputs import Recorder as Health
from benchctl.files.shelf import SourceFile
from benchctl.record.fault import RecordFault
from benchctl.record.recorder import Recorder

QUEUE = 600
BEHIND = 4  # frames waiting: the disk is slower than the bench
RESERVE_BYTES = 16 << 20
CLOSE_S = 30.0


class LiveRecorder(Recorder):
    """Writes the frames of a live run in a thread of its own."""

    def __init__(
        self,
        path: Path,
        settings: Settings,
        meta: Mapping[str, str],
        files: Sequence[SourceFile],
        *,
        reserve_bytes: int = RESERVE_BYTES,
        queue_length: int = QUEUE,
    ) -> None:
        """Create the run's file and the reserve, start the thread. Raises RecordFault."""
        super().__init__(path, settings, meta, files, live=True)
        self.dropped = 0
        self._reserve = path.with_name(path.name + ".reserve")
        self._spent = reserve_bytes == 0
        self._queue: queue.Queue[Frame | None] = queue.Queue(queue_length)
        self._make_reserve(reserve_bytes)
        self._thread = threading.Thread(target=self._run, name="recorder", daemon=True)
        self._thread.start()

    def _make_reserve(self, size_bytes: int) -> None:
        try:
            with self._reserve.open("wb") as stream:
                for start in range(0, size_bytes, 1 << 20):
                    stream.write(os.urandom(min(1 << 20, size_bytes - start)))
                stream.flush()
                os.fsync(stream.fileno())
        except OSError as fault:
            self._reserve.unlink(missing_ok=True)
            self._book.discard()
            raise RecordFault(
                f"{self._reserve}: no room for the reserve of {size_bytes / 1e6:.0f} MB: {fault.strerror}"
            ) from None

    def write(self, frame: Frame) -> None:
        """Hand a frame over. Never waits, never raises."""
        self.newest = frame.number
        try:
            self._queue.put_nowait(frame)
        except queue.Full:
            self.dropped += 1
            self.problem = f"the disk is too slow: {self.dropped} scans not recorded, the last {frame.number}"
            self.health = Health.FAILED if self.health is Health.FAILED else Health.BEHIND

    def _run(self) -> None:
        ended = False
        while not ended:
            frames = [self._queue.get()]
            with suppress(queue.Empty):
                while len(frames) < QUEUE:
                    frames.append(self._queue.get_nowait())
            ended = frames[-1] is None
            for frame in frames:
                if frame is not None:
                    self._waiting.append(frame)
            self._tick()

    def _tick(self) -> None:
        if self._due():
            self.flush()
        if self.health is not Health.FAILED:
            behind = self._queue.qsize() > BEHIND
            self.health = Health.BEHIND if behind else Health.OK

    def _store(self, frames: Sequence[Frame]) -> list[str]:
        try:
            return super()._store(frames)
        except sqlite3.OperationalError as fault:
            if fault.sqlite_errorname != "SQLITE_FULL" or self._spent:
                raise
            self._spend(fault)
            return super()._store(frames)

    def _spend(self, fault: sqlite3.Error) -> None:
        """Give up the reserve."""
        self._spent = True
        self.health = Health.FAILED
        self.problem = f"recording goes into the reserve after scan {self.last_number}: {fault}"
        self._reserve.unlink(missing_ok=True)

    def _recovered(self) -> None:
        if not self._spent:
            super()._recovered()

    def close(self, outcome: str, totals: Mapping[str, Any]) -> bool:
        """As Recorder.close, after the thread has put everything on disk; waits at most half a minute for it."""
        with suppress(queue.Full):
            self._queue.put(None, timeout=CLOSE_S)
        self._thread.join(CLOSE_S)
        if self._thread.is_alive():
            self.health = Health.FAILED
            self.problem = f"the disk does not answer; {self._queue.qsize()} scans wait"
            return False
        self._reserve.unlink(missing_ok=True)
        return super().close(outcome, totals)
