"""The page of the program: how to pick one; its plan; the checks; where it is and what comes next."""

from collections.abc import Iterable
from typing import Any

from benchctl.core.shown import LegShown, Snapshot
from benchctl.tui.view import checking, course, rules, scrolled, table
from benchctl.tui.view.picture import Picture
from benchctl.tui.view.text import MISSING, Line, Mark, Span, ends, fit, minutes, number, wrap

GRAPH_ROWS = 8  # at least, with two more for legend and axis
TABLE_ROWS = 3
SOON_S = 60.0  # program time before a reading is due, from which on it is told
RUNNING, CHECKS = "running", "checks"
RESTING = ("idle", "done")
MOVING = ("ramp", "block", "drop")

HOW = (
    ("f", "picks a program and shows its plan; nothing is switched by that"),
    ("c", "takes charge: the cautions, and who watches"),
    ("g", "starts it through the checks"),
    ("2", "is this page, ^O takes all load off"),
)


def draw(picture: Picture, width: int, height: int) -> list[Line]:
    """The page."""
    now, plan = picture.now, course.plan_in_hand(picture)
    if picture.cursor.rules:
        return rules.draw(picture, width, height)
    if now is not None and now.mode == CHECKS:
        status = _status(picture, width)
        return [*status, *checking.draw(picture, width, height - len(status))]
    if plan is None and (now is None or now.leg is None):
        return _how(picture, width)
    status = _status(picture, width)
    room = height - len(status)
    graph = _graph_rows(room, bool(plan))
    drawn = course.draw(picture, width, graph)
    return [*status, *drawn, *_below(picture, width, room - len(drawn))]


def furthest(picture: Picture, width: int, height: int) -> int:
    """How far the rows below the graph can be scrolled."""
    now, plan = picture.now, course.plan_in_hand(picture)
    if picture.cursor.rules:
        return rules.furthest(picture, width, height)
    if plan is None or (now is not None and now.mode == CHECKS):
        return 0
    room = height - len(_status(picture, width)) - _graph_rows(height - len(_status(picture, width)), True)
    count = len(plan.get("legs", ())) + sum(map(len, _around(picture, plan, width, room)))
    return scrolled.last(count + 1, room)


