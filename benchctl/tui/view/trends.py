"""The page of trends: a panel a quantity, all over the same time, with the newest values beside them.

As many panels as have four rows; in a window of 160 cells or more in two columns. What has no room is scrolled to.
"""

from collections.abc import Callable
from dataclasses import dataclass

from benchctl.tui.view.picture import Picture
from benchctl.tui.view.plot import Limit, Pen, Trace, Upright, dots, plot
from benchctl.tui.view.rings import Range
from benchctl.tui.view.scale import Scale, spell, times
from benchctl.tui.view.text import Line, Mark, Span, crop, ends, fit, minutes, number

LEAST_ROWS = 4
TWO_COLUMNS = 160
BEFORE, FIGURE, SPREAD = 13, 10, 18  # cells beside a panel: pen and name, newest value, values at the cursor
LEAST_S = 60.0

Limits = Callable[[Picture], list[Limit]]


@dataclass(frozen=True, slots=True)
class Panel:
    """One quantity. traces: channel, name, pen; least: the smallest span of its axis, in its unit or in percent."""

    title: str
    unit: str
    traces: tuple[tuple[str, str, Pen], ...]
    decimals: int
    least: float
    zero: bool = False
    limits: Limits = lambda picture: []


def _upper(picture: Picture) -> list[Limit]:
    now = picture.now
    return [] if now is None or not now.ceiling_kw > 0.0 else [Limit(now.ceiling_kw, "limit")]


def _plate(picture: Picture, name: str) -> float | None:
    value = picture.place.nameplate.get(name)
    return float(value) if isinstance(value, int | float) and value > 0.0 else None


def _band(plate: str, *names: tuple[str, float, bool]) -> Limits:
    """Limits in percent of a value of the nameplate: name in the site's limits, sign, whether it is a deviation."""

    def limits(picture: Picture) -> list[Limit]:
        rated = _plate(picture, plate)
        found = []
        for name, sign, deviation in names:
            percent = picture.place.limits.get(name)
            if rated is not None and isinstance(percent, int | float):
                found.append(Limit(rated * ((1.0 if deviation else 0.0) + sign * percent / 100.0), "warning"))
        return found

    return limits


