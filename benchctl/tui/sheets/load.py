"""Charge, load by hand, and what follows from alarms."""

import math
from typing import TYPE_CHECKING

from benchctl.tui.form import Blank, Sheet, Values
from benchctl.tui.sheets.cautions import CAUTIONS

if TYPE_CHECKING:
    from benchctl.tui.app import Console


def load_kw(text: str) -> float:
    """A load as it is typed: 300, 300 kW, 0.3 MW, with a point or a comma. Raises ValueError in words."""
    words = text.lower().replace(",", ".").removesuffix("kw").strip()
    factor = 1.0
    if words.endswith("mw"):
        words, factor = words.removesuffix("mw").strip(), 1000.0
    try:
        value = float(words) * factor
    except ValueError:
        raise ValueError(f"found {text!r}, expected kW such as 120") from None
    if not math.isfinite(value) or value < 0.0:
        raise ValueError(f"found {text!r}, expected 0 kW or more")
    return value


def _load_flaw(text: str) -> str:
    try:
        load_kw(text)
    except ValueError as fault:
        return str(fault)
    return ""


def set_load(console: "Console") -> Sheet | None:
    """A load by hand: checked against the limit before it is sent, and again by the run host."""
    now = console.picture.now
    assert now is not None

    async def done(console: "Console", values: Values) -> str:
        value = load_kw(values["kw"])
        latest = console.picture.now
        if latest is None or console.picture.old:
            return "the picture is not live: wait, or look at the banks"
        if value > latest.ceiling_kw:
            return f"{value:g} kW is above the limit of {latest.ceiling_kw:.0f} kW"
        return await console.link.order("set load", value)

    said = f"Limit {now.ceiling_kw:.0f} kW, available {now.available_kw:.0f} kW, on now {now.possible_kw:.1f} kW."
    blank = Blank("kw", "Load in kW", "", f"0 to {now.ceiling_kw:.0f}", _load_flaw)
    return Sheet("Load by hand", (said,), (blank,), done=done, enter="Enter: apply")


def charge(console: "Console") -> Sheet | None:
    """Take charge: the cautions, and who watches."""

    async def done(console: "Console", values: Values) -> str:
        console.picture.who = values["who"]
        return await console.link.order("take charge", who=values["who"], why="cautions confirmed")

    who = Blank("who", "Who watches", console.picture.who, "a name", lambda text: "" if text else "say who")
    return Sheet("Take charge", CAUTIONS, (who,), done=done, enter="Enter: confirmed, I watch")


def _later(console: "Console") -> Sheet | None:
    console.link.say("not yet")
    return None


def set_point(console: "Console", unit: str) -> Sheet:
    """Of a bank without stages."""
    return Sheet(f"{unit}: load")


shelve = reset = join = adopt = confirm_fans = override = _later
