"""Reading a run: closed, still being written, or left behind by a crash. Nothing here changes the file.

Scans are read a page at a time, so that memory is bounded and a writer is never held up. What is damaged is told as a
RecordFault with the file, the table and the row; nothing is repaired or guessed.
"""

import sqlite3
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from filelock import FileLock, Timeout

from benchctl.core.decision import Settings
from benchctl.core.inputs import Inputs
from benchctl.core.orders import Orders
from benchctl.core.reading import Maybe
from benchctl.core.site import Site
from benchctl.core.state import State
from benchctl.files.bounded import from_json
from benchctl.files.shelf import RecordedShelf, SourceFile
from benchctl.record.book import lock_path
from benchctl.record.fault import RecordFault
from benchctl.record.forms import connect
from benchctl.record.rows import NS, inputs_of, shared, unpacked
from benchctl.record.schema import COLUMNS, selection

PAGE = 200
DAMAGE = (ValueError, KeyError, TypeError, zlib.error)


@dataclass(frozen=True, slots=True)
class Scan:
    """One recorded scan. A None is not known."""

    path: Path = field(repr=False)
    n: int
    wall_ns: int
    now_s: float
    dt_s: float
    target_kw: Maybe
    delivered_kw: Maybe
    source_kw: Maybe
    volts_v: Maybe
    hertz: Maybe
    hottest_c: Maybe
    units_heard: int
    spread_s: Maybe
    fault: str | None
    state_hash: bytes
    row: dict[str, Any] = field(repr=False)  # as in the table, but with the nouns themselves

    def inputs(self, site: Site) -> Inputs:
        """The inputs of the scan. Raises RecordFault when they are damaged."""
        try:
            return inputs_of(site, self.row)
        except DAMAGE as fault:
            raise RecordFault(f"{self.path}: scan {self.n}: inputs are damaged: {fault}") from None

    def orders(self) -> Orders:
        """The orders of the scan. Raises RecordFault when they are damaged."""
        try:
            orders: Orders = shared(Orders, self.row["orders"])
        except DAMAGE as fault:
            raise RecordFault(f"{self.path}: scan {self.n}: orders are damaged: {fault}") from None
        return orders


@dataclass(frozen=True, slots=True)
class Happened:
    """One recorded event. unit: an index, or -1. data: what the event held."""

    n: int
    scan: int
    wall_ns: int
    now_s: float
    kind: str
    unit: int
    who: str
    text: str
    data: str


@dataclass(frozen=True, slots=True)
class Gap:
    """Scans that are not in the record, first and last included, and why."""

    n: int
    first_scan: int
    last_scan: int
    wall_ns: int
    text: str


@dataclass(frozen=True, slots=True)
class End:
    """How a run ended."""

    wall_ns: int
    outcome: str
    totals: dict[str, Any]


CURVE = ("now_s", "target_kw", "delivered_kw", "source_kw", "volts_v", "hertz", "hottest_c")
SHOWN = tuple(f.name for f in fields(Scan) if f.name not in ("path", "row"))


