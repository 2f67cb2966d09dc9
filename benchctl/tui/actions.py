"""What each action of the key table does. A row here for each action there; a test holds the two together."""

from collections.abc import Awaitable, Callable, Iterable
from typing import TYPE_CHECKING, Any

from textual.app import SystemCommand

from benchctl.tui import sheets
from benchctl.tui.form import Form, Sheet
from benchctl.tui.keys import Kind, at, idle
from benchctl.tui.theme import NAMES
from benchctl.tui.view.alarms import at_cursor
from benchctl.tui.view.picture import Page, Picture
from benchctl.tui.view.whole import FURTHEST, room

if TYPE_CHECKING:
    from benchctl.tui.app import Console

SPANS_S = (60.0, 300.0, 600.0, 1800.0, 3600.0, 4 * 3600.0, 12 * 3600.0, 0.0)  # 0 = the whole run

Do = Callable[["Console"], None]
Make = Callable[["Console"], Sheet | None] | Callable[["Console"], Awaitable[Sheet | None]]


def ask(make: Make) -> Do:
    """Open a form; None = it has said why not. One whose making takes a moment opens when it is made."""

    def do(console: "Console") -> None:
        sheet = make(console)
        if isinstance(sheet, Awaitable):
            console.run_worker(_open(console, sheet))
        elif sheet is not None:
            console.push_screen(Form(sheet))

    return do


async def _open(console: "Console", making: "Awaitable[Sheet | None]") -> None:
    sheet = await making
    if sheet is not None and not isinstance(console.screen, Form):
        console.push_screen(Form(sheet))


def order(verb: str, **parts: Any) -> Do:
    """Give an order that needs no more words."""
    return lambda console: console.link.give(verb, **parts)


def page(which: Page) -> Do:
    """Show a page."""

    def do(console: "Console") -> None:
        cursor = console.picture.cursor
        if which is cursor.page:
            return
        cursor.back, cursor.page, cursor.scroll = cursor.page, which, 0
        cursor.rules = False
        console.opened(which)

    return do


def back(console: "Console") -> None:
    """One step back: from single rules, out of an open run, from help to where it was asked for, else to the chain."""
    cursor = console.picture.cursor
    if cursor.rules:
        cursor.rules, cursor.scroll = False, 0
    elif cursor.page is Page.RUNS and cursor.run_open:
        cursor.run_open, cursor.scroll = False, 0
        console.opened(Page.RUNS)
    else:
        page(cursor.back if cursor.page is Page.HELP else Page.CHAIN)(console)


def raised(console: "Console") -> None:
    """The smallest useful amount more."""
    now = console.picture.now
    if now is not None and now.raise_kw is not None:
        console.link.give("set load", now.raise_kw)


def lowered(console: "Console") -> None:
    """The smallest useful amount less."""
    now = console.picture.now
    if now is not None and now.lower_kw is not None:
        console.link.give("set load", now.lower_kw)


def move(rows: int) -> Do:
    """The cursor up or down by so many rows; on a page without one, the page."""

    def do(console: "Console") -> None:
        cursor, now = console.picture.cursor, console.picture.now
        match cursor.page:
            case Page.CHAIN:
                cursor.bank = _within(cursor.bank + rows, len(now.units) if now else 0)
            case Page.BANK:
                cursor.stage = _within(cursor.stage + rows, _stages(console))
            case Page.ALARMS if not cursor.history:
                cursor.alarm = _within(cursor.alarm + rows, len(now.alarms) if now else 0)
            case Page.RUNS if not cursor.run_open:
                cursor.run = _within(cursor.run + rows, len(console.picture.runs))
            case _:
                scroll(console, rows)

    return do


