"""A recording as a table of text, with a mapping that says what its columns mean."""

import csv
import math
from array import array
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

from benchctl.capture.recording import Channel, Recording
from benchctl.files.fault import FileFault, Flaw, nearest, quoted
from benchctl.files.mapping import Mapping

MISSING = frozenset(("", "-", "--", "---", "nan", "n/a", "na", "null", "none"))  # never zero
PARTS = {"s": 1.0, "ms": 1e-3, "us": 1e-6}


def read_csv(path: Path, mapping: Mapping) -> Recording:
    """The recording. Raises FileFault with line and column of what cannot be read."""
    columns = [array("d") for _ in mapping.columns]
    times, first = array("d"), None
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            rows = csv.reader(stream, delimiter=mapping.separator)
            places, clock = _places(path, rows, mapping)
            for row in rows:
                if not row or all(not cell.strip() for cell in row):
                    continue
                if clock is not None:
                    at, when = _time(path, rows.line_num, row, clock, mapping, first)
                    first = first or when
                    if times and at < times[-1]:
                        raise _flaw(path, rows.line_num, clock, f"time goes back to {quoted(row[clock])}")
                    times.append(at)
                for column, place, factor in zip(columns, places, (c.factor for c in mapping.columns), strict=True):
                    column.append(_number(path, rows.line_num, row, place, mapping) * factor)
    except UnicodeDecodeError:
        raise FileFault([Flaw(str(path), 0, 0, "is not UTF-8 text; export it again as UTF-8")]) from None
    except csv.Error as fault:
        raise FileFault([Flaw(str(path), 0, 0, f"is no table that can be read: {fault}")]) from None
    if not columns[0]:
        raise FileFault([Flaw(str(path), 0, 0, f"has no values from line {mapping.values_from_line} on")])
    if mapping.time_column is None:
        each_s = 1.0 / (mapping.samples_per_second or math.nan)
        times = array("d", [k * each_s for k in range(len(columns[0]))])
    t_s = array("d", [t - times[0] for t in times])
    channels = tuple(
        Channel(c.column, c.quantity, c.of, c.waveform, values, c.window_s)
        for c, values in zip(mapping.columns, columns, strict=True)
    )
    return Recording(path.name, "CSV", t_s, channels, _zoned(mapping.started or first, mapping))


def _zoned(started: datetime | None, mapping: Mapping) -> datetime | None:
    if started is None or started.tzinfo is not None or not mapping.zone:
        return started
    return datetime.fromisoformat(started.isoformat() + mapping.zone)


def _places(path: Path, rows: "Iterator[list[str]]", mapping: Mapping) -> tuple[list[int], int | None]:
    """Index of each column of the mapping, and of the times; the rows are read up to the first values."""
    if mapping.time_column is None and mapping.samples_per_second is None:
        text = "says no time: give 'time', or 'samples_per_second' where the file has no times"
        raise FileFault([Flaw(mapping.path, 0, 0, text)])
    names: list[str] = []
    for number in range(1, mapping.values_from_line):
        row = next(rows, None)
        if row is None:
            raise FileFault(
                [Flaw(str(path), number, 0, f"ends here; values are expected from line {mapping.values_from_line}")]
            )
        if number == mapping.names_in_line:
            names = [cell.strip() for cell in row]
    places = [_place(path, mapping, c.column, names, c.line) for c in mapping.columns]
    return places, None if mapping.time_column is None else _place(path, mapping, mapping.time_column, names, 0)


def _place(path: Path, mapping: Mapping, column: str, names: Sequence[str], line: int) -> int:
    if column in names:
        if list(names).count(column) > 1:
            raise FileFault(
                [Flaw(mapping.path, line, 1, f"{path.name} has several columns {quoted(column)}: say its number")]
            )
        return list(names).index(column)
    if column.isdecimal() and int(column) >= 1:
        return int(column) - 1
    text = f"{path.name} has no column {quoted(column)} in line {mapping.names_in_line}{nearest(column, names)}"
    raise FileFault([Flaw(mapping.path, line, 1 if line else 0, text)])


def _number(path: Path, line: int, row: Sequence[str], place: int, mapping: Mapping) -> float:
    try:
        text = row[place]
    except IndexError:
        raise _flaw(path, line, place, f"has {len(row)} columns, column {place + 1} is expected") from None
    try:
        value = float(text if mapping.decimal == "." else text.replace(",", "."))
    except ValueError:
        if text.strip().lower() in MISSING:
            return math.nan
        raise _flaw(path, line, place, f"{quoted(text)} is no number{_hint(text, mapping)}") from None
    return value if math.isfinite(value) else math.nan


def _hint(text: str, mapping: Mapping) -> str:
    return "; the mapping says a decimal point" if mapping.decimal == "." and "," in text else ""


def _time(
    path: Path, line: int, row: Sequence[str], place: int, mapping: Mapping, first: datetime | None
) -> tuple[float, datetime | None]:
    """Seconds, from any zero, and the clock's time where the column has one."""
    if mapping.time_form != "date and time":
        value = _number(path, line, row, place, mapping)
        if math.isnan(value):
            raise _flaw(path, line, place, "a row without its time")
        return value * PARTS[mapping.time_form], None
    text = row[place].strip() if place < len(row) else ""
    try:
        when = datetime.fromisoformat(text.replace(",", "."))
        return ((when - first).total_seconds() if first else 0.0), when
    except (ValueError, TypeError):
        raise _flaw(path, line, place, f"{quoted(text)} is no date with a time, as 2026-03-01 10:15:00.25") from None


def _flaw(path: Path, line: int, place: int, text: str) -> FileFault:
    """column: counted in cells, as a person sees them in a table."""
    return FileFault([Flaw(str(path), line, place + 1, text)])
