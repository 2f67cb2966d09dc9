"""A run as CSV (RFC 4180, UTF-8 with its mark, CR LF), in two flavours that a spreadsheet reads as they are meant.

Numbers are written as the shortest text that reads back to the same double, never quoted or prefixed; missing values
are empty cells. Text that a spreadsheet could take for a formula gets an apostrophe in front, and so does text that
begins with one, so that reading back is exact. Times are ISO 8601 with their offset.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

from benchctl.record.channels import Ages, Cell, headings, values
from benchctl.record.reader import Happened, Reader
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


def csv_lines(reader: Reader, flavour: Flavour, zone: tzinfo | None = None) -> Iterator[str]:
    """The whole file, line by line, its mark included. Raises RecordFault for damage, when it is reached."""
    site = reader.settings.site
    yield BOM + line(headings(site), flavour)
    ages = Ages(len(site.units) + len(site.instruments))
    events = reader.events()
    waiting: Happened | None = next(events, None)
    begun_s: float | None = None
    for scan in reader.scans():
        begun_s = scan.now_s if begun_s is None else begun_s
        told: list[str] = []
        while waiting is not None and waiting.scan <= scan.n:
            told.append(waiting.text)
            waiting = next(events, None)
        cells = values(site, scan, ages)
        start: tuple[Cell, ...] = (moment(scan.wall_ns, zone), round(scan.now_s - begun_s, 6), scan.n)
        yield line((*start, *cells, " | ".join(told) or None), flavour)
