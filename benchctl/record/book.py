"""The file of one run while it is written: tables, chains and transactions. Drivers are in recorder.py and live.py.

A transaction holds one or more frames and is all or nothing, in the file and in the chains. Scans that are missing
between two frames become a row of `gap`. A full state is kept at the first scan, after each gap, once a minute and at
the end, so that a replay can start there.
"""

import os
import sqlite3
import sys
import time
import uuid
from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from benchctl import __version__
from benchctl.core.decision import Frame, Settings
from benchctl.files.shelf import SourceFile
from benchctl.record.codec import CodecFault, compact
from benchctl.record.fault import RecordFault
from benchctl.record.rows import KNOWN, Packer, event_row, nanoseconds, packed, words
from benchctl.record.schema import SCHEMA, TABLES, first_link, insertion, link, statements

STATE_EVERY_S = 60.0
MAKING = ".making"
ALONE_S = (0.02, 0.05, 0.1, 0.2, 0.0)  # between tries to have a file for oneself: who follows it reads for a moment


def lock_path(path: Path) -> Path:
    """The file that is locked while a record is written."""
    return path.with_name(path.name + ".lock")


def making_path(path: Path) -> Path:
    """What a record is called until it has been made: nobody looks for records under that name."""
    return path.with_name(path.name + MAKING)