def paged(sign: int) -> Do:
    """A screen up or down; of a bank, its registers."""

    def do(console: "Console") -> None:
        rows = sign * max(1, console.size.height - 8)
        if console.picture.cursor.page is Page.BANK:
            scroll(console, sign * max(1, console.size.height // 4))
        else:
            move(rows)(console)

    return do


def scroll(console: "Console", rows: int) -> None:
    """The page by so many rows, no further than its end where that is known."""
    cursor, size = console.picture.cursor, console.size
    end = FURTHEST.get(cursor.page)
    furthest = cursor.scroll + abs(rows) if end is None else end(console.picture, size.width, room(size.height))
    cursor.scroll = max(0, min(cursor.scroll + rows, furthest))


def open_run(console: "Console") -> None:
    """The run under the cursor; of one that is open, what the rule sets say, and back."""
    cursor = console.picture.cursor
    if cursor.run_open:
        open_rules(console)
        return
    cursor.run_open, cursor.scroll = True, 0
    console.opened(Page.RUNS)


def open_rules(console: "Console") -> None:
    """What the rule sets say, rule by rule, and back."""
    cursor = console.picture.cursor
    cursor.rules, cursor.scroll = not cursor.rules, 0
    if cursor.rules and cursor.page is Page.RUNS and console.picture.run is not None:
        console.judging.ask(str(console.picture.run.get("run", "")), again=False)


def working(console: "Console") -> None:
    """The sums behind the verdicts, and back."""
    cursor = console.picture.cursor
    cursor.working, cursor.scroll = not cursor.working, 0


def aside(sign: int) -> Do:
    """The bank before or after; on the trends, the cursor."""

    def do(console: "Console") -> None:
        cursor, now = console.picture.cursor, console.picture.now
        if cursor.page is Page.BANK:
            cursor.bank = _within(cursor.bank + sign, len(now.units) if now else 0)
            cursor.stage = 0
            console.opened(Page.BANK)
        elif cursor.page is Page.TRENDS:
            step_s = (cursor.span_s or console.picture.traces.length_s) / 50.0
            ago_s = (cursor.ago_s or 0.0) - sign * step_s
            cursor.ago_s = ago_s if ago_s > 0.0 else None

    return do


def zoom(sign: int) -> Do:
    """More or less time on the trends."""

    def do(console: "Console") -> None:
        cursor = console.picture.cursor
        at = SPANS_S.index(cursor.span_s) if cursor.span_s in SPANS_S else 2
        cursor.span_s = SPANS_S[_within(at + sign, len(SPANS_S))]

    return do


def acknowledge(console: "Console") -> None:
    """The alarm under the cursor."""
    alarm = at_cursor(console.picture)
    if alarm is not None:
        console.link.give("acknowledge", text=alarm.row, unit=alarm.unit)


def switch(console: "Console") -> None:
    """Close or open the stage under the cursor."""
    now, cursor = console.picture.now, console.picture.cursor
    if now is None or cursor.bank >= len(now.units):
        return
    unit, bank = now.units[cursor.bank], console.picture.place.banks[cursor.bank]
    if not unit.stages:
        ask(lambda c: sheets.set_point(c, unit.name))(console)
        return
    if not bank.stages:
        console.link.say(f"{unit.name}: the names of its stages are not known", bad=True)
        return
    stage = bank.stages[_within(cursor.stage, len(bank.stages))].name
    if unit.closed is None:
        console.link.say(f"{unit.name}: its stages are not known", bad=True)
    else:
        console.link.give("switch", 0.0 if stage in unit.closed else 1.0, unit=unit.name, text=stage)


def history(console: "Console") -> None:
    """Alarms of before, and back."""
    cursor = console.picture.cursor
    cursor.history, cursor.scroll = not cursor.history, 0


def colours(console: "Console") -> None:
    """The next colours."""
    console.wear(NAMES[(NAMES.index(console.look) + 1) % len(NAMES)])
    console.link.say(f"colours: {console.look}")


def nothing_on(picture: Picture) -> bool:
    """Whether one may leave without a question: no load, nothing under way, and that is known now."""
    now = picture.now
    if now is None:
        return not picture.place.pid  # never attached: nothing was begun from here
    return picture.live and now.off is True and not now.loaded and now.mode in ("idle", "done")


def leave(console: "Console") -> None:
    """At once with no load on; else the question, to which the default answer is to stay. Out of a form: back."""
    if isinstance(console.screen, Form):
        console.screen.action_no()
    elif nothing_on(console.picture):
        console.exit(0)
    else:
        console.push_screen(Form(sheets.leave(console)))


def _within(index: int, count: int) -> int:
    return max(0, min(index, count - 1))


def _stages(console: "Console") -> int:
    banks, at_bank = console.picture.place.banks, console.picture.cursor.bank
    return len(banks[at_bank].stages) if at_bank < len(banks) else 0


ACTIONS: dict[str, Do] = {
    "drop": lambda console: console.action_drop(),
    "unload": order("unload"),
    "set_load": ask(sheets.set_load),
    "raise_load": raised,
    "lower_load": lowered,
    "yes": order("answer", text="yes"),
    "no": order("answer", text="no"),
    "charge": ask(sheets.charge),
    "take_over": ask(sheets.take_over),
    "unattended": ask(sheets.unattended),
    "program": ask(sheets.program),
    "start": ask(sheets.start),
    "pause": order("pause"),
    "resume": order("resume"),
    "extend": ask(sheets.extend),
    "skip": ask(sheets.skip),
    "reading": ask(sheets.reading),
    "correct": ask(sheets.correct),
    "remark": ask(sheets.remark),
    "check_in": order("check in"),
    "acknowledge": acknowledge,
    "acknowledge_all": order("acknowledge", text="all"),
    "shelve": ask(sheets.shelve),
    "history": history,
    "reset": ask(sheets.reset),
    "join": ask(sheets.join),
    "adopt": ask(sheets.adopt),
    "confirm_fans": ask(sheets.confirm_fans),
    "override": ask(sheets.override),
    "switch": switch,
    "pace": ask(sheets.pace),
    "inject": ask(sheets.inject),
    "site": ask(sheets.site),
    "judge_by": ask(sheets.judge_by),
    "open_rules": open_rules,
    "working": working,
    "open_run": open_run,
    "page_chain": page(Page.CHAIN),
    "page_program": page(Page.PROGRAM),
    "page_trends": page(Page.TRENDS),
    "page_alarms": page(Page.ALARMS),
    "page_bank": page(Page.BANK),
    "open_bank": page(Page.BANK),
    "page_runs": page(Page.RUNS),
    "page_far": page(Page.FAR),
    "page_contact": page(Page.CONTACT),
    "page_help": page(Page.HELP),
    "back": back,
    "up": move(-1),
    "down": move(1),
    "page_up": paged(-1),
    "page_down": paged(1),
    "left": aside(-1),
    "right": aside(1),
    "wider": zoom(1),
    "closer": zoom(-1),
    "theme": colours,
    "palette": lambda console: console.action_command_palette(),
    "leave": leave,
}


def palette(console: "Console") -> Iterable[SystemCommand]:
    """Every action of the page that means something now, by its word. The drop has its own key even here."""
    for key in at(console.picture.cursor.page):
        if not idle(key, console.picture) and key.action not in ("up", "down", "page_up", "page_down", "left", "right"):
            yield SystemCommand(key.word, key.says, _bound(console, key.action, key.kind))


def _bound(console: "Console", action: str, kind: Kind) -> Callable[[], None]:
    def do() -> None:
        ACTIONS[action](console)
        console.redraw()

    return do
