"""What only a person may decide about a bank: taking it back, taking load found on, its fans, exceptions."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from benchctl.core.overrides import BY_WHAT, OVERRIDES
from benchctl.core.shown import UnitShown
from benchctl.tui.form import Answer, Blank, Pick, Sheet, Values
from benchctl.tui.sheets.load import charged
from benchctl.tui.sheets.typed import needed

if TYPE_CHECKING:
    from benchctl.tui.app import Console


def _units(console: "Console", test: Callable[[UnitShown], bool] = lambda u: True) -> tuple[Pick, ...]:
    now = console.picture.now
    return tuple(Pick(u.name, u.name, u.condition) for u in now.units if test(u)) if now else ()


def _at_cursor(console: "Console", picks: tuple[Pick, ...]) -> int:
    """The bank under the cursor, where it is among those that can be picked."""
    now, index = console.picture.now, console.picture.cursor.bank
    name = now.units[index].name if now and index < len(now.units) else ""
    return next((i for i, pick in enumerate(picks) if pick.key == name), 0)


def join(console: "Console") -> Sheet | None:
    """Take a bank that is back into the chain."""
    return charged(console, _join)


def _join(console: "Console") -> Sheet | None:
    picks = _units(console, lambda u: not u.joined)
    if not picks:
        console.link.say("every bank belongs to the chain")
        return None

    async def chosen(console: "Console", values: Values) -> Answer:
        unit = values["pick"]

        async def done(console: "Console", values: Values) -> Answer:
            return await console.link.order("join", unit=unit, why=values["why"])

        words = (
            f"{unit} takes part again. Nothing is switched on by that.",
            "Where another unit answers in its place, say why that is right.",
        )
        why = Blank("why", "Reason", "", "may be empty")
        return Sheet(f"Join {unit}", words, (why,), done=done, enter="Enter: join")

    words = ("Which bank takes part again? First find out why it went.",)
    return Sheet("Join a bank", words, (), picks, chosen, "Enter: choose", _at_cursor(console, picks))


def adopt(console: "Console") -> Sheet | None:
    """Make load that was found on ours."""
    return charged(console, _adopt)


def _adopt(console: "Console") -> Sheet | None:
    now = console.picture.now
    found = [u for u in now.units if u.found] if now else []
    if not found:
        console.link.say("no load was found on")
        return None

    async def done(console: "Console", values: Values) -> Answer:
        return await console.link.order("adopt")

    named = ", ".join(f"{u.name} {'?' if u.read_back_kw is None else f'{u.read_back_kw:.0f}'} kW" for u in found)
    words = (
        f"Load is on that this session did not start: {named}.",
        "Adopted, it stands by hand as it is read back; until its air is proven anew it can only be lowered.",
        "To take it off instead: Esc, then u (unload, in steps) or ^O.",
    )
    return Sheet("Adopt load found on", words, done=done, enter="Enter: adopt")


def confirm_fans(console: "Console") -> Sheet | None:
    """Let a bank's fans run again after its emergency stop."""
    picks = _units(console)

    async def done(console: "Console", values: Values) -> Answer:
        return await console.link.order("confirm fans", unit=values["pick"])

    words = (
        "After an emergency stop a bank's fans start only when somebody has looked:",
        "nobody at the bank, nothing in its fans, its stop released.",
    )
    return Sheet("Fans may run again", words, (), picks, done, "Enter: confirm", _at_cursor(console, picks))


def override(console: "Console") -> Sheet | None:
    """Exceptions, each with its reason: what, of which bank, why."""
    now = console.picture.now
    kept = (
        [f"In force: {' of '.join(filter(None, row[:2]))}, {row[2]}: {row[3]}" for row in now.overrides] if now else []
    )

    async def chosen(console: "Console", values: Values) -> Answer:
        row = BY_WHAT[values["pick"]]
        return _of_bank(console, row.what) if row.per_unit else _why(row.what, "")

    picks = tuple(Pick(row.what, row.what, row.text) for row in OVERRIDES)
    words = (*kept, "An exception stands in the record with who and why, and ends with the session.")
    return Sheet("Overrides", words, (), picks, chosen, "Enter: choose")


def _of_bank(console: "Console", what: str) -> Sheet:
    async def chosen(console: "Console", values: Values) -> Answer:
        return _why(what, values["pick"])

    picks = _units(console)
    words = (BY_WHAT[what].text,)
    return Sheet(f"Override: {what}", words, (), picks, chosen, "Enter: choose", _at_cursor(console, picks))


def _why(what: str, unit: str) -> Sheet:
    async def done(console: "Console", values: Values) -> Answer:
        return await console.link.order("override", text=what, unit=unit, why=values["why"])

    words = (f"{unit}: {BY_WHAT[what].text}" if unit else BY_WHAT[what].text, MEANS[what])
    blank = Blank("why", "Reason", "", "stands in the record", needed("an override needs a reason"))
    return Sheet(f"Override: {what}", words, (blank,), done=done, enter="Enter: override")


# What each exception costs.
MEANS: dict[str, str] = {
    "cool-down": "Its fans stop although the resistors may still be hot: they age, and what lies near may burn.",
    "check load": "Wiring, polarity, rotation and profile are then not proven by a small load before the large one.",
}