class Book:
    """One run's file, open for writing."""

    def __init__(
        self, path: Path, settings: Settings, meta: Mapping[str, str], files: Sequence[SourceFile], live: bool
    ) -> None:
        """Create the file. Raises RecordFault when it exists already or cannot be written."""
        self.path = path
        self._live = live
        self._heads: dict[str, bytes] = {}
        self._counts = dict.fromkeys(TABLES, 0)
        self._packer = Packer()
        self._numbers: dict[bytes, int] = {}  # of rows of `noun`
        self.last_number: int | None = None  # the last scan that is on disk
        self._last: Frame | None = None
        self._state_s = float("-inf")
        self._lock = FileLock(lock_path(path), timeout=0, thread_local=False)
        self._claim()
        try:
            self._create(settings, meta, files, live)
        except (sqlite3.Error, CodecFault, OSError) as fault:
            self.discard()
            raise RecordFault(f"{path}: the record cannot be started: {fault}") from None

    def _claim(self) -> None:
        """Make the file and its lock ours."""
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._lock.acquire()
        except Timeout:
            raise RecordFault(f"{self.path}: is being written by another process") from None
        except OSError as fault:
            raise RecordFault(f"{self.path}: the record cannot be started: {fault}") from None
        if os.path.lexists(self.path):
            self._release()
            raise RecordFault(f"{self.path}: exists already; a record is never written over")

    def _create(self, settings: Settings, meta: Mapping[str, str], files: Sequence[SourceFile], live: bool) -> None:
        """Make the file under another name: whatever bears a record's name can be opened, whenever we are killed."""
        made = making_path(self.path)
        with suppress(OSError):  # what is left of one that was never made
            made.unlink(missing_ok=True)
        self._db = sqlite3.connect(made, isolation_level=None, check_same_thread=False)
        self._db.execute("PRAGMA journal_mode=MEMORY")
        self._db.execute("BEGIN IMMEDIATE")
        for statement in statements():
            self._db.execute(statement)
        self._heads["meta"] = first_link("meta")
        for key, value in self._meta(settings, meta, live).items():
            self._add("meta", key, words(value))
        for table in TABLES.keys() - {"meta"}:
            self._heads[table] = first_link(table, self._heads["meta"])
        for file in files:
            self._add("file", file.kind, words(file.ref), words(file.path), words(file.text), file.sha256)
        self._add("settings", packed(settings))
        self._db.execute("COMMIT")
        self._db.execute("PRAGMA journal_mode=WAL")
        self._db.close()
        made.replace(self.path)
        self._db = sqlite3.connect(self.path, isolation_level=None, check_same_thread=False)
        self._db.execute(f"PRAGMA synchronous={'FULL' if live else 'NORMAL'}")
        if sys.platform == "darwin" and live:  # a plain fsync leaves the data in the drive's cache there
            self._db.execute("PRAGMA fullfsync=1")

    @staticmethod
    def _meta(settings: Settings, meta: Mapping[str, str], live: bool) -> dict[str, str]:
        own = {
            "schema": str(SCHEMA),
            "tool": __version__,
            "run": uuid.uuid4().hex,
            "kind": "live" if live else "rehearsal",
            "site": settings.site.name,
            "program": settings.program.name if settings.program else "",
            "scan_period_s": repr(settings.scan_period_s),
            "started": datetime.now().astimezone().isoformat(),
        }
        return own | dict(meta)

    def store(self, frames: Sequence[Frame], why_missing: str = "not recorded") -> list[str]:
        """Put frames on disk in one transaction; returns what could not be kept of them. Raises sqlite3.Error."""
        before = dict(self._heads), dict(self._counts), self._last, self._state_s
        refused: list[str] = []
        self._db.execute("BEGIN IMMEDIATE")
        try:
            for frame in frames:
                if self._last is not None and frame.number <= self._last.number:
                    refused.append(f"scan {frame.number}: is not after scan {self._last.number}")
                    continue
                try:
                    row = self._packer.scan(frame)
                    nouns = self._packer.rest(frame.inputs), self._packer.orders(frame.decision.orders)
                    events = [event_row(frame, event) for event in frame.decision.events]
                except Exception as fault:  # one frame that cannot be kept must not keep the others off the disk
                    refused.append(f"scan {frame.number}: {fault}")
                    continue
                self._frame(frame, row, nouns, events, refused[-1] if refused else why_missing)
            self._db.execute("COMMIT")
        except BaseException:
            self._heads, self._counts, self._last, self._state_s = before
            self._numbers.clear()
            self._roll_back()
            raise
        self.last_number = None if self._last is None else self._last.number
        return refused

    def _frame(
        self,
        frame: Frame,
        row: tuple[Any, ...],
        nouns: tuple[bytes, bytes],
        events: list[tuple[Any, ...]],
        why_missing: str,
    ) -> None:
        after_gap = self._last is not None and frame.number != self._last.number + 1
        if after_gap and self._last is not None:
            self._add("gap", self._last.number + 1, frame.number - 1, row[1], why_missing)
        rest, orders = nouns
        self._insert("scan", (*row, self._noun("rest", rest), self._noun("orders", orders)))
        for event in events:
            self._add("event", *event)
        self._last = frame
        if after_gap or frame.inputs.now_s - self._state_s >= STATE_EVERY_S - 1e-6:
            self._state(frame)

    def _noun(self, kind: str, data: bytes) -> int:
        """The number of the row of `noun` that holds this."""
        number = self._numbers.get(data)
        if number is None:
            if len(self._numbers) >= KNOWN:  # what is forgotten gets a second row
                self._numbers.clear()
            self._add("noun", kind, data)
            number = self._numbers[data] = self._counts["noun"]
        return number

    def _state(self, frame: Frame) -> None:
        try:
            kept = packed(frame.decision.state)
        except CodecFault:  # its digest is in the row of the scan
            return
        self._insert("state", (frame.number, kept))
        self._state_s = frame.inputs.now_s

    def finish(self, outcome: str, totals: Mapping[str, Any], newest: int | None, why_missing: str) -> None:
        """Write the end, and leave one plain file. Raises sqlite3.Error. newest: number of the last scan there was."""
        before = dict(self._heads), dict(self._counts)
        last = self._last
        # A rehearsal's clock is not this computer's: it ends with its last scan.
        now_ns = nanoseconds(time.time() if self._live or last is None else last.wall_s)
        self._db.execute("BEGIN IMMEDIATE")
        try:
            if last is not None and self._state_s != last.inputs.now_s:
                self._state(last)
            if newest is not None and last is not None and newest > last.number:
                self._add("gap", last.number + 1, newest, now_ns, why_missing)
            heads = {table: head.hex() for table, head in sorted(self._heads.items()) if table != "end"}
            self._add("end", now_ns, words(outcome), compact(dict(totals)), compact(heads))
            self._db.execute("COMMIT")
        except BaseException:
            self._heads, self._counts = before
            self._roll_back()
            raise
        (busy, _, _) = self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        if busy:
            raise sqlite3.OperationalError("a reader holds the record open; it is whole, but in two files")
        self._db.execute("PRAGMA busy_timeout=0")
        for pause_s in ALONE_S:
            try:
                self._db.execute("PRAGMA journal_mode=DELETE")
                break
            except sqlite3.OperationalError:  # a reader stays: the file is whole, only its header still says WAL
                time.sleep(pause_s)

    def close(self) -> None:
        """Let go of the file, in whatever condition it is."""
        with suppress(sqlite3.Error, AttributeError):  # it may never have been opened
            self._db.close()
        self._release()

    def discard(self) -> None:
        """Let go of a record that has nothing in it yet, and remove it."""
        self.close()
        for path in (making_path(self.path), self.path):
            with suppress(OSError):
                path.unlink(missing_ok=True)

    def _release(self) -> None:
        self._lock.release()
        with suppress(OSError):
            lock_path(self.path).unlink(missing_ok=True)

    def _add(self, table: str, *values: Any) -> None:
        self._counts[table] += 1
        self._insert(table, (self._counts[table], *values))

    def _insert(self, table: str, row: tuple[Any, ...]) -> None:
        head = link(self._heads[table], row)
        self._db.execute(insertion(table), (*row, head))
        self._heads[table] = head

    def _roll_back(self) -> None:
        with suppress(sqlite3.Error):
            if self._db.in_transaction:  # a full disk has rolled back already
                self._db.execute("ROLLBACK")