PANELS: tuple[Panel, ...] = (
    Panel("POWER", "kW", (("target_kw", "target", Pen.DOTTED), ("given_kw", "read back", Pen.THIN),
          ("delivered_kw", "delivered", Pen.BOLD)), 1, 10.0, zero=True, limits=_upper),
    Panel("VOLTS", "V", (("volts_v", "mean", Pen.BOLD),), 1, 8.0,
          limits=_band("volts_v", ("volts_warn_percent", 1.0, True), ("volts_warn_percent", -1.0, True))),
    Panel("HERTZ", "Hz", (("hertz", "source", Pen.BOLD),), 2, 0.5,
          limits=_band("hertz", ("hertz_warn_percent", 1.0, True), ("hertz_warn_percent", -1.0, True))),
    Panel("AMPS", "A", (("amps_a", "A", Pen.BOLD), ("amps_b", "B", Pen.THIN), ("amps_c", "C", Pen.DOTTED)), 0, 10.0,
          zero=True, limits=_band("rated_amps", ("over_current_percent", 1.0, False))),
    Panel("EXHAUST", "°C", (("hottest_c", "hottest", Pen.BOLD),), 0, 20.0),
    Panel("SOURCE", "kW", (("source_kw", "source", Pen.BOLD), ("site_kw", "site", Pen.THIN)), 1, 10.0, zero=True,
          limits=_band("power_kw", ("over_power_percent", 1.0, False))),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Window:
    """What stretch of time is looked at, and where the cursor is in it."""

    from_s: float
    to_s: float
    at_s: float | None

    @classmethod
    def of(cls, picture: Picture, columns: int) -> "Window":
        """Of a picture, its end on a whole column so that a graph does not shimmer as it moves."""
        traces, cursor = picture.traces, picture.cursor
        newest_s = traces.newest_s or 0.0
        span_s = max(LEAST_S, cursor.span_s or traces.length_s)
        wide_s = span_s / max(1, columns)
        to_s = (int(newest_s / wide_s) + 1) * wide_s
        at_s = None if cursor.ago_s is None else max(to_s - span_s, newest_s - cursor.ago_s)
        return cls(to_s - span_s, to_s, at_s)


def draw(picture: Picture, width: int, height: int) -> list[Line]:
    """The page."""
    if height < LEAST_ROWS + 2:
        return [_figures(picture, panel) for panel in PANELS[:height]]
    across, down = _laid(width, height)
    wide = (width - 2 * (across - 1)) // across
    first = max(0, min(picture.cursor.scroll, len(PANELS) - across * down))
    shown = PANELS[first : first + across * down]
    columns = [_column(picture, shown[i : i + down], wide, height - 1) for i in range(0, len(shown), down)]
    lines = columns[0]
    for more in columns[1:]:
        lines = [(*crop(left, wide), ("  ", Mark.PLAIN), *right) for left, right in zip(lines, more, strict=True)]
    return [_head(picture, len(PANELS) - len(shown), width), *lines]


def furthest(picture: Picture, width: int, height: int) -> int:
    """How many panels can be scrolled past."""
    across, down = _laid(width, height)
    return max(0, len(PANELS) - across * down)


def _laid(width: int, height: int) -> tuple[int, int]:
    """Panels across and down."""
    across = 2 if width >= TWO_COLUMNS else 1
    return across, max(1, min(-(-len(PANELS) // across), (height - 2) // LEAST_ROWS))


def _head(picture: Picture, hidden: int, width: int) -> Line:
    cursor, traces = picture.cursor, picture.traces
    span = "the whole run" if not cursor.span_s else f"the last {spell(cursor.span_s)}"
    left: list[Span] = [(f" {span}", Mark.STRONG), (f"   {minutes(traces.length_s)} remembered", Mark.QUIET)]
    right: list[Span] = []
    if hidden > 0:
        right.append((f"↑↓ {hidden} more panel{'s' if hidden > 1 else ''}   ", Mark.QUIET))
    at = "← cursor " if cursor.ago_s is None else f" cursor {minutes(cursor.ago_s)} ago "
    right.append((at, Mark.QUIET if cursor.ago_s is None else Mark.CURSOR))
    return ends(left, right, width)


def _column(picture: Picture, panels: tuple[Panel, ...], width: int, height: int) -> list[Line]:
    """Panels one above the other, and the axis of time that they share."""
    rows, rest = divmod(height - 1, len(panels))
    apart = 1 if rows > LEAST_ROWS else 0
    heights = [rows + (1 if i < rest else 0) - apart for i in range(len(panels))]
    heights[-1] += apart
    side = _side(picture, width)
    window = Window.of(picture, width)
    scales = [_scale(picture, panel, window, tall) for panel, tall in zip(panels, heights, strict=True)]
    gutter = max(scale.gutter(tall) for scale, tall in zip(scales, heights, strict=True)) + 1
    graph = max(1, width - side - gutter)
    window = Window.of(picture, graph)
    lines: list[Line] = []
    for i, panel in enumerate(panels):
        if i:
            lines += [()] * apart
        drawn = _graph(picture, panel, scales[i], window, Room(graph, heights[i], gutter))
        beside = _beside(picture, panel, window, side)
        lines += [(*row, *(beside[y] if y < len(beside) else ())) for y, row in enumerate(drawn)]
    axis = times(window.from_s, window.to_s, graph, picture.glyphs, ago=True)
    return [*lines, ((" " * gutter, Mark.QUIET), *axis)]


@dataclass(frozen=True, slots=True)
class Room:
    """Cells of a graph."""

    width: int
    height: int
    gutter: int


def _scale(picture: Picture, panel: Panel, window: Window, rows: int) -> Scale:
    all_of_it = [picture.traces.of(name, window.from_s, window.to_s, 1)[0] for name, _, _ in panel.traces]
    return Scale.over(all_of_it, rows, least=panel.least, zero=panel.zero)


def _graph(picture: Picture, panel: Panel, scale: Scale, window: Window, room: Room) -> list[Line]:
    columns = dots(room.width, picture.glyphs)
    traces = [Trace(picture.traces.of(name, window.from_s, window.to_s, columns), pen) for name, _, pen in panel.traces]
    uprights = []
    if window.at_s is not None:
        share = (window.at_s - window.from_s) / (window.to_s - window.from_s)
        uprights.append(Upright(min(room.width - 1, int(share * room.width)), Mark.STRONG))
    return plot(
        traces,
        scale,
        room.width,
        room.height,
        gutter=room.gutter,
        glyphs=picture.glyphs,
        limits=panel.limits(picture),
        uprights=uprights,
    )


def _side(picture: Picture, width: int) -> int:
    """Cells beside a panel: pen, name, newest value; with a cursor the value there, beside or instead."""
    if width < 60:
        return 0
    if picture.cursor.ago_s is None:
        return BEFORE + FIGURE
    return BEFORE + SPREAD + (FIGURE if width >= 100 else 0)


def _beside(picture: Picture, panel: Panel, window: Window, side: int) -> list[Line]:
    """The panel's name, then a line a trace."""
    if side <= 0:
        return []
    lines: list[Line] = [((f" {panel.title}", Mark.STRONG), (f" {panel.unit}", Mark.QUIET))]
    for name, says, pen in panel.traces:
        spans: list[Span] = [(" ", Mark.PLAIN), (pen.sample(picture.glyphs), pen.mark)]
        spans.append((f" {fit(says, BEFORE - 4)}", Mark.QUIET))
        if window.at_s is None or side > BEFORE + SPREAD:
            spans.append(_newest(picture, name, panel.decimals))
        if window.at_s is not None:
            found = picture.traces.at(name, window.at_s)
            text = spread(found, SPREAD - 2, panel.decimals)
            room = len(text) - len(text.lstrip())
            spans += [(text[:room], Mark.PLAIN), (f" {text[room:]} ", Mark.CURSOR)]
        lines.append(tuple(spans))
    return lines


def _newest(picture: Picture, name: str, decimals: int) -> Span:
    value = picture.traces.newest(name)
    return number(value, FIGURE, decimals, old=picture.old), Mark.OLD if picture.old else Mark.STRONG


def spread(found: Range | None, width: int, decimals: int) -> str:
    """What a moment held: a value, or lowest to highest where it was more than one; never cut."""
    if found is None or found[0] == found[1]:
        return number(None if found is None else found[0], width, decimals)
    for places in range(decimals, -1, -1):
        low, high = (f"{v:.{places}f}" for v in found)
        text = low if low == high else f"{low} to {high}"
        if len(text) <= width:
            return text.rjust(width)
    return "#" * width


def _figures(picture: Picture, panel: Panel) -> Line:
    """A panel for which there is no room: its newest values."""
    spans: list[Span] = [(f" {fit(panel.title, 8)}", Mark.QUIET)]
    for name, says, _ in panel.traces:
        spans += [(f"  {says}", Mark.QUIET), _newest(picture, name, panel.decimals)]
    return (*spans, (f" {panel.unit}", Mark.QUIET))
