"""A curve of kW over time in block characters: asked as a line of dots, delivered as columns."""

from collections.abc import Sequence

from benchctl.core.reading import Maybe

EIGHTHS = " ▁▂▃▄▅▆▇█"


def curve(points: Sequence[tuple[float, float, Maybe]], width: int = 72, height: int = 8) -> list[str]:
    """Lines of a picture. points: (time in s, kW asked, kW delivered or None), in order of time.

    Each column shows the largest delivered value of its stretch of time; a stretch without any known value stays a "?".
    """
    if len(points) < 2:
        return []
    begin_s, end_s = points[0][0], points[-1][0]
    asked = [0.0] * width
    given: list[Maybe] = [None] * width
    for time_s, target_kw, kw in points:
        column = min(width - 1, int((time_s - begin_s) / (end_s - begin_s or 1.0) * width))
        asked[column] = max(asked[column], target_kw)
        if kw is not None:
            given[column] = max(given[column] or 0.0, kw)
    top_kw = max(*asked, *(g or 0.0 for g in given), 1.0)
    lines = []
    for row in range(height, 0, -1):
        low = top_kw * (row - 1) / height
        cells = [_cell(asked[c], given[c], low, top_kw / height, row) for c in range(width)]
        label = f"{top_kw * row / height:6.0f} " if row in (height, height // 2) else " " * 7
        lines.append(label + "│" + "".join(cells).rstrip())
    lines.append("  kW 0 └" + "─" * width)
    lines.append("        0:00" + _clock(end_s - begin_s).rjust(width - 4))
    return lines


def _cell(asked_kw: float, given_kw: Maybe, low_kw: float, step_kw: float, row: int) -> str:
    if given_kw is None:
        return "?" if row == 1 else " "
    eighths = round(8 * (given_kw - low_kw) / step_kw)
    if eighths <= 0:
        return "·" if low_kw < asked_kw <= low_kw + step_kw else " "
    return EIGHTHS[min(8, eighths)]


def _clock(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes // 60}:{minutes % 60:02d}:{rest:02d}"
