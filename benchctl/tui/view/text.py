"""Lines of text with marks, in exact cells: nothing runs over, no figure is cut, no data steers a terminal.

A mark says what a piece of text means (IEC 60073: red faulty, yellow abnormal, green normal, blue mandatory action);
what it looks like stands in `tui/theme.py`. A meaning is never in the colour alone: there is a word or a shape too.
"""

import math
import unicodedata
from collections.abc import Iterable
from enum import Enum


class Mark(Enum):
    """What a piece of text means."""

    PLAIN = "plain"
    QUIET = "quiet"  # names, units, rules: what need not be looked at
    STRONG = "strong"  # the figures that are looked for
    TITLE = "title"
    NORMAL = "normal"
    ABNORMAL = "abnormal"
    FAULTY = "faulty"
    MANDATORY = "mandatory"  # somebody must do something
    REHEARSAL = "rehearsal"
    CURSOR = "cursor"
    OLD = "old"  # a value that is not of now
    KEY = "key"
    ASKED = "asked"  # traces of a graph
    GIVEN = "given"
    MEASURED = "measured"


Span = tuple[str, Mark]
Line = tuple[Span, ...]

MISSING = "—"


def clean(text: str) -> str:
    """Text from devices, files and people for a terminal: what could steer it becomes a question mark.

    Control characters, bidirectional ones and those without a meaning are not printable; other spaces become plain.
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else " " if unicodedata.category(c) == "Zs" else "?" for c in text)


def cells(text: str) -> int:
    """How many cells a text takes."""
    if text.isascii():
        return len(text)
    return sum(_cells(c) for c in text)


def _cells(character: str) -> int:
    if unicodedata.combining(character):
        return 0
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1


def fit(text: str, width: int, *, right: bool = False) -> str:
    """Words in exactly so many cells: padded, or cut with an ellipsis. For figures use `number`."""
    text = clean(text)
    room = width - cells(text)
    if room >= 0:
        return " " * room + text if right else text + " " * room
    if width <= 0:
        return ""
    kept, used = [], 0
    for c in text:
        if used + _cells(c) > width - 1:
            break
        kept.append(c)
        used += _cells(c)
    return "".join(kept) + "…" + " " * (width - 1 - used)


def number(value: float | None, width: int, decimals: int = 1, unit: str = "", *, old: bool = False) -> str:
    """A figure in exactly so many cells, on the right, unit included; old ones in parentheses.

    Missing is a dash. A figure that has no room first loses its decimals, then becomes ####: it is never cut.
    """
    tail = f" {unit}" if unit else ""
    if value is None or not math.isfinite(value):
        return (MISSING + tail).rjust(width)[-width:] if width > 0 else ""
    for places in range(decimals, -1, -1):
        figure = f"{value:.{places}f}"
        figure = figure.removeprefix("-") if float(figure) == 0.0 else figure
        text = (f"({figure})" if old else figure) + tail
        if len(text) <= width:
            return text.rjust(width)
    return ("#" * max(0, width - len(tail)) + tail)[:width]


def minutes(seconds: float | None) -> str:
    """A time to go: 0:07, 4:12, 2:04:12."""
    if seconds is None or not math.isfinite(seconds):
        return MISSING
    whole = math.ceil(max(0.0, seconds) - 1e-6)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"


def age(seconds: float | None) -> str:
    """How old a value is, in at most six cells."""
    if seconds is None:
        return "never"
    if seconds < 9.95:
        return f"{seconds:.1f} s"
    if seconds < 100.0:
        return f"{seconds:.0f} s"
    if seconds < 6000.0:
        return f"{seconds / 60.0:.0f} min"
    return f"{min(999.0, seconds / 3600.0):.0f} h"


def length(line: Iterable[Span]) -> int:
    """Cells of a line."""
    return sum(cells(text) for text, _ in line)


def crop(line: Iterable[Span], width: int) -> Line:
    """A line in exactly so many cells, clean; what has no room is cut with an ellipsis."""
    spans: list[Span] = []
    left = width
    for said, mark in line:
        text = clean(said)
        wide = cells(text)
        if wide > left:
            if left > 0:
                spans.append((fit(text, left), mark))
            return tuple(spans)
        spans.append((text, mark))
        left -= wide
    if left > 0:
        spans.append((" " * left, Mark.PLAIN))
    return tuple(spans)


def ends(left: Iterable[Span], right: Iterable[Span], width: int) -> Line:
    """One line with something at both ends; the right end wins."""
    right = tuple((clean(text), mark) for text, mark in right)
    room = width - length(right)
    if room <= 0:
        return crop(right, width)
    return (*crop(left, room), *right)


def plain(line: Iterable[Span]) -> str:
    """A line's text alone."""
    return "".join(text for text, _ in line)


def wrap(text: str, width: int) -> list[str]:
    """Words over as many lines as they need, none wider than this."""
    lines: list[str] = []
    line = ""
    for word in clean(text).split():
        joined = f"{line} {word}" if line else word
        if cells(joined) <= width:
            line = joined
            continue
        if line:
            lines.append(line)
        line = fit(word, width).rstrip() if cells(word) > width else word
    return [*lines, line] if line or not lines else lines
