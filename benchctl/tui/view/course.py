"""A program over program time: what is asked, what the stages give, what was delivered so far, and a line for now.

What is over is drawn as it was; what is to come as the plan has it, from where the program really is: after an
extension or a skip the rest of the plan stands later or earlier.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from benchctl.tui.view.picture import Picture
from benchctl.tui.view.plot import Limit, Pen, Trace, Upright, dots, legend, plot
from benchctl.tui.view.rings import Range
from benchctl.tui.view.scale import Scale, times
from benchctl.tui.view.text import Line, Mark
from benchctl.tui.view.traces import COURSE

Corner = tuple[float, float, float]  # program time in seconds, kW asked of the chain, kW given by the stages

UPRIGHT_S = 1e-6  # corners that are nearer to each other stand one above the other
NAMES = (("asked", Pen.DOTTED), ("given by stages", Pen.THIN), ("delivered", Pen.BOLD))


def draw(picture: Picture, width: int, height: int) -> list[Line]:
    """A legend, the graph and its axis, in exactly so many lines."""
    if height < 4:
        return []
    rows = height - 2
    corners, now_s, end_s = _laid(picture)
    extent: list[Range | None] = [(min(c[1:]), max(c[1:])) for c in corners]
    extent += [of[0] for of in _recorded(picture, end_s, 1)]
    scale = Scale.over(extent, rows, least=10.0, zero=True)
    gutter = scale.gutter(rows) + 1
    graph = max(1, width - gutter - 1)
    columns = dots(graph, picture.glyphs)
    asked, given, delivered = _recorded(picture, end_s, columns)
    planned = [polyline(corners, which, end_s, columns) for which in (1, 2)]
    drawn = plot(
        (
            Trace([was or to_be for was, to_be in zip(asked, planned[0], strict=True)], Pen.DOTTED),
            Trace([was or to_be for was, to_be in zip(given, planned[1], strict=True)], Pen.THIN),
            Trace(delivered, Pen.BOLD),
        ),
        scale,
        graph,
        rows,
        gutter=gutter,
        glyphs=picture.glyphs,
        limits=_limits(picture),
        uprights=[] if now_s is None else [_now(picture, min(graph - 1, int(now_s / end_s * graph)))],
    )
    axis = times(0.0, end_s, graph, picture.glyphs, ago=False)
    head = ((f"{'kW':>{gutter}} ", Mark.QUIET), *legend(NAMES, picture.glyphs), ("over program time", Mark.QUIET))
    return [head, *drawn, ((" " * gutter, Mark.QUIET), *axis)]


def _now(picture: Picture, column: int) -> Upright:
    return Upright(column, Mark.OLD if picture.old else Mark.STRONG)


def _limits(picture: Picture) -> list[Limit]:
    now = picture.now
    return [Limit(now.ceiling_kw, "limit")] if now is not None and now.ceiling_kw > 0.0 else []


def plan_in_hand(picture: Picture) -> dict[str, Any] | None:
    """The plan of the program that runs or is chosen; None when it is another's, or none is here."""
    plan, now = picture.plan, picture.now
    other = plan is not None and now is not None and now.leg is not None and plan.get("name") != now.program
    return None if other else plan


def _laid(picture: Picture) -> tuple[list[Corner], float | None, float]:
    """Corners of what is to be drawn of the plan, where now is in them, and where the axis ends."""
    plan, now = plan_in_hand(picture), picture.now
    corners: list[Corner] = [(c[0], c[1], c[2]) for c in (plan or {}).get("graph", ())]
    end_s = max([c[0] for c in corners], default=0.0)
    if now is None or now.mode != "running":
        done_s = picture.traces.course_s if _is_recorded(picture) else None
        return corners, None, max(1.0, end_s, done_s or 0.0)
    end_s = now.program_s + (now.program_to_go_s or 0.0)
    leg, legs = now.leg, (plan or {}).get("legs", ())
    if leg is not None and leg.index < len(legs):
        planned_s = legs[leg.index]["start_s"] + leg.spent_s
        next_s = legs[leg.index + 1]["start_s"] if leg.index + 1 < len(legs) else math.inf
        corners = moved(corners, now.program_s, planned_s, next_s, now.program_s + (leg.to_go_s or 0.0))
    return corners, now.program_s, max(1.0, end_s, max([c[0] for c in corners], default=0.0))


def moved(corners: Sequence[Corner], now_s: float, planned_s: float, next_s: float, begins_s: float) -> list[Corner]:
    """The plan from where the program is: planned_s would be now, and what stands at next_s begins at begins_s.

    Corners before now stay; those of the leg in hand move with now but not beyond its end; later ones with the next.
    """
    planned_s = min(planned_s, next_s)  # longer in an extended leg than it was planned
    seam = [
        (now_s, a + (b - a) * (planned_s - s) / (t - s), g + (h - g) * (planned_s - s) / (t - s))
        for (s, a, g), (t, b, h) in pairwise(corners)
        if s < planned_s <= t
    ]
    past = [c for c in corners if c[0] < planned_s and c[0] <= now_s]
    leg = [(min(begins_s, t + now_s - planned_s), a, g) for t, a, g in corners if planned_s <= t < next_s]
    later = [(t + begins_s - next_s, a, g) for t, a, g in corners if t >= next_s]
    return [*past, *seam, *leg, *later]


def _is_recorded(picture: Picture) -> bool:
    """True when what was really asked, given and delivered is that of the plan that is shown."""
    plan, now, program = plan_in_hand(picture), picture.now, picture.traces.program
    ours = program != "" and (plan is None or plan.get("name") == program)
    return ours and now is not None and now.mode not in ("idle", "checks")


def _recorded(picture: Picture, end_s: float, columns: int) -> list[list[Range | None]]:
    """Asked, given and delivered as they were, for each column."""
    if not _is_recorded(picture):
        return [[None] * columns] * len(COURSE)
    return [picture.traces.course(name, 0.0, end_s, columns) for name in COURSE]


def polyline(corners: Sequence[Corner], which: int, end_s: float, columns: int) -> list[Range | None]:
    """Lowest and highest of straight lines between corners, for each of so many equal stretches from 0 to end_s."""
    found: list[Range | None] = [None] * columns
    if not end_s > 0.0 or columns <= 0:
        return found
    wide_s = end_s / columns
    for begin, end in pairwise(corners):
        from_s, to_s, low, high = begin[0], max(begin[0], end[0]), begin[which], end[which]
        if from_s > end_s:
            break
        upright = to_s - from_s < UPRIGHT_S
        slope = 0.0 if upright else (high - low) / (to_s - from_s)
        to_s = from_s if upright else min(to_s, end_s)
        first, last = (max(0, min(columns - 1, int(t / wide_s))) for t in (from_s, to_s))
        for column in range(first, last + 1):
            if slope or first == last:
                at = low + slope * (max(from_s, column * wide_s) - from_s)
                until = low + slope * (min(to_s, (column + 1) * wide_s) - from_s) if slope else high
            else:
                at = until = low
            had = found[column]
            at, until = min(at, until), max(at, until)
            found[column] = (at, until) if had is None else (min(had[0], at), max(had[1], until))
    return found
