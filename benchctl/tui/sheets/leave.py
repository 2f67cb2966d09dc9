"""Leaving while load is on, or may be: staying is what Enter does."""

from typing import TYPE_CHECKING

from benchctl.tui.form import Answer, Pick, Sheet, Values

if TYPE_CHECKING:
    from benchctl.tui.app import Console


def load_words(console: "Console") -> str:
    """The load that stands, as far as it is known."""
    picture = console.picture
    now = picture.now
    if now is None:
        return "the load is not known"
    if picture.old:
        return f"{now.possible_kw:.0f} kW when last seen, now not known"
    if now.off is True and not now.loaded:
        return f"no load, but {now.mode}"
    return f"{now.possible_kw:.0f} kW {'on' if now.off is False else 'may be on'}"


def leave(console: "Console") -> Sheet:
    """What is on, and what each way out does."""

    async def done(console: "Console", values: Values) -> Answer:
        if values["pick"] == "unload":
            said = await console.link.order("unload")
            if said:
                return said
        if values["pick"] != "stay":
            console.exit(0)
        return ""

    place = console.picture.place
    policy = place.attendance or "the site's rules of attendance decide about the load"
    picks = (
        Pick("stay", "stay", "nothing changes"),
        Pick("unload", "unload, then leave", "load comes off in steps, the banks are cooled down"),
        Pick("leave", "leave it running", "the run host goes on, as told above"),
    )
    words = (f"Without this screen the run host goes on: {policy}.",)
    live = lambda console: f"{console.picture.place.title or console.picture.place.site}: {load_words(console)}."  # noqa: E731
    return Sheet("Leave?", words, (), picks, done, "Enter: choose · q: stay", leaving=("q",), live=live)
