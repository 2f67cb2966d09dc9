"""Graphs drawn by hand: two by four dots a cell (braille), or one character a cell where these are missing.

A trace is a lowest and a highest value for each column of dots, so that no peak is lost however long the time is; None
is a gap and stays empty. Traces are told apart without colour by how they are drawn: dotted, thin, bold.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import Enum

from benchctl.tui.view.rings import Range
from benchctl.tui.view.scale import Scale
from benchctl.tui.view.text import Line, Mark, Span, cells, fit

DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))  # Unicode 6.1, block 2800: by row, then column
BRAILLE = 0x2800


class Pen(Enum):
    """How a trace is drawn: its sample in a legend, the same in ASCII, its mark. The last one named lies on top."""

    DOTTED = ("┈┈", "..", Mark.ASKED)
    THIN = ("──", "--", Mark.GIVEN)
    BOLD = ("━━", "##", Mark.MEASURED)

    def sample(self, glyphs: str) -> str:
        """Two cells that show it."""
        return self.value[1] if glyphs == "ascii" else self.value[0]

    @property
    def mark(self) -> Mark:
        """Of its cells."""
        return self.value[2]


ORDER = tuple(Pen)


@dataclass(frozen=True, slots=True)
class Trace:
    """values: one for each column of dots, see `dots`."""

    values: Sequence[Range | None]
    pen: Pen


@dataclass(frozen=True, slots=True)
class Limit:
    """A level line with its name."""

    value: float
    name: str = ""


@dataclass(frozen=True, slots=True)
class Upright:
    """A line at a column of cells."""

    column: int
    mark: Mark


def dots(width: int, glyphs: str) -> int:
    """Columns of values that a plot of so many cells takes."""
    return width if glyphs == "ascii" else 2 * width


def plot(
    traces: Iterable[Trace],
    scale: Scale,
    width: int,
    height: int,
    *,
    gutter: int,
    glyphs: str = "full",
    limits: Iterable[Limit] = (),
    uprights: Iterable[Upright] = (),
) -> list[Line]:
    """`height` lines of gutter (the y axis, its labels never cut) and `width` cells of graph."""
    ascii_only = glyphs == "ascii"
    grid = _Grid(width, height, 1 if ascii_only else 4)
    for trace in sorted(traces, key=lambda t: ORDER.index(t.pen)):
        grid.draw(trace, scale)
    spans = grid.characters() if ascii_only else grid.braille()
    for limit in limits:
        _rule(spans, limit, scale, ascii_only)
    for upright in uprights:
        if 0 <= upright.column < width:
            for row in spans:
                row[upright.column] = _upright(row[upright.column], upright.mark, ascii_only)
    axis = scale.labels(height)
    wall = ("+", "|") if ascii_only else ("┤", "│")
    lines = []
    for y in range(height):
        label = axis.get(y, "")
        text = fit(label, gutter - 1, right=True) if cells(label) < gutter else " " * max(0, gutter - 1)
        edge = (text + (wall[0] if label else wall[1]) if gutter > 0 else "", Mark.QUIET)
        lines.append((edge, *joined(spans[y])))
    return lines


def joined(row: Iterable[Span]) -> Iterator[Span]:
    """Neighbours of the same mark as one span."""
    text, mark = "", Mark.PLAIN
    for character, how in row:
        if how is not mark and text:
            yield text, mark
            text = ""
        text, mark = text + character, how
    if text:
        yield text, mark


class _Grid:
    """Dots of all traces: for each cell their bits, and the pen that lies on top."""

    def __init__(self, width: int, height: int, fine: int) -> None:
        self.width, self.height, self.fine = width, height, fine
        self.across = 1 if fine == 1 else 2
        self.bits = [[0] * width for _ in range(height)]
        self.pens: list[list[Pen | None]] = [[None] * width for _ in range(height)]

    def draw(self, trace: Trace, scale: Scale) -> None:
        """One trace; columns side by side are joined, so that a step is a line and a gap is none."""
        rows, fine, pen = self.height * self.fine, self.fine, trace.pen
        dotted, bold = (pen is Pen.DOTTED, pen is Pen.BOLD) if fine > 1 else (False, False)
        above = below = -1  # the rows of the column before; none
        for x, drawn in enumerate(scale.rows(trace.values[: self.width * self.across], rows)):
            if drawn is None:
                above = below = -1
                continue
            top, bottom = drawn
            if above >= 0 and bottom < above:
                bottom = above - 1
            elif above >= 0 and top > below:
                top = below + 1
            above, below = drawn
            if top == bottom and dotted and x & 2:
                continue
            if top == bottom and bold:
                top, bottom = (top, bottom + 1) if bottom < rows - 1 else (top - 1, bottom)
            cell, right = divmod(x, self.across)
            for y in range(top, bottom + 1):
                row = y // fine
                self.bits[row][cell] |= DOTS[y % fine][right]
                self.pens[row][cell] = pen

    def braille(self) -> list[list[Span]]:
        """The cells as braille."""
        return [
            [(chr(BRAILLE + b), p.mark) if p else (" ", Mark.PLAIN) for b, p in zip(bits, pens, strict=True)]
            for bits, pens in zip(self.bits, self.pens, strict=True)
        ]

    def characters(self) -> list[list[Span]]:
        """The cells as the characters of their pens."""
        return [[(p.value[1][0], p.mark) if p else (" ", Mark.PLAIN) for p in pens] for pens in self.pens]


def _rule(spans: list[list[Span]], limit: Limit, scale: Scale, ascii_only: bool) -> None:
    """A level line where no trace lies, its name at the left."""
    if not scale.low <= limit.value <= scale.high or not spans:
        return
    row = spans[min(len(spans) - 1, max(0, scale.row(limit.value, len(spans))))]
    for x, (character, _) in enumerate(row):
        if character == " ":
            row[x] = ("=" if ascii_only else "╌", Mark.QUIET)
    name = f" {limit.name} "
    wide = cells(name)
    ruled = {("=" if ascii_only else "╌", Mark.QUIET)}
    if limit.name and wide == len(name) < len(row) // 2:
        for first in (2, len(row) - wide - 2):
            if first >= 0 and set(row[first : first + wide]) == ruled:
                row[first : first + wide] = [(c, Mark.QUIET) for c in name]
                return


def _upright(span: Span, mark: Mark, ascii_only: bool) -> Span:
    character = ("|" if ascii_only else "│") if span[0] in " ╌=" else span[0]
    return character, mark


def legend(named: Iterable[tuple[str, Pen]], glyphs: str = "full") -> Line:
    """Which trace is which: a sample of each, then its name."""
    spans: list[Span] = []
    for name, pen in named:
        spans += [(pen.sample(glyphs), pen.mark), (f" {name}   ", Mark.QUIET)]
    return tuple(spans)
