"""The program and the words of the operator."""

from typing import TYPE_CHECKING

from benchctl.tui.form import Pick, Sheet, Values

if TYPE_CHECKING:
    from benchctl.tui.app import Console


def _later(console: "Console") -> Sheet | None:
    console.link.say("not yet")
    return None


def leave(console: "Console") -> Sheet:
    """With load on: what is on, what will happen; staying is what Enter does."""
    now = console.picture.now
    on = "the load is not known" if now is None else f"{now.possible_kw:.0f} kW may be on"

    async def done(console: "Console", values: Values) -> str:
        if values["pick"] == "unload":
            said = await console.link.order("unload")
            if said:
                return said
        if values["pick"] != "stay":
            console.exit(0)
        return ""

    picks = (
        Pick("stay", "stay", "nothing changes"),
        Pick("unload", "unload, then leave", "load comes off in steps; the run host cools the banks down"),
        Pick("leave", "leave it running", console.picture.place.attendance or "the run host goes on"),
    )
    return Sheet(f"Leave? {on}", (), (), picks, done, "Enter: choose", leaving=("q",))


program = start = extend = skip = reading = remark = _later
