"""Taking over from whoever has charge at another console: who, and why."""

from typing import TYPE_CHECKING

from benchctl.core.charge import named
from benchctl.tui.form import Answer, Blank, Sheet, Values
from benchctl.tui.sheets.cautions import CAUTIONS
from benchctl.tui.sheets.typed import needed

if TYPE_CHECKING:
    from benchctl.tui.app import Console


def take_over(console: "Console") -> Sheet | None:
    """The cautions, who watches from now on, and the reason, which is told to everybody."""
    now = console.picture.now
    if now is None:
        return None

    async def done(console: "Console", values: Values) -> Answer:
        said = await console.link.order("take over", who=values["who"], why=values["why"])
        if not said:
            console.picture.who = values["who"]
        return said

    words = (
        f"{named(now.charge, now.charge_console)} has charge. Speak with each other first, if you can.",
        "Load and program stay as they are; who took over, and why, stands in the record and on every screen.",
        *CAUTIONS,
    )
    blanks = (
        Blank("why", "Why", "", "stands in the record", needed("a take-over needs a reason")),
        Blank("who", "Who watches from now on", console.picture.who, "a name", needed("say who watches")),
    )
    return Sheet("Take over", words, blanks, done=done, enter="Enter: confirmed, I take over")
