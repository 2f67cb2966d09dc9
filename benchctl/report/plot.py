"""Graphs over time as SVG, written by hand: the same picture stands in the PDF and in the HTML.

Each curve is thinned out to the least and the largest value of each column of the picture, so that no dip is lost.
Not-known values leave a hole in the line: nothing is drawn across them.
"""

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

INK, SOFT, RULE, SHADE = "#1c2733", "#5b6875", "#d5dae0", "#f1f3f6"
FONT = "Libertinus Serif, Palatino, Georgia, serif"
STROKES = (("#1f4e79", ""), ("#b4571b", ""), ("#4a7c59", ""), (SOFT, "3 2"))
COLUMNS = 560
LEFT, RIGHT, TOP, BOTTOM, GAP, LEGEND = 34.0, 4.0, 26.0, 28.0, 9.0, 12.0


@dataclass(frozen=True, slots=True)
class Curve:
    """One line. stroke: index of STROKES; 3 is dashed and quiet, for what is asked rather than measured."""

    name: str
    t_s: Sequence[float]
    values: Sequence[float]
    stroke: int = 0


@dataclass(frozen=True, slots=True)
class Panel:
    """Curves that share an axis. around: a value that must be on the axis; least: the smallest span shown."""

    title: str
    unit: str
    curves: tuple[Curve, ...]
    height: float = 88.0
    around: float | None = None
    least: float = 1.0


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment, with a sign above the first panel."""

    at_s: float
    sign: str


@dataclass(frozen=True, slots=True)
class Band:
    """A stretch of time with its name, shaded in turn."""

    from_s: float
    to_s: float
    name: str


@dataclass(slots=True)
class Graph:
    """The whole picture."""

    panels: tuple[Panel, ...]
    from_s: float
    to_s: float
    bands: tuple[Band, ...] = ()
    marks: tuple[Mark, ...] = ()
    width: float = 560.0
    axis: str = ""
    zero_s: float = 0.0  # what the axis counts from
    parts: list[str] = field(default_factory=list)

    def x(self, t_s: float) -> float:
        """Where a time is drawn."""
        span = max(self.to_s - self.from_s, 1e-9)
        return LEFT + (t_s - self.from_s) / span * (self.width - LEFT - RIGHT)

    def text(self, x: float, y: float, said: str, anchor: str = "start", size: float = 9.0, fill: str = INK) -> None:
        """Put a text."""
        self.parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}" fill="{fill}">'
            f"{escape(said)}</text>"
        )


def thinned(curve: Curve, from_s: float, to_s: float, columns: int = COLUMNS) -> list[list[tuple[float, float]]]:
    """The curve's pieces without holes; of each column its first, least, largest and last sample, in order."""
    step = max((to_s - from_s) / columns, 1e-9)
    t_s, values, count = curve.t_s, curve.values, min(len(curve.t_s), len(curve.values))
    pieces: list[list[tuple[float, float]]] = []
    piece: list[tuple[float, float]] = []
    low = bisect.bisect_left(t_s, from_s)
    while low < count and t_s[low] <= to_s:
        edge_s = from_s + (math.floor((t_s[low] - from_s) / step) + 1) * step
        high = max(low + 1, min(count, bisect.bisect_left(t_s, min(edge_s, math.nextafter(to_s, math.inf)), low)))
        part = values[low:high]
        if any(map(math.isnan, part)):
            for t, v in zip(t_s[low:high], part, strict=True):
                if not math.isnan(v):
                    piece.append((t, v))
                elif piece:
                    pieces.append(piece)
                    piece = []
        else:
            least, most = min(part), max(part)
            places = sorted({0, part.index(least), part.index(most), len(part) - 1})
            piece += [(t_s[low + k], part[k]) for k in places]
        low = high
    return [*pieces, piece] if piece else pieces


def ticks(low: float, high: float, most: int = 5) -> list[float]:
    """Round values within a range."""
    step = _nice((high - low) / max(most, 1))
    first = math.ceil(low / step - 1e-9)
    return [round(i * step, 10) for i in range(first, math.floor(high / step + 1e-9) + 1)]


def _nice(rough: float) -> float:
    power: float = 10.0 ** math.floor(math.log10(max(rough, 1e-12)))
    return next(n * power for n in (1.0, 2.0, 5.0, 10.0) if n * power >= rough * (1 - 1e-9))


TIME_STEPS = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200)


def time_ticks(from_s: float, to_s: float, most: int = 12) -> list[float]:
    """Round times within a range."""
    step = next((s for s in TIME_STEPS if (to_s - from_s) / s <= most), TIME_STEPS[-1])
    first = math.ceil(from_s / step - 1e-9)
    return [float(i * step) for i in range(first, math.floor(to_s / step + 1e-9) + 1)]


def draw(graph: Graph) -> str:
    """The picture as an SVG text."""
    height = TOP + BOTTOM + sum(p.height + GAP + LEGEND for p in graph.panels)
    bottom = height - BOTTOM
    _bands(graph, TOP, bottom - GAP)
    y = TOP
    for panel in graph.panels:
        y += LEGEND
        _panel(graph, panel, y)
        y += panel.height + GAP
    _times(graph, bottom - GAP)
    _marks(graph, bottom - GAP)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {graph.width:g} {height:g}" width="{graph.width:g}" '
        f'height="{height:g}" font-family="{FONT}" fill="none" stroke-linejoin="round">'
    )
    return head + "".join(graph.parts) + "</svg>"


