"""Rehearsing: the pace, and faults by hand."""

from typing import TYPE_CHECKING

from benchctl.core.scenario import FAULT_BY_NAME, FAULTS, FaultKind
from benchctl.door.client import Refused
from benchctl.tui.form import Answer, Blank, Pick, Sheet, Values
from benchctl.tui.sheets.typed import figure, flaw, needed, time_s
from benchctl.tui.view.text import clean

if TYPE_CHECKING:
    from benchctl.tui.app import Console

PACES: tuple[tuple[str, str], ...] = (
    ("1", "real time; somebody must be there, as on site"),
    ("10", "ten times real time"),
    ("60", "a minute in a second"),
    ("max", "as fast as it goes"),
)


def pace(console: "Console") -> Sheet | None:
    """How fast the rehearsal goes."""

    async def done(console: "Console", values: Values) -> Answer:
        client = console.link.client
        if client is None:
            return "no run host is attached"
        speed = None if values["pick"] == "max" else float(values["pick"])
        try:
            await client.pace(speed)
        except Refused as fault:
            return clean(str(fault))
        console.picture.pace_asked = speed
        return ""

    present = console.picture.pace_asked
    names = [name for name, _ in PACES]
    shown = "max" if present is None else f"{present:g}"
    picks = tuple(Pick(name, f"× {name}", says) for name, says in PACES)
    first = names.index(shown) if shown in names else 0
    return Sheet("Pace of the rehearsal", (), (), picks, done, "Enter: choose", first)


def inject(console: "Console") -> Sheet | None:
    """Pick a fault, on what, how much, how long; or let one end."""

    async def chosen(console: "Console", values: Values) -> Answer:
        kind = FAULT_BY_NAME[values["pick"]]
        on = places(console, kind)
        if not on:
            return f"there is no {kind.on} here"
        return _how(kind, on[0].key) if len(on) == 1 else _where(kind, on)

    picks = tuple(Pick(kind.name, kind.name, kind.text) for kind in FAULTS)
    words = ("Puts a fault into the rehearsal, as it would happen on site; the record says so.",)
    return Sheet("Break something", words, (), picks, chosen, "Enter: choose")


def places(console: "Console", kind: FaultKind) -> tuple[Pick, ...]:
    """What a fault can be on. A cable is known by what it leads to, less the unit id behind a slash."""
    place, now = console.picture.place, console.picture.now
    units = [b.name for b in place.banks] or ([u.name for u in now.units] if now else [])
    match kind.on:
        case "unit":
            beside = {u.name: u.condition for u in now.units} if now else {}
            return tuple(Pick(name, name, beside.get(name, "")) for name in units)
        case "instrument":
            told = [row[0] for row in place.instruments] or ([i.name for i in now.instruments] if now else [])
            return tuple(Pick(name, name) for name in told)
        case "source":
            return (Pick("source", "source"),)
        case _:
            ends: dict[str, list[str]] = {}
            for name, end in place.ends.items():
                ends.setdefault(end.partition("/")[0], []).append(name)
            return tuple(Pick(end, end, ", ".join(names)) for end, names in ends.items())


def _where(kind: FaultKind, picks: tuple[Pick, ...]) -> Sheet:
    async def chosen(console: "Console", values: Values) -> Answer:
        return _how(kind, values["pick"])

    return Sheet(f"Break: {kind.name}", (kind.text,), (), picks, chosen, "Enter: on this one")


def _value(text: str) -> float | str | None:
    """A number in the unit of the fault, a text that names its own unit, or nothing."""
    try:
        return figure(text)
    except ValueError:
        return text or None


def _how(kind: FaultKind, on: str) -> Sheet:
    async def done(console: "Console", values: Values) -> Answer:
        client = console.link.client
        if client is None:
            return "no run host is attached"
        try:
            if values["for"] == "end":
                told = await client.heal(kind.name, on)
                console.link.say(f"{kind.name} on {on}: {'over' if told.get('ended', True) else 'was not there'}")
                return ""
            for_s = time_s(values["for"], "s") if values["for"] else None
            await client.inject(kind.name, on, _value(values.get("value", "")), for_s)
        except Refused as fault:
            return clean(str(fault))
        console.link.say(f"{kind.name} on {on}")
        return ""

    def check(text: str) -> str:
        return "" if text in ("", "end") else flaw(lambda t: time_s(t, "s"))(text)

    value = Blank("value", f"How much: {kind.value}", "", kind.value, needed(f"say {kind.value}"))
    last = Blank("for", "For how long (empty: until it is ended; end: ends it now)", "", "90 s, 5 min, end", check)
    return Sheet(
        f"Break: {kind.name} on {on}",
        (kind.text,),
        (value, last) if kind.value else (last,),
        done=done,
        enter="Enter: so be it",
    )
