"""The page to be read across the bench: delivered kW, Hz, time left and the state, as large as the window allows."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from benchctl.tui.view.chain import is_old
from benchctl.tui.view.figures import SHORT, TALL, Size, rows, short, tall
from benchctl.tui.view.figures import width as wide
from benchctl.tui.view.picture import Picture
from benchctl.tui.view.text import MISSING, Line, Mark, cells, minutes, number

FIGURES: tuple[Size, ...] = (*((k, k) for k in range(16, 1, -1)), (1, 2), (1, 1))  # the largest first
WORDS: tuple[Size, ...] = (*((k, k) for k in range(8, 1, -1)), (1, 2), (1, 1))
LEGIBLE: Size = (1, 2)  # words as small as this at least, even if the figures must then be smaller
MARGIN = 2  # cells at the left
APART = 2  # ... and between time and word
NO_WINDOW = 1 << 30


@dataclass(frozen=True, slots=True)
class Said:
    """What is shown: figures with room for what they may become, the time, the word; which figures are not of now."""

    kw: str
    hertz: str
    time: str
    caption: str
    word: str
    old: bool
    hertz_old: bool
    ascii_only: bool


class Stand(Enum):
    """How the figures stand."""

    STACKED = "kW above Hz"
    BESIDE = "kW beside Hz"
    ALONE = "kW large, Hz as text"


@dataclass(frozen=True, slots=True)
class Fit:
    """Sizes of figures and of words (None = as plain text), and how the figures stand."""

    figures: Size
    words: Size | None
    stand: Stand


def draw(picture: Picture, width: int, height: int) -> list[Line]:
    """The page."""
    said = _said(picture)
    fits = list(_fits(said, width, height))
    fit = next((f for f in fits if f.words is not None and f.words >= LEGIBLE), fits[0] if fits else None)
    if fit is None:
        return _plain(picture, said)[: max(0, height)]
    kw = _figure(said, said.kw, "kW", fit.figures, old=said.old)
    hertz = _figure(said, said.hertz, "Hz", fit.figures, old=said.hertz_old)
    words = _words(said, fit, width)
    match fit.stand:
        case Stand.STACKED:
            blocks = [kw, hertz, words]
        case Stand.BESIDE:
            blocks = [[(*a, *b) for a, b in zip(kw, hertz, strict=True)], words]
        case Stand.ALONE:
            blocks = [kw, words]
    return _spread(blocks, height)


def _spread(blocks: list[list[Line]], height: int) -> list[Line]:
    """Blocks one above the other, the last at the foot; spare rows between them first, then above."""
    spare = height - sum(map(len, blocks))
    gaps = [0, *([0] * (len(blocks) - 1))]
    for i in range(min(spare, 3 * len(gaps))):
        gaps[(i + 1) % len(gaps)] += 1
    gaps[-1] += max(0, spare - sum(gaps))
    lines: list[Line] = []
    for gap, block in zip(gaps, blocks, strict=True):
        lines += [*([()] * gap), *block]
    return lines


def _said(picture: Picture) -> Said:
    from benchctl.tui.view.whole import state_word  # late: the whole screen knows the pages

    now = picture.now
    word = state_word(picture)[0]
    time, caption = MISSING, "to go"
    if now is not None:
        cool_s = max(now.cool_down_s, now.source_cool_down_s)
        if now.mode in ("running", "checks") and now.program_to_go_s is not None:
            time = minutes(now.program_to_go_s)
        elif cool_s > 0.0:
            time, caption = minutes(cool_s), "cool-down"
    if picture.old and now is not None:
        word = word if picture.lost else "NOT LIVE"
        time, caption = minutes(picture.quiet_s), "old"
    delivered = now.delivered_kw if now is not None else None
    hertz = now.source.hertz if now is not None else None
    room = len(f"{max(now.rated_kw, 100.0):.1f}") if now is not None else 5
    return Said(
        _value(delivered, room, 1),
        _value(hertz, 5, 2),
        time,
        caption,
        word,
        picture.old,
        now is None or is_old(picture, now.source),
        picture.glyphs == "ascii",
    )


def _value(value: float | None, room: int, decimals: int) -> str:
    """A figure, never cut, in at least so many places so that its size stays the same."""
    text = number(value, 12, decimals).strip()
    return text.rjust(room) if len(text) > 1 else text.rjust(room - 1)


def _fits(said: Said, width: int, height: int) -> Iterator[Fit]:
    """What fits, the largest figures first, and of these the largest words."""
    figures = [s for s in FIGURES if not said.ascii_only or s[1] % 2 == 0]
    words: list[Size | None] = [s for s in WORDS if not said.ascii_only or s[1] % 2 == 0]
    for size in figures:
        kw, hertz = (MARGIN + wide(t, TALL, size) + _unit_width(size) for t in (said.kw, said.hertz))
        for stand, across, down in (
            (Stand.STACKED, max(kw, hertz), 2),
            (Stand.BESIDE, kw + hertz, 1),
            (Stand.ALONE, kw if size == FIGURES[-1] else width + 1, 1),
        ):
            left = height - rows(TALL, size) * down
            for small in [*words, None] if stand is not Stand.ALONE else [None]:
                if across <= width and _words_rows(said, small, width) + (stand is Stand.ALONE) <= left:
                    yield Fit(size, small, stand)
                    break


def _unit_size(size: Size) -> Size | None:
    """Half as large as the figure; None = plain text."""
    return (size[0] // 2, size[0] // 2 * 2) if size[0] > 1 else None


def _unit_width(size: Size) -> int:
    unit = _unit_size(size)
    return 3 if unit is None else max(wide(u, SHORT, unit) for u in ("kW", "Hz")) + size[0] // 2


def _figure(said: Said, text: str, unit: str, size: Size, *, old: bool) -> list[Line]:
    """A figure and its unit at the foot of it."""
    drawn = tall(text, size, ascii_only=said.ascii_only, old=old)
    small = _unit_size(size)
    beside = short(unit, small, ascii_only=said.ascii_only, old=False) if small else (unit,)
    room = _unit_width(size) - size[0] // 2 if small else 3
    lines: list[Line] = []
    for y, row in enumerate(drawn):
        at = y - (len(drawn) - len(beside))
        label = beside[at] if 0 <= at < len(beside) else ""
        apart = " " * (size[0] // 2)
        lines.append(((" " * MARGIN + row, Mark.STRONG), (apart + label.ljust(room), Mark.PLAIN)))
    return lines


def _words_rows(said: Said, size: Size | None, width: int) -> int:
    """Rows of time and word; more than any window has where they are too wide."""
    if size is None:
        return 1
    return rows(SHORT, size) if _between(said, size, width) >= APART else NO_WINDOW


def _between(said: Said, size: Size, width: int) -> int:
    return width - MARGIN - wide(said.time, SHORT, size) - wide(said.word, SHORT, size)


def _words(said: Said, fit: Fit, width: int) -> list[Line]:
    """The time at the left, its caption where there is room, the word at the right."""
    size = fit.words
    if size is None:
        time_too: Line = ((f"  {said.time} {said.caption}   ", Mark.PLAIN), (said.word, Mark.STRONG))
        if fit.stand is Stand.ALONE:
            return [((f"  {said.word}", Mark.STRONG),), ((f"  {_hertz(said)}", Mark.STRONG), *time_too[:1])]
        return [time_too]
    time = short(said.time, size, ascii_only=said.ascii_only, old=False)
    word = short(said.word, size, ascii_only=said.ascii_only, old=False)
    between = _between(said, size, width)
    caption = said.caption if cells(said.caption) + APART <= between else ""
    lines: list[Line] = []
    for y, (left, right) in enumerate(zip(time, word, strict=True)):
        foot = caption if y == len(time) - 1 else ""
        lines.append(
            (
                (" " * MARGIN + left, Mark.STRONG),
                (foot + " " * (between - cells(foot)), Mark.PLAIN),
                (right, Mark.STRONG),
            )
        )
    return lines


def _hertz(said: Said) -> str:
    """Hertz as text, in parentheses where they are old."""
    text = said.hertz.strip()
    return f"({text}) Hz" if said.hertz_old and text != MISSING else f"{text} Hz"


def _plain(picture: Picture, said: Said) -> list[Line]:
    """For a window without room for large figures."""
    now = picture.now
    kw = number(now.delivered_kw if now else None, 14, 1, "kW", old=said.old).strip()
    return [
        ((f" {kw}  {_hertz(said)}", Mark.STRONG),),
        ((f" {said.word}", Mark.STRONG),),
        ((f" {said.time} {said.caption}", Mark.PLAIN),),
    ]
