"""A whole screen: what is always there (header, alarm, last word, keys) around the page that is shown.

Nothing essential is lost at 80 by 24. A window below 40 by 8 says so in one line, with the load and the key that takes
it off; the smaller, the less of it.
"""

from collections.abc import Callable, Iterable

from benchctl.core.shown import PromptShown
from benchctl.tui.keys import Key, Kind, always, at, attached, idle, unhurried
from benchctl.tui.view import alarms, bank, chain, charge, contact, far, guide, program, runs, trends
from benchctl.tui.view.picture import DropStep, Page, Picture
from benchctl.tui.view.text import Line, Mark, Span, cells, crop, ends, length, minutes, number

SMALLEST = (40, 8)

Draw = Callable[[Picture, int, int], list[Line]]

PAGES: dict[Page, Draw] = {
    Page.CHAIN: chain.draw,
    Page.PROGRAM: program.draw,
    Page.TRENDS: trends.draw,
    Page.ALARMS: alarms.draw,
    Page.BANK: bank.draw,
    Page.RUNS: runs.draw,
    Page.FAR: far.draw,
    Page.CONTACT: contact.draw,
    Page.HELP: guide.draw,
}


# How far the pages can be scrolled, where they know it.
FURTHEST: dict[Page, Callable[[Picture, int, int], int]] = {
    Page.PROGRAM: program.furthest,
    Page.TRENDS: trends.furthest,
    Page.ALARMS: alarms.furthest,
    Page.BANK: bank.furthest,
    Page.RUNS: runs.furthest,
    Page.CONTACT: contact.furthest,
    Page.HELP: guide.furthest,
}


def room(height: int) -> int:
    """Lines of a page in a window of this height."""
    return max(0, height - 3 - _key_rows(height))


def _key_rows(height: int) -> int:
    return 2 if height >= 24 else 1


def draw(picture: Picture, width: int, height: int) -> list[Line]:
    """Exactly `height` lines of exactly `width` cells."""
    if width <= 0 or height <= 0:
        return []
    if width < SMALLEST[0] or height < SMALLEST[1]:
        return [crop(((_small(picture), Mark.STRONG),), width), *[crop((), width)] * (height - 1)]
    head = [_first(picture, width), _second(picture, width)]
    foot = [_word(picture, width), *_keys(picture, width, _key_rows(height))]
    rows = room(height)
    body = [crop(line, width) for line in PAGES[picture.cursor.page](picture, width, rows)[:rows]]
    body += [crop((), width)] * (rows - len(body))
    return [*head, *body, *foot]


def _small(picture: Picture) -> str:
    now = picture.now
    load = "load not known" if now is None else f"load {number(now.possible_kw, 8, 0, 'kW', old=picture.old).strip()}"
    return f"^O all load off – {load} – window too small"


def state_word(picture: Picture) -> tuple[str, Mark]:
    """What the bench does, in a word."""
    now = picture.now
    if picture.lost:
        return "NO RUN HOST", Mark.FAULTY
    if now is None:
        return "STARTING", Mark.MANDATORY
    if now.fault:
        return "RUN HOST FAILED", Mark.FAULTY
    if now.dropped:
        return "ALL LOAD OFF" if now.off else "DROPPING", Mark.FAULTY
    if now.trip is not None:
        return "TRIPPED", Mark.FAULTY
    if now.held:
        return "HELD", Mark.ABNORMAL
    if now.paused:
        return "PAUSED", Mark.ABNORMAL
    if now.mode == "idle" and now.loaded:
        return "LOAD BY HAND", Mark.TITLE
    return now.mode.upper(), Mark.TITLE


def _first(picture: Picture, width: int) -> Line:
    now, place = picture.now, picture.place
    word, mark = state_word(picture)
    left = [(f" {word} ", mark), (" ", Mark.PLAIN), *charge.word(picture)]
    if now is not None and now.leg is not None:
        left.append((f"{now.program} {now.leg.segment}: {now.leg.label or now.leg.kind} ", Mark.STRONG))
    elif now is not None and now.program:
        left.append((f"{now.program} ", Mark.STRONG))
    left.append((place.title or place.site or "benchctl", Mark.QUIET))
    right = []
    if picture.old and now is not None:
        right.append((f" NOT LIVE: {minutes(picture.quiet_s)} old ", Mark.FAULTY))
    if place.rehearsal:
        right.append((f" REHEARSAL {_pace(picture)} ", Mark.REHEARSAL))
    right.append((f" {picture.clock} ", Mark.PLAIN))
    return ends(left, right, width)


def _pace(picture: Picture) -> str:
    asked_for, true = picture.pace_asked, picture.pace
    asked = "×max" if asked_for is None else f"×{asked_for:g}"
    if true is None or (asked_for and abs(true - asked_for) < 0.1 * asked_for):
        return asked
    return f"{asked} (really ×{true:.3g})"


