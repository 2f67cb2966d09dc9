"""Pages that are longer than the window: which part is shown, and how far they can be scrolled."""

from benchctl.tui.view.text import Line, Mark


def part(lines: list[Line], scroll: int, height: int) -> list[Line]:
    """The lines that fit, from `scroll` on; where some have no room, the last line says how many."""
    if len(lines) <= height:
        return lines
    if height <= 1:
        return lines[:height]
    first = max(0, min(scroll, last(len(lines), height)))
    shown = lines[first : first + height - 1]
    below = len(lines) - first - len(shown)
    said = [f"↑ {first} above" if first else "", f"↓ {below} more below" if below else ""]
    return [*shown, ((f"   {'   '.join(filter(None, said))}", Mark.QUIET),)]


def last(count: int, height: int) -> int:
    """The furthest that a page of so many lines can be scrolled."""
    return 0 if count <= height else count - max(1, height - 1)
