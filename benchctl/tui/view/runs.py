"""Runs of before, the newest first; and one of them, opened: how it ended, what happened in it, its trend.

A row of the list: `run`, `kind`, `program`, `started`, `condition`, `outcome`, `peak_kw`, `sealed`, or `fault` where
the record cannot be read. An open run: its row, with `events` (clock, seconds since the start, what, bank, text, who),
`gaps`, `totals`, `left_out` and `trend` (columns and rows).
"""

import math
from collections.abc import Sequence
from typing import Any

from benchctl.tui.view import rules
from benchctl.tui.view.picture import Picture
from benchctl.tui.view.plot import Pen, Trace, dots, legend, plot
from benchctl.tui.view.rings import Range
from benchctl.tui.view.scale import Scale, times
from benchctl.tui.view.scrolled import last, part, visible
from benchctl.tui.view.text import MISSING, Line, Mark, Span, cells, clean, fit, minutes, number, wrap

BY_HAND = "load by hand"
CURVES = {"target_kw": ("asked", Pen.DOTTED), "delivered_kw": ("delivered", Pen.BOLD)}
LEAST_ROWS = 4
GOES_ON = "it goes on: enter judges what is recorded so far"
SEAL_CHECK = "Its seal is not checked here: benchctl show does."


def draw(picture: Picture, width: int, height: int) -> list[Line]:
    """The page."""
    if picture.cursor.run_open:
        return _opened(picture, width, height)
    rows = picture.runs
    if not rows:
        said = picture.fetching or "No run has been recorded yet."
        where = f"Records are kept in {picture.place.runs}" if picture.place.runs else ""
        return [(), ((f"   {said}", Mark.STRONG),), ((f"   {where}", Mark.QUIET),)]
    at = min(picture.cursor.run, len(rows) - 1)
    below = _about(picture, rows[at], width)
    below = below if height >= len(below) + 4 else []
    lines: list[Line] = [_columns(width)]
    room = max(1, height - 1 - len(below))
    first = visible(at, len(rows), room)
    lines += [_row(run, width, at_cursor=i == at) for i, run in enumerate(rows[first : first + room], first)]
    return [*lines, *[()] * (room + 1 - len(lines)), *below]


def furthest(picture: Picture, width: int, height: int) -> int:
    """How far an open run can be scrolled."""
    if picture.run is None:
        return 0
    if picture.cursor.rules:
        return rules.furthest(picture, width, height)
    return last(len(story(picture, width)), max(1, height - len(_above(picture, picture.run, width, height))))


# -- the list


def _columns(width: int) -> Line:
    what, outcome = _wide(width)
    head = (
        f"  {fit('begun', 17)}{fit('what', what - 1)} {fit('outcome', outcome)} {fit('peak', 11, right=True)}  record"
    )
    return ((head, Mark.QUIET),)


