"""A run as a table: CSV (RFC 4180, UTF-8 with its mark, CR LF) in two flavours that a spreadsheet reads as they are
meant, or JSON lines, an object a scan.

Numbers are written as the shortest text that reads back to the same double, never quoted or prefixed; missing values
are empty cells. Text that a spreadsheet could take for a formula gets an apostrophe in front, and so does text that
begins with one, so that reading back is exact. Times are ISO 8601 with their offset.
"""

import json
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

from benchctl.core.reading import Maybe
from benchctl.core.site import Site
from benchctl.core.snapshot import NEVER_S
from benchctl.record.channels import Ages, Cell, headings, values
from benchctl.record.follow import Ended, Told, told
from benchctl.record.follow import ended as ended_of
from benchctl.record.reader import Reader, Scan
from benchctl.record.rows import NS

BOM = "\ufeff"
END_OF_LINE = "\r\n"
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "'")


@dataclass(frozen=True, slots=True)
class Flavour:
    """What separates cells, and what the decimal sign is."""

    name: str
    separator: str
    decimal: str


POINT = Flavour("point", ",", ".")
COMMA = Flavour("comma", ";", ",")
FLAVOURS = {flavour.name: flavour for flavour in (POINT, COMMA)}


def cell(value: Cell, flavour: Flavour) -> str:
    """One cell."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "1" if value else "0"
    if isinstance(value, float):
        return repr(value + 0.0).replace(".", flavour.decimal)
    if isinstance(value, int):
        return str(value)
    text = f"'{value}" if value.startswith(FORMULA) else value
    if any(c in text for c in (flavour.separator, '"', "\r", "\n")) or text != text.strip():
        text = '"' + text.replace('"', '""') + '"'
    return text


def line(values_: Iterable[Cell], flavour: Flavour) -> str:
    """One line with its end."""
    return flavour.separator.join(cell(value, flavour) for value in values_) + END_OF_LINE


def moment(wall_ns: int, zone: tzinfo | None = None) -> str:
    """A time as ISO 8601 with milliseconds and offset; zone: None = this computer's."""
    utc = datetime.fromtimestamp(wall_ns // NS, UTC) + timedelta(microseconds=wall_ns % NS // 1000)
    return utc.astimezone(zone).isoformat(timespec="milliseconds")


class Rows:
    """The rows of a run, scan after scan; what each cell is stands in `channels.headings`."""

    def __init__(self, reader: Reader, zone: tzinfo | None = None, after: int | None = None) -> None:
        """after: number of the scan before the first row, None where the first row is the run's first scan.

        Raises RecordFault for damage.
        """
        self.site = reader.settings.site
        self._zone, self._begun_s = zone, reader.begun_s
        self._ages = Ages(heard_s(reader, self.site, after))

    def cells(self, scan: Scan) -> tuple[Cell, ...]:
        """Of one scan, without the last one: the events. Raises RecordFault for damage."""
        if self._begun_s is None:
            self._begun_s = scan.now_s
        start: tuple[Cell, ...] = (moment(scan.wall_ns, self._zone), round(scan.now_s - self._begun_s, 6), scan.n)
        return (*start, *values(self.site, scan, self._ages))


def heard_s(reader: Reader, site: Site, after: int | None) -> list[Maybe]:
    """When each device had last told something, as of a scan: by the full state before it, and the scans since."""
    heard: list[Maybe] = [None] * (len(site.units) + len(site.instruments))
    known = [n for n in reader.states() if after is not None and n <= after]
    state = reader.state(known[-1]) if known else None
    if after is None or state is None:
        return heard
    ages: Ages | None = None
    for scan in reader.scans(known[-1] - 1):
        if scan.n > after:
            break
        if ages is None:
            kept = [*(u.age_s for u in state.units), *(i.age_s for i in state.instruments)]
            heard = [None if age_s >= NEVER_S else scan.now_s - age_s for age_s in kept]
            ages = Ages(heard)
        else:
            inputs = scan.inputs(site)
            heard = ages.at(scan.now_s, (*inputs.units, *inputs.instruments))
    return heard


def csv_head(site: Site, flavour: Flavour) -> str:
    """The mark of UTF-8, and the headings."""
    return BOM + line(headings(site), flavour)


def csv_line(rows: Rows, told_: Told, flavour: Flavour) -> str:
    """One scan with its events. Raises RecordFault for damage."""
    scan, events = told_
    return line((*rows.cells(scan), " | ".join(event.text for event in events) or None), flavour)


def csv_lines(reader: Reader, flavour: Flavour, zone: tzinfo | None = None) -> Iterator[str]:
    """The whole file, line by line, its mark included. Raises RecordFault for damage, when it is reached."""
    rows = Rows(reader, zone)
    yield csv_head(rows.site, flavour)
    for one in told(reader):
        yield csv_line(rows, one, flavour)


def json_head(reader: Reader) -> str:
    """What the lines that follow are of: an object of the kind "run"."""
    known = {key: reader.meta.get(key, "") for key in ("site", "program", "started")}
    return _json({"kind": "run", "run": reader.path.stem} | known)


def json_line(rows: Rows, told_: Told) -> str:
    """One scan: an object of the kind "scan", with the headings of the CSV as its keys and its events as objects.

    What is missing or no number is null. Raises RecordFault for damage.
    """
    scan, events = told_
    cells = (None if isinstance(c, float) and not math.isfinite(c) else c for c in rows.cells(scan))
    heads = headings(rows.site)[:-1]
    happened = [{"kind": e.kind, "unit": _unit(rows.site, e.unit), "who": e.who, "text": e.text} for e in events]
    return _json({"kind": "scan"} | dict(zip(heads, cells, strict=True)) | {"events": happened})


def json_end(ended: Ended) -> str:
    """Why nothing more comes: an object of the kind "end"."""
    return _json({"kind": "end", "outcome": ended.outcome, "sealed": ended.sealed, "why": ended.why})


def json_lines(reader: Reader, zone: tzinfo | None = None) -> Iterator[str]:
    """The whole run as JSON lines. Raises RecordFault for damage, when it is reached."""
    rows = Rows(reader, zone)
    yield json_head(reader)
    for one in told(reader):
        yield json_line(rows, one)
    yield json_end(ended_of(reader))


def _unit(site: Site, index: int) -> str | None:
    return site.units[index].name if 0 <= index < len(site.units) else None


def _json(data: dict[str, Any]) -> str:
    return json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n"
