"""Charge, and load by hand."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from benchctl.tui.form import Answer, Blank, Sheet, Values
from benchctl.tui.sheets.cautions import CAUTIONS
from benchctl.tui.sheets.typed import flaw, load_kw, needed

if TYPE_CHECKING:
    from benchctl.tui.app import Console

UNATTENDED = (
    "Nobody has to be there from now on: no check-in is asked for, load stays on when every console is gone.",
    "Only where the site file allows it; who declared it stands in the record.",
)
ATTENDED = ("The session is declared unattended. From now on somebody has to be there, as the site asks.",)
NOT_LIVE = "the picture is not live: wait, or look at the banks"


def charge(console: "Console", then: "Callable[[Console], Sheet | None] | None" = None) -> Sheet:
    """Take charge: the cautions, and who watches. then: the form that needed it and comes next."""

    async def done(console: "Console", values: Values) -> Answer:
        said = await console.link.order("take charge", who=values["who"], why="cautions confirmed")
        if said:
            return said
        console.picture.who = values["who"]
        return (then(console) if then else None) or ""

    who = Blank("who", "Who watches", console.picture.who, "a name", needed("say who watches"))
    return Sheet("Take charge", CAUTIONS, (who,), done=done, enter="Enter: confirmed, I watch")


def unattended(console: "Console") -> Sheet | None:
    """Declare that nobody has to be there, where the site allows it; or, where that holds, that somebody is again."""
    now, plan = console.picture.now, console.picture.plan
    if now is None:
        return None
    if not now.unattended and plan is not None and not plan.get("unattended", True):
        console.link.say("the site file does not allow unattended sessions: somebody must be there", bad=True)
        return None
    ends = now.unattended

    async def done(console: "Console", values: Values) -> Answer:
        why = "somebody is there again" if ends else "cautions confirmed, declared unattended"
        said = await console.link.order("take charge", who=values["who"], text="" if ends else "unattended", why=why)
        if not said:
            console.picture.who = values["who"]
            console.link.say("somebody has to be there again" if ends else "unattended: nobody has to be there")
        return said

    words = ATTENDED if ends else (*UNATTENDED, *CAUTIONS)
    who = Blank("who", "Who watches" if ends else "Who declares it", console.picture.who, "a name", needed("say who"))
    enter = "Enter: I am here" if ends else "Enter: confirmed, unattended"
    return Sheet("Attended again" if ends else "Unattended", words, (who,), done=done, enter=enter)


def charged(console: "Console", then: "Callable[[Console], Sheet | None]") -> Sheet | None:
    """A form that needs somebody in charge; the cautions come first where nobody is."""
    now = console.picture.now
    return then(console) if now is not None and now.charge else charge(console, then)


def set_load(console: "Console") -> Sheet | None:
    """A load by hand: checked against the limit before it is sent, and again by the run host."""
    return charged(console, _set_load)


def _set_load(console: "Console") -> Sheet | None:
    now = console.picture.now
    if now is None:
        return None

    async def done(console: "Console", values: Values) -> Answer:
        value = load_kw(values["kw"])
        latest = console.picture.now
        if latest is None or console.picture.old:
            return NOT_LIVE
        if value > latest.ceiling_kw:
            return f"{value:g} kW is above the limit of {latest.ceiling_kw:.0f} kW"
        return await console.link.order("set load", value)

    def live(console: "Console") -> str:
        latest = console.picture.now
        if latest is None or console.picture.old:
            return NOT_LIVE
        on = "not known" if latest.read_back_kw is None else f"{latest.read_back_kw:.1f} kW"
        limits = f"limit {latest.ceiling_kw:.0f} kW, available {latest.available_kw:.0f} kW"
        return f"Target {latest.target_kw:.1f} kW, read back {on}, {limits}."

    blank = Blank("kw", "Load in kW", "", f"0 to {now.ceiling_kw:.0f}", flaw(load_kw))
    return Sheet("Load by hand", (), (blank,), done=done, enter="Enter: apply", live=live)


def set_point(console: "Console", unit: str) -> Sheet | None:
    """The load of a bank that has no stages of its own to switch."""
    bank = next((b for b in console.picture.place.banks if b.name == unit), None)
    rated_kw = bank.rated_kw if bank and bank.rated_kw else None

    async def done(console: "Console", values: Values) -> Answer:
        if console.picture.old:
            return NOT_LIVE
        value = load_kw(values["kw"])
        if rated_kw is not None and value > rated_kw:
            return f"{value:g} kW is above its {rated_kw:g} kW"
        return await console.link.order("switch", value, unit=unit)

    def live(console: "Console") -> str:
        shown = next((u for u in console.picture.now.units if u.name == unit), None) if console.picture.now else None
        if shown is None or console.picture.old:
            return NOT_LIVE
        on = "not known" if shown.read_back_kw is None else f"{shown.read_back_kw:.1f} kW"
        return f"{unit}: {shown.condition}, read back {on}."

    hint = f"0 to {rated_kw:g}" if rated_kw is not None else "kW"
    words = ("The set point of this bank alone; the others stay as they are.",)
    blank = Blank("kw", "Load in kW", "", hint, flaw(load_kw))
    return Sheet(f"{unit}: load", words, (blank,), done=done, enter="Enter: apply", live=live)
