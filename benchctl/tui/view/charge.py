"""Who holds the controls, as this console shows it: ours, another's, nobody's, and how many watch."""

from benchctl.core import charge
from benchctl.core.shown import Snapshot
from benchctl.tui.view.picture import Picture, Told
from benchctl.tui.view.text import Mark, Span, clean

EVERYBODYS = "u, ^O, v, m are everybody's"


def there(now: Snapshot) -> bool:
    """Whether the console that has charge is attached."""
    return now.charge_console in now.consoles


def watches(picture: Picture) -> bool:
    """Whether this console only watches: another one has charge."""
    now = picture.now
    if now is None:
        return False
    return charge.watches(now.charge, now.charge_console, there(now), picture.who, picture.place.console)


def others(picture: Picture) -> bool:
    """Whether charge is to be had from another console only by taking over."""
    return watches(picture) and picture.now is not None and there(picture.now)


def free(now: Snapshot, picture: Picture) -> bool:
    """Whether charge can be taken: nobody has it, or whoever has it is not attached any more."""
    return not charge.held(now.charge) or (watches(picture) and not there(now))


def bar(picture: Picture) -> str:
    """Why an ordering key does nothing here, and the way to take over."""
    now = picture.now
    if now is None:
        return ""
    who = clean(charge.named(now.charge, now.charge_console))
    if there(now):
        return f"{who} has charge: C takes over; {EVERYBODYS}"
    return f"{who} is not attached: c takes charge; {EVERYBODYS}"


def word(picture: Picture) -> list[Span]:
    """For the head of every page, where this console only watches."""
    return [(" WATCHING ", Mark.MANDATORY), (" ", Mark.PLAIN)] if watches(picture) else []


def line(picture: Picture) -> Span:
    """Who has charge, where if not here, and how many watch."""
    now = picture.now
    if now is None:
        return "", Mark.PLAIN
    count = len([console for console in now.consoles if console != now.charge_console])
    if not now.charge:
        return " nobody has charge ", Mark.PLAIN
    alone = ", unattended" if now.unattended else ""
    many = alone + (f", {count} watch{'' if count > 1 else 'es'}" if count else "")
    if not watches(picture):
        return f" {now.charge} has charge{many} ", Mark.QUIET
    gone = "" if there(now) else ", NOT ATTACHED"
    return f" {charge.named(now.charge, now.charge_console)} has charge{gone}{many} ", Mark.STRONG


def signed(told: Told, console: str) -> str:
    """Who has given an order, and from which console if not from this one; empty for what nobody has."""
    data = dict(told.data)
    if not told.who or "from_who" in data:
        return ""
    at = clean(str(data.get("console") or ""))
    return charge.named(told.who, "" if at == console else at)


def of_others(told: Told, console: str) -> str:
    """What another console has just done, to be said here; empty for all else."""
    data = dict(told.data)
    if told.what == "taken over":
        return "" if data.get("console") == console else told.text
    others = told.what == "command" and data.get("console") not in (None, "", console)
    if told.text.startswith("reading "):  # it has an event of its own, in words
        return ""
    return f"{told.text} ({signed(told, console)})" if others else ""


def taken_from(told: Told, console: str) -> bool:
    """Whether an event says that charge was taken from this console."""
    data = dict(told.data)
    return told.what == "taken over" and data.get("from_console") == console != data.get("console")