class Reader:
    """One run, read only. Use it as a context manager."""

    def __init__(self, path: Path) -> None:
        """Open a run. Raises RecordFault."""
        self.path = path
        self._db, self.form = connect(path)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()

    def _rows(
        self, table: str, more: str = "", values: tuple[Any, ...] = (), columns: str = ""
    ) -> list[tuple[Any, ...]]:
        try:
            return self._db.execute(f"{selection(table, columns)} {more}", values).fetchall()
        except sqlite3.Error as fault:
            raise RecordFault(f"{self.path}: table {table} is damaged: {fault}") from None

    @cached_property
    def meta(self) -> dict[str, str]:
        """What is known of the run as a whole."""
        return {row[1]: row[2] for row in self._rows("meta", "ORDER BY n")}

    @cached_property
    def files(self) -> tuple[SourceFile, ...]:
        """The files that the run was made from, as they were."""
        return tuple(SourceFile(*row[1:6]) for row in self._rows("file", "ORDER BY n"))

    @cached_property
    def settings(self) -> Settings:
        """The run's settings: the recorded nouns, or, where today's nouns differ from them, from the recorded files.

        Raises RecordFault when neither can be read.
        """
        rows = self._rows("settings", "ORDER BY n")
        try:
            settings: Settings = unpacked(Settings, rows[0][1])
        except (*DAMAGE, IndexError) as fault:
            return self._settings_from_files(fault)
        return settings

    def _settings_from_files(self, why: Exception) -> Settings:
        from benchctl.files import FileFault, read_program, read_site

        refs = {file.kind: file.ref for file in self.files if file.kind in ("site", "program")}
        if "site" not in refs:
            raise RecordFault(f"{self.path}: settings cannot be read: {why}") from None
        shelf = RecordedShelf(self.files)
        try:
            site, _ = read_site(refs["site"], shelf)
            program = read_program(refs["program"], shelf)[0] if "program" in refs else None
            return Settings.of(site, program, float(self.meta["scan_period_s"]))
        except (FileFault, KeyError, ValueError) as fault:
            raise RecordFault(f"{self.path}: the recorded files cannot be read: {fault}") from None

    def scans(self, after: int | None = None) -> Iterator[Scan]:
        """All scans in order, or those after a number; lazily."""
        last = -(1 << 62) if after is None else after
        names = COLUMNS["scan"]
        columns = self.form.scan(*names)
        while rows := self._rows("scan", "WHERE n > ? ORDER BY n LIMIT ?", (last, PAGE), columns):
            for values in rows:
                row = dict(zip(names, values, strict=True))
                yield Scan(path=self.path, row=row, **{name: row[name] for name in SHOWN})
            last = rows[-1][0]

    def columns(self, *names: str) -> Iterator[tuple[Any, ...]]:
        """These columns of all scans in order, lazily: much quicker than `scans`, where they are enough."""
        last = -(1 << 62)
        columns = self.form.scan(*names, "n")
        while rows := self._rows("scan", "WHERE n > ? ORDER BY n LIMIT 4000", (last,), columns):
            yield from (row[:-1] for row in rows)
            last = rows[-1][-1]

    def curve(self, points: int = 600) -> list[tuple[float | None, ...]]:
        """The run thinned out to about so many scans, in order, as rows of CURVE; each is a scan as it was.

        The first, the last, and of each stretch of scans those with the most kW delivered and the lowest hertz.
        """
        (first, last), *_ = self._rows("scan", "", (), "min(n), max(n)")
        if first is None:
            return []
        stretch = max(1, -(-(last - first + 1) // max(1, points // 2)))
        group, found = f"GROUP BY (n - {first}) / {stretch}", {}
        for which, extreme in (
            (f"WHERE n IN ({first}, {last})", "n"),
            (group, "max(delivered_kw)"),
            (group, "min(hertz)"),
        ):
            for _, n, *values in self._rows("scan", which, (), f"{extreme}, n, {', '.join(CURVE)}"):
                found[n] = tuple(values)
        return [found[n] for n in sorted(found)]

    def events(self, scan: int | None = None, *, after: int = 0) -> Iterator[Happened]:
        """All events in order, those of one scan, or those after an event's number; lazily."""
        last = after
        which, extra = ("", ()) if scan is None else ("AND scan = ?", (scan,))
        while rows := self._rows("event", f"WHERE n > ? {which} ORDER BY n LIMIT ?", (last, *extra, PAGE)):
            for row in rows:
                yield Happened(*row[:9])
            last = rows[-1][0]

    def state(self, scan: int) -> State | None:
        """The full state after a scan, where the record has it. Raises RecordFault when it is damaged."""
        rows = self._rows("state", "WHERE n = ?", (scan,))
        try:
            return unpacked(State, rows[0][1]) if rows else None
        except DAMAGE as fault:
            raise RecordFault(f"{self.path}: state after scan {scan} is damaged: {fault}") from None

    def states(self) -> tuple[int, ...]:
        """The scans after which the record has the full state."""
        return tuple(n for _, n in self._rows("state", "ORDER BY n", (), "n, n"))

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Where scans are missing."""
        return tuple(Gap(*row[:5]) for row in self._rows("gap", "ORDER BY n"))

    @property
    def end(self) -> End | None:
        """How the run ended, or None: it has not, or was interrupted."""
        rows = self._rows("end", "ORDER BY n")
        try:
            return End(rows[-1][1], rows[-1][2], from_json(rows[-1][3])) if rows else None
        except ValueError as fault:
            raise RecordFault(f"{self.path}: the end is damaged: {fault}") from None

    @property
    def first_wall_ns(self) -> int:
        """Wall clock of the first scan in nanoseconds; 0 when there is none."""
        rows = self._rows("scan", "ORDER BY n LIMIT 1", (), "wall_ns")
        return int(rows[0][0]) if rows else 0

    def elapsed_s(self, wall_ns: int) -> float:
        """Seconds from the first scan to a wall clock, by the run's own clock at the last scan at or before it.

        Before the first scan they are negative.
        """
        ((low, high),) = self._rows("scan", "", (), "min(n), max(n)")
        if low is None:
            return 0.0
        ((first_ns, first_s),) = self._rows("scan", "WHERE n = ?", (low,), "wall_ns, now_s")
        at_ns, at_s = first_ns, first_s
        while low <= high:  # by halves: wall clocks have no index
            ((n, then_ns, then_s),) = self._rows(
                "scan", "WHERE n <= ? ORDER BY n DESC LIMIT 1", ((low + high) // 2,), "n, wall_ns, now_s"
            )
            if then_ns <= wall_ns:
                low, at_ns, at_s = (low + high) // 2 + 1, then_ns, then_s
            else:
                high = n - 1
        return float(at_s - first_s + (wall_ns - at_ns) / NS)

    @property
    def last_wall_ns(self) -> int:
        """Wall clock of the last scan in nanoseconds; 0 when there is none."""
        rows = self._rows("scan", "ORDER BY n DESC LIMIT 1", (), "wall_ns")
        return int(rows[0][0]) if rows else 0

    @property
    def newest(self) -> int | None:
        """Number of the last scan on disk; None when there is none."""
        rows = self._rows("scan", "ORDER BY n DESC LIMIT 1", (), "n, n")
        return int(rows[0][0]) if rows else None

    @property
    def begun_s(self) -> float | None:
        """The bench's time of the first scan on disk; None when there is none."""
        return next((row[0] for row in self.columns("now_s")), None)

    @property
    def scan_count(self) -> int:
        """Number of scans on disk."""
        try:
            return int(self._db.execute("SELECT count(*) FROM scan").fetchone()[0])
        except sqlite3.Error as fault:
            raise RecordFault(f"{self.path}: table scan is damaged: {fault}") from None

    @property
    def condition(self) -> str:
        """ "closed", "being written" or "interrupted"."""
        if self.end is not None:
            return "closed"
        return "being written" if being_written(self.path) else "interrupted"


def being_written(path: Path) -> bool:
    """True while a recorder has the record open."""
    if not lock_path(path).exists():
        return False
    lock = FileLock(lock_path(path), timeout=0)
    try:
        lock.acquire()
    except (Timeout, OSError):
        return True
    lock.release()
    return False
