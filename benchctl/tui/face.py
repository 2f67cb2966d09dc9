"""The whole page in one widget, a strip a row: a row is drawn again only when its text or its marks have changed."""

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from benchctl.tui.theme import MARKS, NIGHT
from benchctl.tui.view.text import Line, Mark

MANY = 0.5  # share of changed rows from which one drawing of all is cheaper


class Face(Widget, can_focus=True):
    """Shows lines. Knows nothing of what they say."""

    DEFAULT_CSS = "Face { width: 100%; height: 100%; }"

    def __init__(self) -> None:
        super().__init__()
        self._lines: list[Line] = []
        self._strips: list[Strip | None] = []
        self.marks: dict[Mark, Style] = MARKS[NIGHT]

    def show(self, lines: list[Line]) -> None:
        """These lines from now on."""
        before = self._lines
        if len(before) != len(lines):
            self._lines, self._strips = lines, [None] * len(lines)
            self.refresh()
            return
        changed = [y for y, (old, new) in enumerate(zip(before, lines, strict=True)) if old != new]
        self._lines = lines
        for y in changed:
            self._strips[y] = None
        if len(changed) > MANY * len(lines):
            self.refresh()
        elif changed:
            self.refresh(*(Region(0, y, self.size.width, 1) for y in changed))

    def wear(self, marks: dict[Mark, Style]) -> None:
        """Other colours."""
        self.marks = marks
        self._strips = [None] * len(self._lines)
        self.refresh()

    def render_line(self, y: int) -> Strip:
        """One row, as Textual asks for it."""
        width = self.size.width
        if y >= len(self._lines):
            return Strip.blank(width, self.marks[Mark.PLAIN])
        strip = self._strips[y]
        if strip is None:
            segments = [Segment(text, self.marks[mark]) for text, mark in self._lines[y] if text]
            strip = self._strips[y] = Strip(segments).adjust_cell_length(width, self.marks[Mark.PLAIN])
        return strip