def _wide(width: int) -> tuple[int, int]:
    """Cells of what was run and of its outcome."""
    rest = max(20, width - 2 - 17 - 1 - 10 - 2 - 8)
    what = min(48, rest * 11 // 20)
    return what, rest - what


def _row(run: dict[str, Any], width: int, *, at_cursor: bool) -> Line:
    mark = "> " if at_cursor else "  "
    name = Mark.CURSOR if at_cursor else Mark.PLAIN
    if run.get("fault"):
        head = fit(f"{mark}{run.get('run', '')}", min(44, max(20, width // 2)))
        said = fit(f"cannot be read: {run['fault']}", max(0, width - cells(head) - 3))
        return ((head, name), (" ! ", Mark.ABNORMAL), (said, Mark.PLAIN))
    what, outcome = _wide(width)
    said, how = _outcome(run)
    sealed = bool(run.get("sealed"))
    what_it_was = f"{run.get('program') or BY_HAND}{', rehearsal' if run.get('kind') == 'rehearsal' else ''}"
    return (
        (fit(f"{mark}{_begun(run)}", 18), name),
        (f" {fit(what_it_was, what - 1)}", name),
        (" ", Mark.PLAIN),
        (fit(said.partition(":")[0], outcome), how),
        (f" {number(_figure(run.get('peak_kw')), 10, 1, 'kW')}  ", Mark.STRONG),
        (fit("sealed" if sealed else "no seal", 8), Mark.PLAIN if sealed else Mark.QUIET),
    )


def _begun(run: dict[str, Any]) -> str:
    return str(run.get("started") or "")[:16].replace("T", " ") or MISSING


def _outcome(run: dict[str, Any]) -> tuple[str, Mark]:
    """How it ended, and whether that needs to be seen."""
    if run.get("condition") == "being written":
        return "goes on now", Mark.TITLE
    if run.get("condition") == "interrupted":
        return "interrupted: the record has no end", Mark.ABNORMAL
    return str(run.get("outcome") or MISSING), Mark.PLAIN


def _figure(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _about(picture: Picture, run: dict[str, Any], width: int) -> list[Line]:
    """The run under the cursor, in full."""
    lines: list[Line] = [(), ((fit(f"  {run.get('run', '')}", width), Mark.STRONG),)]
    said = str(run.get("fault") or "") or _outcome(run)[0]
    lines += [((f"  {text}", Mark.PLAIN),) for text in wrap(said, max(10, width - 4))[:2]]
    return [*lines, (("  Enter opens it", Mark.QUIET), (f"   {picture.fetching}", Mark.QUIET))]


# -- one of them


def _opened(picture: Picture, width: int, height: int) -> list[Line]:
    run = picture.run
    if run is None:
        return [(), ((f"   {picture.fetching or 'opening'}", Mark.QUIET),)]
    if picture.cursor.rules:
        return rules.draw(picture, width, height)
    above = _above(picture, run, width, height)
    return [*above, *part(story(picture, width), picture.cursor.scroll, max(1, height - len(above)))]


def _above(picture: Picture, run: dict[str, Any], width: int, height: int) -> list[Line]:
    """What stays in its place: how the run was, and its trend where there is room for one."""
    head = [*_head(run, width), *_verdicts(picture, run, width), ()]
    rows = min(14, (height - len(head)) // 2 - 2)
    return [*head, *_trend(picture, run, width, rows)]


def _verdicts(picture: Picture, run: dict[str, Any], width: int) -> list[Line]:
    """What the record shows of its rule sets, a line each."""
    if run.get("fault"):
        return []
    judged = picture.judged.get(str(run.get("run", "")))
    if judged is not None:
        return rules.of_run(judged, width, picture.glyphs)
    goes_on = run.get("condition") == "being written"
    return [((f" {GOES_ON}", Mark.QUIET),)] if goes_on else []


def _trend(picture: Picture, run: dict[str, Any], width: int, rows: int) -> list[Line]:
    """kW asked for and delivered over the time of the run, so many rows and an axis."""
    trend = run.get("trend") or {}
    points, columns = trend.get("rows", ()), tuple(trend.get("columns", ()))
    if rows < LEAST_ROWS or len(points) < 2 or not {*CURVES, "now_s"} <= {*columns}:
        return []
    at = columns.index("now_s")
    begin_s, end_s = _figure(points[0][at]) or 0.0, _figure(points[-1][at]) or 0.0
    if not end_s > begin_s:
        return []
    gutter = 8
    graph = max(1, width - gutter - 1)
    count = dots(graph, picture.glyphs)
    traces = [Trace(_ranges(points, at, columns.index(name), count), pen) for name, (_, pen) in CURVES.items()]
    scale = Scale.over((v for t in traces for v in t.values), rows, zero=True)
    named = legend(((name, pen) for name, pen in CURVES.values()), picture.glyphs)
    lines = [((" " * (gutter - 3) + "kW  ", Mark.QUIET), *named)]
    lines += plot(traces, scale, graph, rows, gutter=gutter, glyphs=picture.glyphs)
    axis = times(0.0, end_s - begin_s, graph, picture.glyphs, ago=False)
    return [*lines, ((" " * gutter, Mark.QUIET), *axis), ()]


def _ranges(points: Sequence[Sequence[Any]], at: int, which: int, count: int) -> list[Range | None]:
    """Lowest and highest of each column; a value holds until the next one comes."""
    begin_s, end_s = float(points[0][at]), float(points[-1][at])
    found: list[Range | None] = [None] * count

    def column(time_s: float) -> int:
        return max(0, min(count - 1, int((time_s - begin_s) / (end_s - begin_s) * count)))

    for here, following in zip(points, (*points[1:], points[-1]), strict=True):
        value = _figure(here[which])
        if value is None or not math.isfinite(value):
            continue
        for x in range(column(float(here[at])), column(float(following[at])) + 1):
            known = found[x]
            found[x] = (value, value) if known is None else (min(known[0], value), max(known[1], value))
    return found


def _head(run: dict[str, Any], width: int) -> list[Line]:
    said, how = _outcome(run)
    lines: list[Line] = [
        ((fit(f" {run.get('run', '')}", max(0, width - 22)), Mark.STRONG), ("   esc: back", Mark.QUIET))
    ]
    if run.get("fault"):
        return [
            *lines,
            *(((f"   {text}", Mark.ABNORMAL),) for text in wrap(str(run["fault"]), max(10, width - 4))[:3]),
        ]
    facts: list[Span] = [("   begun ", Mark.QUIET), (_begun(run), Mark.PLAIN), ("   peak ", Mark.QUIET)]
    facts += [(number(_figure(run.get("peak_kw")), 10, 1, "kW").strip(), Mark.STRONG)]
    facts += [("   took ", Mark.QUIET), (minutes(_figure(run.get("took_s"))), Mark.PLAIN)]
    facts += [("   ", Mark.PLAIN), (f"{'sealed' if run.get('sealed') else 'no seal'}", Mark.PLAIN)]
    name = "   now " if run.get("condition") == "being written" else "   ended "
    return [*lines, ((name, Mark.QUIET), (fit(said, max(0, width - 9)).rstrip(), how)), tuple(facts)]


def story(picture: Picture, width: int) -> list[Line]:
    """What happened in the run that is open, in its order, a line each."""
    run = picture.run or {}
    lines: list[Line] = []
    for clock, elapsed_s, what, bank, text, who in run.get("events", ()):
        mark = Mark.FAULTY if what == "trip" else Mark.STRONG if what in ("alarm", "held") else Mark.PLAIN
        by = f" ({clean(who)})" if who else ""
        said = f"{text}{by}" if not bank or text.startswith(bank) else f"{bank}: {text}{by}"
        lines.append(
            (
                (f" {fit(clock, 9)}{fit(minutes(elapsed_s), 9, right=True)}  ", Mark.QUIET),
                (fit(what, 13), Mark.QUIET),
                (fit(said or what, max(0, width - 34)), mark),
            )
        )
    lines += [((fit(f" record incomplete: {text}", width), Mark.ABNORMAL),) for text in run.get("gaps", ())]
    if run.get("left_out"):
        lines.append(((f" {run['left_out']} more events are not shown here: benchctl show tells them", Mark.ABNORMAL),))
    if not lines:
        lines.append((("   nothing happened in it", Mark.QUIET),))
    return [*lines, (), ((f" {SEAL_CHECK}", Mark.QUIET),)]