def _graph_rows(room: int, with_table: bool) -> int:
    if not with_table:
        return max(0, min(room - 1, 24))
    least = GRAPH_ROWS + 2
    if room < least + TABLE_ROWS:
        return least if room >= least else 0
    return max(least, min(26, room // 2))


def _how(picture: Picture, width: int) -> list[Line]:
    now = picture.now
    judged = rules.in_brief(picture, width)
    lines: list[Line] = [*judged, (), ((" No program is chosen.", Mark.STRONG),), ()]
    if now is not None and now.program:
        said = f" {now.program} is chosen, but this console has not seen its plan: pick it again."
        lines[-2] = ((said, Mark.STRONG),)
    for key, says in HOW:
        lines.append((("   ", Mark.PLAIN), (f"{key:>2}", Mark.KEY), (f"  {says}", Mark.PLAIN)))
    said = "A program is a text file: segments of ramps, holds and blocks. Without one, l sets a load by hand."
    return [*lines, (), *(((f" {line}", Mark.QUIET),) for line in wrap(said, max(1, width - 2)))]


# -- where it is


def _status(picture: Picture, width: int) -> list[Line]:
    now, plan = picture.now, course.plan_in_hand(picture)
    if now is None:
        return [((" waiting for the first scan", Mark.QUIET),)]
    if now.mode == RUNNING and now.leg is not None:
        return [*_running(picture, now, now.leg, plan, width), *_stopped(now, width)]
    if now.mode == CHECKS:
        return [((f" {now.program}", Mark.STRONG), ("  goes through the checks; load follows", Mark.QUIET)), ()]
    return _resting(now, plan or {}, width)


def _running(picture: Picture, now: Snapshot, leg: LegShown, plan: dict[str, Any] | None, width: int) -> list[Line]:
    mark = Mark.OLD if picture.old else Mark.STRONG
    what = f"{leg.kind}: {leg.label}" if leg.label else leg.kind
    to_kw = now.target_kw if leg.to_kw is None else leg.to_kw
    to = f" {'to' if leg.kind in MOVING else 'at'} {to_kw:.0f} kW"
    left: list[Span] = [(f" {leg.index + 1} of {leg.count} ", Mark.QUIET), (f" {fit(what + to, 34).rstrip()}", mark)]
    to_go = "until it is answered" if leg.to_go_s is None else f"{minutes(leg.to_go_s)} to go"
    right: list[Span] = [(f"{minutes(leg.spent_s)} in, ", Mark.QUIET), (f"{to_go} ", mark)]
    legs = (plan or {}).get("legs", ())
    after = legs[leg.index + 1] if leg.index + 1 < len(legs) else None
    said = table.ahead(after) if after else "the end: load off, cool-down" if legs else MISSING
    then: list[Span] = [(" then ", Mark.QUIET), (said, Mark.PLAIN)]
    whole: list[Span] = [(f"program {minutes(now.program_s)} in, ", Mark.QUIET)]
    whole.append((f"{minutes(now.program_to_go_s)} to go ", mark))
    return [ends(left, right, width), ends(then, whole, width)]


def _stopped(now: Snapshot, width: int) -> list[Line]:
    """Why it does not go on; what the operator must do."""
    lines: list[Line] = []
    if now.held:
        lines.append(((f" HELD: {now.held} ", Mark.ABNORMAL), ("  R goes on from what is on now", Mark.QUIET)))
    elif now.paused:
        lines.append(((" PAUSED: the load stays, the clock stands ", Mark.ABNORMAL), ("  R goes on", Mark.QUIET)))
    elif now.waiting and now.leg is not None and now.leg.kind == "hold":
        lines.append(((" waits until delivered kW are in the band; then the hold's time begins ", Mark.ABNORMAL),))
    elif now.waiting:
        lines.append(((f" waits for {'an answer' if now.prompt is not None else 'the supply'} ", Mark.ABNORMAL),))
    due_s = now.reading_due_s
    if due_s is not None and due_s <= 0.0:
        said = f" reading {now.reading_number} is due since {minutes(-due_s)} "
        lines.append(((said, Mark.MANDATORY), ("  v types it in", Mark.QUIET)))
    elif due_s is not None and due_s <= SOON_S:
        lines.append(((f" reading {now.reading_number} is due in {minutes(due_s)}", Mark.PLAIN),))
    return lines


def _resting(now: Snapshot, plan: dict[str, Any], width: int) -> list[Line]:
    """Before and after."""
    name = plan.get("name") or now.program
    peak = max((leg["asked_kw"] for leg in plan.get("legs", ())), default=plan.get("planned_peak_kw"))
    left: list[Span] = [(f" {name}", Mark.STRONG), (f"  {minutes(plan.get('length_s'))} long, up to", Mark.QUIET)]
    left.append((f" {number(peak, 12, 1, 'kW').strip()}", Mark.STRONG))
    refusals, warnings = plan.get("refusals", ()), plan.get("warnings", ())
    found = [f"{len(refusals)} refusal{'s' * (len(refusals) != 1)}"] if refusals else []
    found += [f"{len(warnings)} warning{'s' * (len(warnings) != 1)}"] if warnings else []
    mark = Mark.FAULTY if refusals else Mark.ABNORMAL if warnings else Mark.QUIET
    right: list[Span] = [(f" {', '.join(found) or 'no warnings'} ", mark)]
    return [ends(left, right, width), _next(now, bool(plan), bool(refusals))]


def _next(now: Snapshot, planned: bool, refused: bool) -> Line:
    """What has become of it, or what can be done about it now."""
    if now.mode not in RESTING:
        to_go_s = max(now.cool_down_s, now.source_cool_down_s)
        cool = f", cool-down {minutes(to_go_s)} to go" if to_go_s > 0.0 else ""
        return ((f" {now.mode}{cool}", Mark.STRONG), (f"   {now.outcome}", Mark.PLAIN))
    if now.outcome:
        return ((f" {now.outcome}", Mark.STRONG), ("   f picks a program", Mark.QUIET))
    if refused:
        return ((" CANNOT BE RUN HERE: why stands below ", Mark.FAULTY), ("  f picks another", Mark.QUIET))
    if planned and not now.charge:
        return ((" c", Mark.KEY), (" take charge, then ", Mark.PLAIN), ("g", Mark.KEY), (" start", Mark.PLAIN))
    return ((" g", Mark.KEY), (" starts it through the checks", Mark.PLAIN)) if planned else ()


# -- below the graph


def _worded(word: str, mark: Mark, texts: Iterable[str], width: int) -> list[Line]:
    lines: list[Line] = []
    for text in texts:
        for i, line in enumerate(wrap(text, max(4, width - len(word) - 3))):
            start: Span = (word, mark) if i == 0 else (" " * len(word), Mark.PLAIN)
            lines.append(((" ", Mark.PLAIN), start, (f" {line}", Mark.PLAIN)))
    return lines


def _around(picture: Picture, plan: dict[str, Any], width: int, height: int) -> tuple[list[Line], list[Line]]:
    """Findings above and below the table: rule sets and refusals above, warnings where the table has room all the same.

    While the program runs, all of them below; what the rule sets say then is one key away.
    """
    refusals = _worded(" REFUSED ", Mark.FAULTY, plan.get("refusals", ()), width)
    warnings = _worded(" warning ", Mark.ABNORMAL, plan.get("warnings", ()), width)
    if picture.now is not None and picture.now.leg is not None:
        return [], [*refusals, *warnings]
    judged = rules.in_brief(picture, width)
    before = [*judged, *refusals]
    room = height - len(before) - len(warnings) - 2
    return ([*before, *warnings], []) if room >= min(TABLE_ROWS, len(plan.get("legs", ()))) else (before, warnings)


def _below(picture: Picture, width: int, height: int) -> list[Line]:
    """Findings and the table; while it runs the table first, and it follows the leg in hand until it is scrolled."""
    plan, now = course.plan_in_hand(picture), picture.now
    if plan is None:
        unknown: Line = (
            (" f", Mark.KEY),
            (" and the same program again show its plan: it began before this console", Mark.QUIET),
        )
        return [unknown][: max(0, height)]
    leg = now.leg if now is not None else None
    current = leg.index if leg is not None else None
    legs = plan.get("legs", ())
    head = [table.head(width)] if legs else []
    before, after = _around(picture, plan, width, height)
    count = len(before) + len(head) + len(legs) + len(after)
    first = picture.cursor.scroll if current is None else picture.cursor.scroll or max(0, current - 1)
    sticky = head if current is not None and height > 2 else []
    shown, more = scrolled.window(count - len(sticky), first, height - len(sticky))
    lines: list[Line] = []
    for at in shown:
        index = at - len(before) - len(head) + len(sticky)
        if at < len(before):
            lines.append(before[at])
        elif index < 0:
            lines += head
        elif index < len(legs):
            lines.append(table.row(picture, legs[index], width, current=current))
        else:
            lines.append(after[index - len(legs)])
    return [*sticky, *lines, *more][: max(0, height)]
