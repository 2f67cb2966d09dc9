"""What only a person can tell the record: readings at the engine, and remarks."""

from typing import TYPE_CHECKING

from benchctl.tui.form import Answer, Blank, Sheet, Values
from benchctl.tui.sheets.typed import needed

if TYPE_CHECKING:
    from benchctl.tui.app import Console


def remark(console: "Console") -> Sheet | None:
    """Words for the record."""

    async def done(console: "Console", values: Values) -> Answer:
        return await console.link.order("remark", text=values["text"])

    blank = Blank("text", "Remark", "", "what you have seen or done", needed("nothing is written yet"))
    return Sheet("Remark", (), (blank,), done=done, enter="Enter: into the record")


def reading(console: "Console") -> Sheet | None:
    """Values that a person reads at the engine."""
    console.link.say("no reading is asked for")
    return None
