"""The whole screen of `watch`: a summary, the worst in words, the table or one bench, the keys; from 1 by 1 on."""

from benchctl.mqtt.picture import Bench
from benchctl.tui.view import bench, benches
from benchctl.tui.view.scrolled import last, part
from benchctl.tui.view.text import Line, Mark, Span, crop, length
from benchctl.tui.view.watched import Watched

KEYS: tuple[tuple[str, str, bool | None], ...] = (  # shown, word, only while one bench is open (None: always)
    ("Enter", "open", False),
    ("Esc", "back", True),
    ("↑↓", "move", None),
    ("n", "by name", False),
    ("t", "colours", None),
    ("q", "leave", None),
)


def room(height: int) -> int:
    """Lines between what is always there."""
    return max(0, height - (3 if height >= 6 else 2 if height >= 3 else 0))


def draw(watched: Watched, width: int, height: int) -> list[Line]:
    """Exactly `height` lines of exactly `width` cells."""
    if width <= 0 or height <= 0:
        return []
    summary, worst = benches.summary(watched, width), benches.worst(watched, width)
    if height == 1:
        return [crop(worst if watched.cut or _troubled(watched) else summary, width)]
    if height == 2:
        return [crop(summary, width), crop(worst, width)]
    rows = room(height)
    body = [crop(line, width) for line in _body(watched, width, rows)[:rows]]
    body += [crop((), width)] * (rows - len(body))
    foot = [crop(_keys(watched, width), width)] if height >= 6 else []
    return [crop(summary, width), crop(worst, width), *body, *foot]


def furthest(watched: Watched, width: int, height: int) -> int:
    """How far one bench can be scrolled."""
    found = _opened(watched)
    return 0 if found is None else last(len(bench.lines(watched, found, width)), room(height))


def _opened(watched: Watched) -> Bench | None:
    if not watched.opened:
        return None
    return next((b for b in watched.benches if b.key == watched.cursor), None)


def _body(watched: Watched, width: int, rows: int) -> list[Line]:
    found = _opened(watched)
    if found is None:
        return benches.draw(watched, width, rows)
    return part(bench.lines(watched, found, width), watched.scroll, rows)


def _troubled(watched: Watched) -> bool:
    return any(benches.state_of(b).trouble < benches.CALM for b in watched.benches)


def _keys(watched: Watched, width: int) -> Line:
    spans: list[Span] = []
    for shown, word, opened in KEYS:
        if opened is not None and opened is not watched.opened:
            continue
        said = "worst first" if word == "by name" and watched.by_name else word
        arrows = "up, down" if watched.glyphs == "ascii" and shown == "↑↓" else shown
        cap = [(f" {arrows}", Mark.KEY), (f" {said} ", Mark.QUIET)]
        if length(spans) + length(cap) > width:
            break
        spans += cap
    strays = f"{watched.strays} messages of no bench; the last: {watched.stray}" if watched.strays else ""
    return (*spans, (f" {strays}", Mark.ABNORMAL))
