"""The configuration part of a COMTRADE file, line by line: what the library would trip over, said with its line."""

import math
import re
from datetime import UTC, datetime
from pathlib import Path

from benchctl.files.fault import FileFault, Flaw, quoted

REVISIONS = ("1991", "1999", "2001", "2013")
FORMS = ("ASCII", "BINARY", "BINARY32", "FLOAT32")
STAMP = re.compile(
    r"(?:\s*(?:(\d{1,2})/(\d{1,2})/(\d{2,4}))?\s*,\s*(?:(\d{1,2}):(\d{2}):(\d{1,2})(\.\d{1,12})?)?)?\s*", re.ASCII
)
MOST = 4000  # channels
MOST_VALUES = 100_000_000
ANALOG = ((0, "its number"), (5, "a of value = a x + b"), (8, "its smallest"), (9, "its largest"))
ANALOG_OR_EMPTY = ((6, "b of value = a x + b"), (7, "its skew"))
TRANSFORMER = ((10, "its primary"), (11, "its secondary"))


def check_cfg(path: Path, lines: list[str], offset: int = 0) -> None:
    """Raise FileFault for the first line that is not as IEC 60255-24 has it (read in a translation of its chapter).

    offset: lines of the file before the first of these.
    """
    walk = _Lines(path, lines, offset)
    revision = walk.head()
    analog, status = walk.counts()
    for _ in range(analog):
        walk.analog()
    for _ in range(status):
        walk.fields(2, 5, "a status channel has its number, name and what it is at rest")
    walk.number(walk.next().strip() or "50", "the line frequency")
    walk.rates(analog + status)
    for what in ("the first sample", "the trigger"):
        walk.stamp(what, month_first=revision == "1991")
    form = walk.next().strip()
    if form.upper() not in FORMS:
        raise walk.fault(f"data form {quoted(form)}, expected one of: {', '.join(FORMS)}")
    if revision != "1991":
        walk.number(walk.next().strip() or "1", "the factor of the time stamps")


class _Lines:
    """The lines, taken one after the other."""

    def __init__(self, path: Path, lines: list[str], offset: int) -> None:
        self._path, self._lines, self._offset, self._at = path, lines, offset, 0

    def next(self) -> str:
        self._at += 1
        return self._lines[self._at - 1].replace("\x1a", "") if self._at <= len(self._lines) else ""

    def fault(self, text: str) -> FileFault:
        here = self._lines[self._at - 1].strip() if self._at <= len(self._lines) else ""
        return FileFault([Flaw(str(self._path), self._offset + self._at, 1, text, here)])

    def fields(self, least: int, most: int, wanted: str) -> list[str]:
        found = [cell.strip() for cell in self.next().split(",")]
        if not least <= len(found) <= most:
            raise self.fault(f"{len(found)} fields; {wanted}")
        return found

    def number(self, text: str, what: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise self.fault(f"{quoted(text.strip())} is no number, expected {what}")
        return value

    def head(self) -> str:
        found = self.fields(2, 3, "expected station, device and year of revision")
        if len(found) == 3 and found[2] not in REVISIONS:
            raise self.fault(f"revision {quoted(found[2])}, expected one of: {', '.join(REVISIONS)}")
        return found[2] if len(found) == 3 else "1991"

    def counts(self) -> tuple[int, int]:
        found = [cell.upper() for cell in self.fields(3, 3, "expected the numbers of channels as 8,4A,4D")]
        if not re.fullmatch(r"\d{1,6},\d{1,6}A,\d{1,6}D", ",".join(found)):
            raise self.fault(f"{quoted(','.join(found))}, expected the numbers of channels as 8,4A,4D")
        whole, analog, status = int(found[0]), int(found[1][:-1]), int(found[2][:-1])
        if whole != analog + status:
            raise self.fault(f"{whole} channels in all, but {analog} analog and {status} status ones")
        if not 1 <= whole <= MOST:
            raise self.fault(f"{whole} channels, expected 1 to {MOST}")
        return analog, status

    def analog(self) -> None:
        found = self.fields(10, 13, "an analog channel has 10 (1991) or 13")
        for place, what in ANALOG:
            self.number(found[place], what)
        for place, what in ANALOG_OR_EMPTY:
            self.number(found[place] or "0", what)
        for place, what in TRANSFORMER:
            if len(found) > place:
                self.number(found[place], what)

    def rates(self, channels: int) -> None:
        for _ in range(max(1, int(self.number(self.next(), "the number of sampling rates")))):
            rate, last = self.fields(2, 2, "expected a sampling rate and the number of its last sample")
            if self.number(rate, "a sampling rate") < 0.0:
                raise self.fault("a sampling rate below 0")
            count = self.number(last, "the number of the last sample")
            if count < 1:
                raise self.fault("a recording without samples")
            if count * channels > MOST_VALUES:
                raise self.fault(f"{last} samples of {channels} channels: more than can be read; cut it about the step")

    def stamp(self, what: str, *, month_first: bool) -> None:
        text = self.next()
        found = STAMP.fullmatch(text)
        day, month, year = (int(found[k] or 0) for k in (1, 2, 3)) if found else (99, 99, 0)
        if month_first:
            day, month = month, day
        hour, minute, second = (int(found[k] or 0) for k in (4, 5, 6)) if found else (0, 0, 0)
        try:
            datetime(year or 2000, month or 1, day or 1, hour, minute, second, tzinfo=UTC)
        except ValueError:
            form = "mm/dd/yyyy" if month_first else "dd/mm/yyyy"
            told = f"expected the time of {what} as {form},hh:mm:ss.ssssss, found {quoted(text.strip())}"
            raise self.fault(told) from None
