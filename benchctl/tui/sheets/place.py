"""Another site, a rehearsal of one, or a run host that is already there."""

import asyncio
from typing import TYPE_CHECKING

from benchctl.tui.form import Answer, Pick, Sheet, Values
from benchctl.tui.link import Choice
from benchctl.tui.sheets.leave import load_words

if TYPE_CHECKING:
    from benchctl.tui.app import Console


async def site(console: "Console") -> Sheet | None:
    """Pick where to go; what stays behind is named."""
    rows = await asyncio.to_thread(console.extras.sites)
    here = console.link.choice

    async def done(console: "Console", values: Values) -> Answer:
        way, name = values["pick"].split(":", 1)
        choice = Choice(name, way == "rehearse", here.speed if way == "rehearse" else 1.0)
        if (choice.site, choice.rehearse) != (here.site, here.rehearse):
            console.run_worker(console.link.move(choice))
        return ""

    picks = tuple(
        Pick(f"{'rehearse' if row.rehearse else 'real'}:{row.site}", _label(row.site, row.rehearse), row.beside)
        for row in rows
    )
    if not picks:
        console.link.say("no site is known: make one, or start with --site FILE", bad=True)
        return None
    first = next((i for i, r in enumerate(rows) if (r.site, r.rehearse) == (here.site, here.rehearse)), 0)
    now = console.picture.now
    calm = now is not None and console.picture.live and now.off is True and not now.loaded
    behind = f"Left behind: {load_words(console)}; its run host goes on by the site's rules."
    stays = "" if calm or now is None else behind
    words = tuple(filter(None, (stays, "A rehearsal runs on the built-in simulator: no bank is reached.")))
    return Sheet("Where to?", words, (), picks, done, "Enter: go there", first)


def _label(name: str, rehearse: bool) -> str:
    return f"{name} · rehearsal" if rehearse else name
