"""Alarms: what stands, the first-out first, with what to check and do; what was shelved apart; and what was before."""

from collections.abc import Iterable
from dataclasses import dataclass

from benchctl.core.causes import BY_KEY
from benchctl.core.shown import AlarmShown, Snapshot
from benchctl.tui.view import charge
from benchctl.tui.view.chain import ASCII
from benchctl.tui.view.picture import Picture, Told
from benchctl.tui.view.scrolled import last, part, visible
from benchctl.tui.view.text import MISSING, Line, Mark, Span, age, cells, fit, minutes, number, wrap

WIDE = 110  # from here on there is room for the last time, and for what an alarm does
LONG_AGO_S = 20 * 3600.0  # a time of day alone would be read as today's
REPORTED = "The bank reports this itself: see its panel and its data sheet."
DOES = {
    "drop": "all load off at once",
    "unload": "all load off in steps",
    "unit_off": "this bank's load off",
    "hold": "the load is held, the program stops",
    "alarm": "told, nothing more",
}
# The words of IEC 62682, and a shape for each.
SHAPES: dict[str, tuple[str, Mark]] = {
    "active": ("▲", Mark.ABNORMAL),
    "acknowledged": ("△", Mark.PLAIN),
    "latched": ("■", Mark.ABNORMAL),
    "cleared": ("·", Mark.PLAIN),
    "shelved": ("□", Mark.QUIET),
}
PLAINER = ASCII | {"△": "^"}
SAYS = {
    "active": "its cause is there now",
    "acknowledged": "its cause is there now; somebody has seen it",
    "latched": "its cause is gone; what it did lasts until a reset (r)",
    "cleared": "its cause is gone; nobody has acknowledged it yet (a)",
    "shelved": "put aside by a person, until its time is over",
}
CALM = (
    "No alarm stands.",
    "What comes is shown here, first-out first, with what to check and do.",
    "h: what was before",
)


def state(alarm: AlarmShown) -> str:
    """Its state in a word of IEC 62682."""
    if _aside(alarm):
        return "shelved"
    if alarm.active:
        return "acknowledged" if alarm.acknowledged else "active"
    return "latched" if alarm.latched else "cleared"


def _aside(alarm: AlarmShown) -> bool:
    return alarm.shelved_s > 0.0


def listed(now: Snapshot | None) -> tuple[AlarmShown, ...]:
    """All that stand in the order of the page: shelved ones last."""
    return tuple(sorted(now.alarms, key=_aside)) if now else ()


def at_cursor(picture: Picture) -> AlarmShown | None:
    """The alarm under the cursor; None when there is none."""
    rows = listed(picture.now)
    return rows[min(picture.cursor.alarm, len(rows) - 1)] if rows else None


def followed(cursor: int, before: Snapshot | None, now: Snapshot) -> int:
    """Where the alarm under the cursor stands now, so that a key never means another than the one looked at."""
    old, new = listed(before), listed(now)
    if not old or not new:
        return 0
    looked_at = old[min(cursor, len(old) - 1)]
    keys = [(a.row, a.unit) for a in new]
    key = (looked_at.row, looked_at.unit)
    return keys.index(key) if key in keys else min(cursor, len(new) - 1)


def draw(picture: Picture, width: int, height: int) -> list[Line]:
    """The page."""
    if picture.cursor.history:
        return _history(picture, width, height)
    rows = listed(picture.now)
    if picture.now is None:
        return [(), (("   waiting for the first scan", Mark.QUIET),)]
    if not rows:
        return [(), *(((f"   {said}", Mark.STRONG if i == 0 else Mark.QUIET),) for i, said in enumerate(CALM))]
    at = min(picture.cursor.alarm, len(rows) - 1)
    raised = _raised(picture.story.events)
    below = _about(rows[at], sum(a.first_out for a in rows), _times(raised, rows[at]), width)
    if height < 12:  # the list before the help
        below = below[: max(0, height - 6)]
    bank = min(14, max([4, *(cells(a.unit) for a in rows)])) + 2
    above = [_head(rows), _columns(width, bank)]
    lines: list[Line] = []
    cursor_line = 0
    for index, alarm in enumerate(rows):
        if _aside(alarm) and (index == 0 or not _aside(rows[index - 1])):
            lines.append(((" shelved", Mark.QUIET),))
        if index == at:
            cursor_line = len(lines)
        lines.append(_row(picture, alarm, _times(raised, alarm), width, bank, at_cursor=index == at))
    room = max(1, height - len(above) - len(below))
    first = visible(cursor_line, len(lines), room)
    shown = lines[first : first + room]
    return [*above, *shown, *[()] * (room - len(shown)), *below]


