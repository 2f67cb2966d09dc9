"""Axes: round ticks in steps of 1, 2 or 5 upward, and round times along."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from benchctl.tui.view.rings import Range
from benchctl.tui.view.text import Line, Mark, cells

LARGEST = 1e15  # beyond it nothing is told apart
FINEST = 1e-4  # of the largest value: no finer step, so that six digits tell two ticks apart
ROWS_A_TICK = 3
HAIR = 0.02  # of the highest value
ENDLESS_S = 1e15  # an axis longer than that has no times to tell
TIMES_S = (
    *(1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0),
    *(7200.0, 14400.0, 21600.0, 43200.0, 86400.0, 172800.0, 604800.0),
)


@dataclass(frozen=True, slots=True)
class Scale:
    """An axis from low to high; step: from tick to tick."""

    low: float
    high: float
    step: float

    @classmethod
    def over(cls, values: Iterable[Range | None], rows: int, *, least: float = 1.0, zero: bool = False) -> "Scale":
        """Over all values, at least so wide; zero: 0 is on it. rows: of cells that it will have."""
        low, high = math.inf, -math.inf
        for value in values:
            if value is not None:
                low, high = min(low, value[0]), max(high, value[1])
        if low > high:
            low, high = 0.0, least
        low, high = max(-LARGEST, min(LARGEST, low)), max(-LARGEST, min(LARGEST, high))
        if zero:  # a hair below 0 is no reason for half an axis
            low, high = 0.0 if low > -HAIR * high else low, max(0.0, high)
        least = max(least, FINEST * 10.0 * max(abs(low), abs(high)))
        if high - low < least:
            short = least - (high - low)
            low, high = (low, high + short) if zero and low == 0.0 else (low - short / 2.0, high + short / 2.0)
        step = round_step((high - low) / max(2, rows // ROWS_A_TICK))
        for ends in (step / 2.0, step):  # half a step more at the ends is enough, unless it leaves only one tick
            low, high = math.floor(low / ends + 1e-9) * ends, math.ceil(high / ends - 1e-9) * ends
            if math.floor(high / step + 1e-9) > math.ceil(low / step - 1e-9):
                break
        return cls(low, high, step)

    def row(self, value: float, rows: int) -> int:
        """The row of a value when the axis has so many, from the top; what is outside lies on the edge."""
        found = self.rows([(value, value)], rows)[0]
        assert found is not None
        return found[0]

    def rows(self, values: Iterable[Range | None], rows: int) -> list[tuple[int, int] | None]:
        """The same of lowest and highest values: top and bottom row."""
        low, high, bottom = self.low, self.high, rows - 1
        per = bottom / (high - low)
        half = bottom + 0.5  # so that cutting off rounds
        return [
            None
            if v is None
            else (
                0 if v[1] >= high else bottom if v[1] <= low else int(half - (v[1] - low) * per),
                0 if v[0] >= high else bottom if v[0] <= low else int(half - (v[0] - low) * per),
            )
            for v in values
        ]

    def labels(self, rows: int) -> dict[int, str]:
        """Row of cells → tick's label; of ticks that fall into one row the upper."""
        first = math.ceil(self.low / self.step - 1e-9)
        last = math.floor(self.high / self.step + 1e-9)
        return {self.row(i * self.step, rows): self.label(i * self.step) for i in range(first, last + 1)}

    def label(self, value: float) -> str:
        """A tick's value with as many decimals as its step has."""
        value = 0.0 if abs(value) < self.step * 1e-6 else value
        if abs(value) >= 1e6:
            return f"{value:.6g}"
        decimals = next((d for d in range(7) if abs(self.step * 10**d - round(self.step * 10**d)) < 1e-6), 6)
        return f"{value:.{decimals}f}"

    def gutter(self, rows: int) -> int:
        """Cells that the labels and the axis need."""
        return max(map(cells, self.labels(rows).values()), default=0) + 1


def round_step(least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is no less."""
    if not least > 0.0 or not math.isfinite(least):
        return 1.0
    power = 10.0 ** math.floor(math.log10(least))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0, 20.0) if m * power >= least * (1.0 - 1e-9))


def spell(seconds: float) -> str:
    """A length of time in words of an axis: 30 s, 5 min, 1 h, 1 h 30, 2 d."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min" if whole % 60 == 0 else f"{whole // 60}:{whole % 60:02d} min"
    days, rest = divmod(whole, 86400)
    hours, left = divmod(rest, 3600)
    if days and not rest:
        return f"{days} d"
    return f"{whole // 3600} h" if not left else f"{days * 24 + hours} h {left // 60:02d}"


def times(from_s: float, to_s: float, width: int, glyphs: str = "full", *, ago: bool) -> Line:
    """The axis of time under so many cells: a tick, then its time. ago: told as before to_s, which is now."""
    span_s = to_s - from_s
    if width <= 0 or not 0.0 < span_s < ENDLESS_S:
        return ((" " * max(0, width), Mark.QUIET),)
    step_s = next((s for s in TIMES_S if s / span_s * width >= 11.0), TIMES_S[-1] * math.ceil(span_s / TIMES_S[-1]))
    tick = "'" if glyphs == "ascii" else "╵"
    row = [" "] * width
    first = 1 if ago else math.ceil(from_s / step_s)
    end = f"now{tick}"
    if ago and width >= len(end):
        row[width - len(end) :] = end
    for i in range(first, first + width):
        at_s = i * step_s
        x = int((1.0 - at_s / span_s if ago else (at_s - from_s) / span_s) * width + 1e-9)
        if not 0 <= x < width:
            if (ago and x < 0) or (not ago and x >= width):
                break
            continue
        text = tick + (f"-{spell(at_s)}" if ago else spell(at_s))
        if x + len(text) <= width and not "".join(row[x : x + len(text) + 1]).strip():
            row[x : x + len(text)] = text
    return (("".join(row), Mark.QUIET),)