def _second(picture: Picture, width: int) -> Line:
    """The question, else the first alarm, else calm; on the right who has charge."""
    now = picture.now
    if picture.drop is not DropStep.NONE:
        mark = Mark.FAULTY if picture.drop in (DropStep.FAILED, DropStep.SENT) else Mark.ABNORMAL
        why = f": {picture.drop_why}" if picture.drop_why else ""
        return crop(((f" ALL LOAD OFF {picture.drop.value}{why} ", mark),), width)
    if picture.lost:
        said = f" {picture.lost}. The units' own watchdogs drop their load: look at the units. "
        return crop(((said, Mark.FAULTY),), width)
    if now is None:
        return crop(((f" {picture.starting or 'waiting for the first scan'}", Mark.QUIET),), width)
    if now.prompt is not None:
        text, silent, answers = _question(picture, now.prompt)
        beside = f"{answers} " if answers and _fits(text, silent, answers, width) else ""
        return ends(((f"{text}  {beside}", Mark.MANDATORY),), ((silent, Mark.MANDATORY),), width)
    return ends(_alarm(picture), (charge.line(picture),), width)


def _question(picture: Picture, asked: PromptShown) -> tuple[str, str, str]:
    """What is asked, what becomes of it without an answer, and what each answer does, for who may give one."""
    answers = "" if charge.watches(picture) else f"y: {asked.yes}  n: {asked.no}"
    return f" ? {asked.text}", f" {minutes(asked.remaining_s)}: {asked.if_silent} ", answers


def _fits(text: str, silent: str, answers: str, width: int) -> bool:
    """Whether all of a question stands on one line; else its answers stand above the keys."""
    return cells(text) + cells(silent) + cells(answers) + 4 <= width


def _alarm(picture: Picture) -> Line:
    now = picture.now
    assert now is not None
    standing = [a for a in now.alarms if a.active or a.latched or not a.acknowledged]
    if now.trip is not None:
        more = f"  (+{len(standing) - 1})" if len(standing) > 1 else ""
        return ((f" × {now.trip.text}{more} ", Mark.FAULTY),)
    if not standing and picture.ousted is not None:
        return ((f" {picture.ousted.clock} {picture.ousted.text} ", Mark.MANDATORY),)
    if not standing:
        return ((" · no alarms ", Mark.QUIET),)
    first = next((a for a in standing if a.first_out), standing[0])
    more = f"  (+{len(standing) - 1})" if len(standing) > 1 else ""
    more = more if first.active or first.latched else f": cleared{more}"
    fresh = any(not a.acknowledged for a in standing)
    serious = first.reaction != "alarm"
    mark = Mark.QUIET if not fresh else Mark.FAULTY if serious else Mark.ABNORMAL
    return ((f" {'×' if serious else '▲'} {first.text}{more} ", mark),)


def _word(picture: Picture, width: int) -> Line:
    """The last thing that was said to the operator, what answers do, or what happened last."""
    if picture.hint:
        return crop(((f" {picture.hint}", Mark.ABNORMAL if picture.hint_bad else Mark.STRONG),), width)
    if picture.now is not None and picture.now.prompt is not None and picture.drop is DropStep.NONE:
        text, silent, answers = _question(picture, picture.now.prompt)
        if answers and not _fits(text, silent, answers, width):
            return crop(((f" {answers} ", Mark.MANDATORY),), width)
    last = picture.story.events[-1] if picture.story.events else None
    if last is None:
        return crop((), width)
    by = f" ({who})" if (who := charge.signed(last, picture.place.console)) else ""
    said = f"run over: {last.text}" if last.what == "outcome" else last.text or last.what
    return crop(((f" {last.clock} ", Mark.QUIET), (f"{said}{by}", Mark.PLAIN)), width)


def _keys(picture: Picture, width: int, rows: int) -> list[Line]:
    """The keys that mean something now: the drop, what only now makes sense, what is of this page; below, the pages."""
    keys = [k for k in at(picture.cursor.page) if k.kind is not Kind.LEAVE and not idle(k, picture)]
    drop = next(k for k in keys if k.action == "drop")
    pages = [k for k in keys if k.shown.isdigit()]
    looks = [k for k in keys if k.kind is Kind.LOOK and k not in pages and k.shown not in UNTOLD]
    orders = [k for k in keys if k.kind in (Kind.ORDER, Kind.FORM) and k is not drop]
    now = [k for k in orders if k.enabled not in (attached, always, unhurried)]
    rest = [k for k in orders if k not in now]
    first = [(f" {drop.shown} ", Mark.FAULTY), (f"{drop.word} ", Mark.STRONG)]
    tail = (*_cap("?", "help"), *_cap("q", "leave"))
    if rows == 1:
        return [ends(_caps(first, (*now, *looks, *rest), width - length(tail)), tail, width)]
    own = [k for k in looks if k.pages]
    above = _caps(first, (*now, *own, *rest, *(k for k in looks if k not in own)), width)
    return [crop(above, width), ends(_caps([], pages, width - length(tail)), tail, width)]


UNTOLD = ("↑", "↓", "pgup", "pgdn", "?", "esc", "^P")  # keys that the key line leaves to the help page


def _caps(spans: list[Span], keys: Iterable[Key], room: int) -> list[Span]:
    """Keys as far as there is room."""
    for key in keys:
        cap = _cap(key.shown, key.word)
        if length(spans) + length(cap) > room:
            break
        spans = [*spans, *cap]
    return spans


def _cap(shown: str, word: str) -> list[tuple[str, Mark]]:
    return [(f" {shown}", Mark.KEY), (f" {word} ", Mark.QUIET)]
