"""The program: picking, starting, stretching and shortening it."""

from typing import TYPE_CHECKING, Any

from benchctl.door.client import Refused
from benchctl.tui.form import Answer, Blank, Pick, Sheet, Values
from benchctl.tui.sheets.load import charge
from benchctl.tui.sheets.rules import asked
from benchctl.tui.sheets.typed import flaw, needed, time_s
from benchctl.tui.view.picture import Page
from benchctl.tui.view.text import clean, minutes

if TYPE_CHECKING:
    from benchctl.tui.app import Console

OTHER = "\n"  # no program has this name
MOST_WORDS = 30  # lines of a verdict in the form; all of them stand on the plan's page


def program(console: "Console") -> Sheet | None:
    """Pick a program; the run host judges it, and chooses it if it can be run."""
    rows = console.extras.programs()

    async def chosen(console: "Console", values: Values) -> Answer:
        return _by_path() if values["pick"] == OTHER else await judged(console, values["pick"])

    picks = (*(Pick(name, name, title) for name, title in rows), Pick(OTHER, "another file …", "by its path"))
    words = ("Nothing is switched by choosing: first the plan is shown.",)
    return Sheet("Program", words, (), picks, chosen, "Enter: show its plan")


def _by_path() -> Sheet:
    async def done(console: "Console", values: Values) -> Answer:
        return await judged(console, values["path"])

    blank = Blank("path", "Path of a program file", "", "./my-test.yaml", needed("say which file"))
    return Sheet("Program", (), (blank,), done=done, enter="Enter: show its plan")


async def judged(console: "Console", ref: str, *, anyway: bool = False) -> Answer:
    """Have a program judged; the verdict is the sheet that comes next, or what is wrong with the file."""
    try:
        written = console.extras.program(ref)
        told = await asked(console, written, anyway=anyway)
    except (ValueError, Refused) as fault:
        return clean(str(fault))
    console.picture.plan = {**told, "name": written.name, "written": written}
    console.picture.ended = ""
    console.changed()
    return _verdict(ref, written.name, told)


def _verdict(ref: str, name: str, told: dict[str, Any]) -> Sheet:
    refusals, warnings = told.get("refusals", []), told.get("warnings", [])
    said = [f"Refused: {text}" for text in refusals] + [f"Warning: {text}" for text in warnings]
    peak = f"{minutes(told.get('length_s'))} long, at most {told.get('planned_peak_kw', 0.0):.0f} kW planned."
    if told.get("feasible"):
        chosen = f"It can be run, but {told['barred']}." if told.get("barred") else "It can be run, and is chosen."
        head = "It runs already." if told.get("in_hand") else chosen
        says = "No warnings." if not warnings else f"{len(warnings)} to read:"
    else:
        head, says = "It cannot be run here.", f"{len(refusals)} against it:"
    standings = [f"{one['rule_set']}: {one['standing']}" for one in told.get("verdicts", ())]
    by = (f"Rule sets: {'; '.join(standings)}.",) if standings else ()
    words = (f"{head} {peak}", *by, says, *(f"· {text}" for text in said[:MOST_WORDS]))

    async def done(console: "Console", values: Values) -> Answer:
        if values.get("pick") == "anyway":
            return await judged(console, ref, anyway=True)
        cursor = console.picture.cursor
        cursor.back, cursor.page, cursor.scroll, cursor.rules = cursor.page, Page.PROGRAM, 0, False
        console.opened(Page.PROGRAM)
        return ""

    picks: tuple[Pick, ...] = ()
    if refusals and all("anyway" in text for text in refusals):
        picks = (
            Pick("plan", "to the plan", "it stays refused"),
            Pick("anyway", "take it anyway", "the record may not fit"),
        )
    return Sheet(f"Program {name}", words, (), picks, done, "Enter: choose" if picks else "Enter: to the plan")


def start(console: "Console") -> Sheet | None:
    """Start the program that is chosen, through the checks; picking one and taking charge come first."""
    plan, now = console.picture.plan, console.picture.now
    if now is None:
        return None
    if plan is None:
        return program(console)
    if not plan.get("feasible"):
        console.link.say("the program cannot be run here: its plan says why", bad=True)
        return None
    return _start(console) if now.charge else charge(console, _start)


def _start(console: "Console") -> Sheet | None:
    plan = console.picture.plan
    if plan is None:
        return None

    async def done(console: "Console", values: Values) -> Answer:
        said = await _chosen(console, plan) or await console.link.order("start", text=plan["sha256"])
        if not said:
            cursor = console.picture.cursor
            cursor.page, cursor.scroll, cursor.rules = Page.PROGRAM, 0, False
            console.opened(Page.PROGRAM)
        return said

    rehearsal = console.picture.place.rehearsal
    words = (
        f"{plan['name']}: {minutes(plan.get('length_s'))}, up to {plan.get('planned_peak_kw', 0.0):.0f} kW.",
        *(f"· Warning: {text}" for text in plan.get("warnings", [])[:6]),
        "First the checks: permissives, then the check load. Only when they are good the program begins.",
        "This is a rehearsal: no real bank is switched." if rehearsal else "Real banks are loaded.",
    )
    return Sheet("Start the program", words, done=done, enter="Enter: start")


async def _chosen(console: "Console", plan: dict[str, Any]) -> str:
    """After a run no program is chosen: choose the one that is looked at once more; why not, where that is refused."""
    now, written = console.picture.now, plan.get("written")
    if now is None or now.program or written is None:
        return ""
    try:
        told = await asked(console, written)
    except (ValueError, Refused) as fault:
        return clean(str(fault))
    return clean("; ".join(told.get("refusals", []))) or str(told.get("barred") or "")


def _where(console: "Console") -> str:
    """The present leg, in words."""
    now = console.picture.now
    if now is None or now.leg is None:
        return "No segment runs."
    leg = now.leg
    to = "" if leg.to_kw is None else f" at {leg.to_kw:.0f} kW" if leg.kind == "hold" else f" to {leg.to_kw:.0f} kW"
    name = f" ({leg.label})" if leg.label else ""
    left = "no end of its own" if leg.to_go_s is None else f"{minutes(leg.to_go_s)} to go"
    return f"Segment {leg.segment}{name}: {leg.kind}{to}, {left}."


def extend(console: "Console") -> Sheet | None:
    """Make the present hold longer."""

    async def done(console: "Console", values: Values) -> Answer:
        return await console.link.order("extend", time_s(values["time"], "s"))

    blank = Blank("time", "Longer by", "", "90 s, 5 min or 2:30", flaw(lambda text: time_s(text, "s")))
    return Sheet("Extend the hold", (), (blank,), done=done, enter="Enter: extend", live=_where)


def skip(console: "Console") -> Sheet | None:
    """Leave out the rest of the present segment; says what that is."""

    async def done(console: "Console", values: Values) -> Answer:
        latest = console.picture.now
        index = latest.leg.index if latest is not None and latest.leg is not None else None
        if index != at:
            return "the program has gone on meanwhile: Esc, and look again"
        return await console.link.order("skip")

    now = console.picture.now
    at = now.leg.index if now is not None and now.leg is not None else None
    words = (
        "The rest of this segment is left out, and the record says so:",
        "what it should have shown is then not demonstrated.",
    )
    return Sheet("Skip the rest of the segment", words, done=done, enter="Enter: skip", live=_where)