def furthest(picture: Picture, width: int, height: int) -> int:
    """How far the history can be scrolled."""
    return last(len(history(picture, width)), max(1, height - 2))


def _head(rows: tuple[AlarmShown, ...]) -> Line:
    shelved = sum(_aside(a) for a in rows)
    fresh = sum(not a.acknowledged and not _aside(a) for a in rows)
    line: list[Span] = [(f" {_count(len(rows) - shelved, 'alarm')}", Mark.STRONG)]
    line += [("  ", Mark.PLAIN), (f" {fresh} not acknowledged ", Mark.ABNORMAL if fresh else Mark.QUIET)]
    if shelved:
        line.append((f"   {shelved} shelved", Mark.QUIET))
    return tuple(line)


def _count(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


# -- the rows


@dataclass(frozen=True, slots=True)
class Times:
    """When an alarm was raised, as far as the story tells: the first time of this entry and the last."""

    first: Told | None = None
    last: Told | None = None


def _raised(events: Iterable[Told]) -> dict[tuple[str, str], list[Told]]:
    found: dict[tuple[str, str], list[Told]] = {}
    for event in events:
        if event.what == "alarm":
            found.setdefault((str(dict(event.data).get("row", "")), event.unit), []).append(event)
    return found


def _times(raised: dict[tuple[str, str], list[Told]], alarm: AlarmShown) -> Times:
    found = raised.get((alarm.row, alarm.unit), [])
    if not found:
        return Times()
    first = found[-alarm.count] if 0 < alarm.count <= len(found) else None
    return Times(first, found[-1])


def _columns(width: int, bank: int) -> Line:
    head = f"    {fit('', 4)}{fit('state', 13)}{fit('since', 9)}{fit('times', 5, right=True)} "
    if width >= WIDE:
        head += f"{fit('last', 10)}{fit('does', 10)}"
    return ((f"{head}{fit('bank', bank)}what", Mark.QUIET),)


def _row(picture: Picture, alarm: AlarmShown, times: Times, width: int, bank: int, *, at_cursor: bool) -> Line:
    now = picture.now
    word = state(alarm)
    shape, mark = SHAPES[word]
    if word == "active" and alarm.reaction != "alarm":
        shape, mark = "×", Mark.FAULTY
    shape = PLAINER.get(shape, shape) if picture.glyphs == "ascii" else shape
    wall_s = now.wall_s if now else 0.0
    head = f" {'>' if at_cursor else ' '}{shape} {fit('1st' if alarm.first_out else '', 4)}{fit(word, 12)}"
    beside = Mark.OLD if picture.old else Mark.PLAIN if word != "shelved" else Mark.QUIET
    spans: list[Span] = [(head, Mark.CURSOR if at_cursor else mark), (" ", Mark.PLAIN)]
    spans.append((f"{fit(_at(times.first, wall_s), 9)}{number(alarm.count, 5, 0)} ", beside))
    if width >= WIDE:
        spans.append((f"{fit(_at(times.last, wall_s), 10)}{fit(alarm.reaction.replace('_', ' '), 10)}", beside))
    spans.append((fit(alarm.unit, bank), beside))
    spans.append((fit(_without_bank(alarm), max(0, width - sum(len(t) for t, _ in spans))), beside))
    return tuple(spans)


def _without_bank(alarm: AlarmShown) -> str:
    return alarm.text.removeprefix(f"{alarm.unit}: ") if alarm.unit else alarm.text


def _at(event: Told | None, wall_s: float) -> str:
    if event is None:
        return MISSING
    ago_s = wall_s - event.wall_s
    return f"{age(ago_s)} ago" if ago_s > LONG_AGO_S else event.clock


# -- what to do about the one under the cursor


def _about(alarm: AlarmShown, together: int, times: Times, width: int) -> list[Line]:
    """What one may want to know of an alarm. together: how many came first, in one scan."""
    row = BY_KEY.get(alarm.row)
    room = max(10, width - 11)
    word = state(alarm)
    lines: list[Line] = [(), _said("what", alarm.text, Mark.STRONG)]
    lines += _wrapped("do", row.help if row else REPORTED, room, Mark.STRONG)
    lines.append(_said("does", DOES.get(alarm.reaction, alarm.reaction)))
    more = ("; it came first" if alarm.first_out and together == 1 else "") + (
        "; a reset (r) ends it" if alarm.active and alarm.latched else ""
    )
    lines.append(_said("state", f"{word}: {SAYS[word]}{more}"))
    if alarm.first_out and together > 1:
        others = f"{together - 1} other{'s' if together > 2 else ''}"
        lines.append(_said("order", f"it came in the first scan, with {others}: in which order is not known"))
    if _aside(alarm):
        lines += _wrapped(
            "shelved", f"by {alarm.shelved_by}, {minutes(alarm.shelved_s)} left: {alarm.shelved_why}", room
        )
    if times.last is not None:
        first = times.first.clock if times.first else f"before {times.last.clock}"
        more = (
            f" first at {first}, last at {times.last.clock}, {alarm.count} times" if alarm.count > 1 else f" at {first}"
        )
        lines.append(_said("came", more.strip()))
    return lines


def _said(name: str, text: str, mark: Mark = Mark.PLAIN) -> Line:
    return ((f" {fit(name, 9)}", Mark.QUIET), (fit(text, 400).rstrip(), mark))


def _wrapped(name: str, text: str, width: int, mark: Mark = Mark.PLAIN) -> list[Line]:
    return [_said(name if i == 0 else "", part_of, mark) for i, part_of in enumerate(wrap(text, width)[:3])]


# -- what was before

ORDERS = {"acknowledge": "acknowledged", "reset": "reset"}
EVENTS = {
    "alarm": "raised",
    "returned to normal": "cleared",
    "trip": "TRIPPED",
    "shelved": "shelved",
    "unshelved": "back",
}


def _word(event: Told, texts: dict[tuple[str, str], str]) -> tuple[str, str]:
    """What an event means for alarms, in a word, and its text; empty for one that is no alarm's. texts: of alarms."""
    if event.what in EVENTS:
        return EVENTS[event.what], event.text
    verb, _, rest = event.text.partition(" ") if event.what == "command" else ("", "", "")
    if verb not in ORDERS:
        return "", ""
    found = next(
        (text for (row, unit), text in texts.items() if unit == event.unit and row and rest.startswith(row)), ""
    )
    return ORDERS[verb], found or ("every alarm that was shown" if rest == "all" else rest)


def _history(picture: Picture, width: int, height: int) -> list[Line]:
    past = history(picture, width)
    title: Line = ((" What was before", Mark.STRONG), ("   newest first   h: what stands now", Mark.QUIET))
    if not past:
        return [title, (), (("   Nothing: no alarm has come since this run host began.", Mark.QUIET),)]
    head = f"  {fit('when', 10)}{fit('what', 14)}{fit('bank', 10)}text"
    return [title, ((head, Mark.QUIET),), *part(past, picture.cursor.scroll, height - 2)]


def history(picture: Picture, width: int) -> list[Line]:
    """Raised, cleared, acknowledged, shelved, reset: a line each, the newest first."""
    lines: list[Line] = []
    wall_s = picture.now.wall_s if picture.now else 0.0
    texts = {key: found[-1].text for key, found in _raised(picture.story.events).items()}
    for event in reversed(picture.story.events):
        word, text = _word(event, texts)
        if not word:
            continue
        by = f" ({who})" if (who := charge.signed(event, picture.place.console)) else ""
        text = text.removeprefix(f"{event.unit}: ") if event.unit else text
        mark = Mark.STRONG if word in ("raised", "TRIPPED") else Mark.PLAIN
        lines.append(
            (
                (f"  {fit(_at(event, wall_s), 10)}", Mark.QUIET),
                (fit(word, 14), mark),
                (fit(event.unit, 10), Mark.PLAIN),
                (fit(text, max(8, width - 36 - cells(by))).rstrip() + by, Mark.PLAIN),
            )
        )
    return lines
