"""Pages that are longer than the window: which part is shown, and how far they can be scrolled."""

from benchctl.tui.view.text import Line, Mark


def part(lines: list[Line], scroll: int, height: int) -> list[Line]:
    """The lines that fit, from `scroll` on; where some have no room, the last line says how many."""
    shown, more = window(len(lines), scroll, height)
    return [*(lines[i] for i in shown), *more]


def window(count: int, scroll: int, height: int) -> tuple[range, list[Line]]:
    """Which of so many lines fit, for pages whose lines are dear; and the line that says how many do not."""
    if count <= height or height <= 1:
        return range(max(0, min(count, height))), []
    first = max(0, min(scroll, last(count, height)))
    shown = range(first, first + height - 1)
    below = count - shown.stop
    said = [f"↑ {first} above" if first else "", f"↓ {below} more below" if below else ""]
    return shown, [((f"   {'   '.join(filter(None, said))}", Mark.QUIET),)]


def last(count: int, height: int) -> int:
    """The furthest that a page of so many lines can be scrolled."""
    return 0 if count <= height else count - max(1, height - 1)


def visible(cursor: int, count: int, rows: int) -> int:
    """The first of `count` rows that is shown when so many fit and the cursor must be among them."""
    if count <= rows or rows <= 0:
        return 0
    return min(max(0, cursor - rows // 2), count - rows)