def _bands(graph: Graph, top: float, bottom: float) -> None:
    free = 0.0
    for i, band in enumerate(graph.bands):
        x0, x1 = graph.x(max(band.from_s, graph.from_s)), graph.x(min(band.to_s, graph.to_s))
        if x1 <= x0:
            continue
        if i % 2 == 0:
            graph.parts.append(
                f'<rect x="{x0:.1f}" y="{top - 4:.1f}" width="{x1 - x0:.1f}" height="{bottom - top + 4:.1f}" '
                f'fill="{SHADE}"/>'
            )
        middle, half = (x0 + x1) / 2, 2.6 * len(band.name) + 1
        if middle - half >= free:
            graph.text(middle, top - 7, band.name, "middle", 8.5, SOFT)
            free = middle + half


def _panel(graph: Graph, panel: Panel, top: float) -> None:
    drawn = [thinned(c, graph.from_s, graph.to_s) for c in panel.curves]
    values = [v for pieces in drawn for piece in pieces for _, v in piece]
    low, high = _range(values, panel)
    bottom = top + panel.height

    def y(v: float) -> float:
        return bottom - (v - low) / (high - low) * panel.height

    for tick in ticks(low, high, max(2, round(panel.height / 17))):
        graph.parts.append(
            f'<line x1="{LEFT:g}" x2="{graph.width - RIGHT:g}" y1="{y(tick):.1f}" y2="{y(tick):.1f}" stroke="{RULE}" '
            'stroke-width="0.6"/>'
        )
        graph.text(LEFT - 5, y(tick) + 3, f"{tick:g}".replace("-", "−"), "end", 8.5, SOFT)
    graph.text(LEFT, top - 3, f"{panel.title}, {panel.unit}", size=9.5)
    if not values:
        graph.text(LEFT + 8, top + panel.height / 2, "not measured", size=9, fill=SOFT)
    _legend(graph, panel, top)
    for curve, pieces in reversed(list(zip(panel.curves, drawn, strict=True))):
        colour, dash = STROKES[curve.stroke]
        path = "".join(
            "M" + "L".join(f"{graph.x(t):.1f} {y(v):.1f}" for t, v in piece) + ("h0.6" if len(piece) == 1 else "")
            for piece in pieces
        )
        if path:
            style = f' stroke-dasharray="{dash}"' if dash else ""
            graph.parts.append(f'<path d="{path}" stroke="{colour}" stroke-width="1"{style}/>')


def _legend(graph: Graph, panel: Panel, top: float) -> None:
    if len(panel.curves) < 2:
        return
    x = graph.width - RIGHT
    for curve in reversed(panel.curves):
        x -= 4.4 * len(curve.name) + 2
        graph.text(x, top - 3, curve.name, size=8.5, fill=SOFT)
        colour, dash = STROKES[curve.stroke]
        style = f' stroke-dasharray="{dash}"' if dash else ""
        graph.parts.append(
            f'<line x1="{x - 17:.1f}" x2="{x - 4:.1f}" y1="{top - 6:.1f}" y2="{top - 6:.1f}" stroke="{colour}" '
            f'stroke-width="1.4"{style}/>'
        )
        x -= 26


def _range(values: list[float], panel: Panel) -> tuple[float, float]:
    if panel.around is not None:
        values = [*values, panel.around]
    if not values:
        return 0.0, panel.least
    low, high = min(values), max(values)
    if high - low < panel.least:
        middle = (low + high) / 2
        low, high = middle - panel.least / 2, middle + panel.least / 2
    room = (high - low) * 0.06
    return (low if low == 0.0 else low - room), high + room


def _times(graph: Graph, bottom: float) -> None:
    from benchctl.report.measures import clock

    for tick in time_ticks(graph.from_s - graph.zero_s, graph.to_s - graph.zero_s):
        x = graph.x(tick + graph.zero_s)
        graph.parts.append(
            f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{bottom:.1f}" y2="{bottom + 4:.1f}" stroke="{SOFT}" '
            'stroke-width="0.6"/>'
        )
        said = clock(tick) if graph.to_s - graph.from_s > 90 else f"{tick:g}".replace("-", "−")
        graph.text(x, bottom + 13, said, "middle", 8.5, SOFT)
    graph.text(graph.width - RIGHT, bottom + 25, graph.axis, "end", 8.5, SOFT)


def _marks(graph: Graph, bottom: float) -> None:
    """Dotted lines; signs that stand too near to each other are told as one."""
    signs: list[tuple[float, str]] = []
    for mark in graph.marks:
        if not graph.from_s <= mark.at_s <= graph.to_s:
            continue
        x, top = graph.x(mark.at_s), TOP - 4 if mark.sign else TOP + LEGEND
        graph.parts.append(
            f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{top:.1f}" y2="{bottom:.1f}" stroke="{INK}" '
            'stroke-width="0.5" stroke-dasharray="1 2"/>'
        )
        if signs and x - signs[-1][0] < 4.0 * len(signs[-1][1]) + 7.0:
            signs[-1] = (signs[-1][0], f"{signs[-1][1]} {mark.sign}")
        elif mark.sign:
            signs.append((x, mark.sign))
    for x, sign in signs:
        graph.text(x - 2.0, TOP - 16, sign)
