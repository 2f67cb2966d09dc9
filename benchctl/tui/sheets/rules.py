"""By which rule sets plans and runs are judged: those that a program names, and those that are picked here."""

from typing import TYPE_CHECKING, Any

from benchctl.door.client import Refused
from benchctl.tui.extras import Written
from benchctl.tui.form import Answer, Pick, Sheet, Values
from benchctl.tui.view.picture import Page
from benchctl.tui.view.text import clean

if TYPE_CHECKING:
    from benchctl.tui.app import Console

WORDS = (
    "The rule sets that a program names always judge it. What is picked here judges plans and runs too,",
    "as long as this console is open; the program and its record stay as they are.",
)


def judge_by(console: "Console") -> Sheet | None:
    """Pick rule sets; what is on the page is judged anew at once."""
    if not console.extras.rule_sets():
        console.link.say("no rule set is known here", bad=True)
        return None
    return _picking(console, 0)


def _picking(console: "Console", first: int) -> Sheet:
    picture = console.picture
    rows = console.extras.rule_sets()
    names = [name for name, _ in rows]

    async def chosen(console: "Console", values: Values) -> Answer:
        before, name = picture.rule_sets, values["pick"]
        picture.rule_sets = tuple(n for n in before if n != name) if name in before else (*before, name)
        said = await _judged_anew(console)
        if said:
            picture.rule_sets = before
            return said
        return _picking(console, names.index(name))

    named = {name for name, _ in _written(console).rule_sets} if picture.cursor.page is Page.PROGRAM else set()
    picks = tuple(
        Pick(name, f"[{'x' if name in picture.rule_sets else ' '}] {name}", _beside(title, named=name in named))
        for name, title in rows
    )
    return Sheet("Judge by", WORDS, (), picks, chosen, "Enter: on or off", first)


def _beside(title: str, *, named: bool) -> str:
    return f"named by the program  {title}" if named else title


def _written(console: "Console") -> Written:
    written = (console.picture.plan or {}).get("written")
    return written if isinstance(written, Written) else Written("", "")


async def _judged_anew(console: "Console") -> str:
    """The run that is looked at, or the plan; returns what is wrong."""
    picture = console.picture
    if picture.cursor.page is Page.RUNS:
        if picture.cursor.run_open and picture.run is not None:
            console.judging.ask(str(picture.run.get("run", "")))
        return ""
    if picture.ended:
        console.judging.ask(picture.ended)
    plan = picture.plan
    if plan is None:
        return ""
    try:
        told = await asked(console, _written(console), choose=False)
    except (ValueError, Refused) as fault:
        return clean(str(fault))
    if picture.plan is plan:
        picture.plan = {**plan, "verdicts": told.get("verdicts", ())}
    console.changed()
    return ""


async def asked(console: "Console", written: Written, *, anyway: bool = False, choose: bool = True) -> dict[str, Any]:
    """Have the run host judge a program by the rule sets that it names and those picked here.

    Raises Refused; ValueError: a rule set that is picked cannot be read.
    """
    client = console.link.client
    if client is None or console.picture.lost:
        raise Refused("no run host is attached")
    picked = [name for name in console.picture.rule_sets if name not in dict(written.rule_sets)]
    sent = (*written.rule_sets, *((name, console.extras.rule_set(name)) for name in picked))
    return await client.program(written.name, written.text, anyway=anyway, choose=choose, rule_sets=sent)
