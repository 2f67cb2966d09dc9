"""Who has charge, as a terminal that follows a run tells it."""

from typing import TYPE_CHECKING

from benchctl.core import charge

if TYPE_CHECKING:
    from benchctl.core.shown import Snapshot
    from benchctl.door.messages import Event

TAKE_OVER = "type over and why to take over"


def there(now: "Snapshot") -> bool:
    """Whether the console that has charge is attached."""
    return now.charge_console in now.consoles


def watches(now: "Snapshot", console: str, who: str) -> bool:
    """Whether somebody at a console only watches."""
    return charge.watches(now.charge, now.charge_console, there(now), who, console)


def way(now: "Snapshot") -> str:
    """Who has charge, and how to come by it."""
    return charge.way(now.charge, now.charge_console, there(now))


def charge_words(now: "Snapshot") -> str:
    """Who has charge, at which console, whether that is attached, and how many others are."""
    if not now.charge:
        return f"nobody is in charge{_others(now)}"
    gone = ", not attached" if now.charge_console and not there(now) else ""
    where = f" at {now.charge_console}{gone}" if now.charge_console else ""
    return f"{now.charge} is in charge{where}{_others(now)}"


def _others(now: "Snapshot") -> str:
    count = len([console for console in now.consoles if console != now.charge_console])
    return "" if not count else f"; {count} console{'s watch' if count > 1 else ' watches'}"


def who_gave(event: "Event", own: str) -> str:
    """Who has given an order, and from which console if not from our own; empty where nobody has or its text tells."""
    if "from_who" in event.data:
        return ""
    at = str(event.data.get("console") or "")
    return charge.named(event.who, "" if at == own else at) if event.who else ""


def gone(before: "Snapshot | None", now: "Snapshot") -> str:
    """What is said when whoever has charge is not attached any more, to those who still are; empty at other times."""
    if before is None or not charge.held(now.charge) or there(now) or now.charge_console == "":
        return ""
    if (before.charge, before.charge_console) != (now.charge, now.charge_console) or not there(before):
        return ""
    return f"{charge.named(now.charge, now.charge_console)} is not attached any more: nobody is at the controls"


def what_now(event: "Event", own: str) -> str:
    """What whoever is at our own console can do about an event of charge; empty for other events, of other consoles."""
    if event.what == "taken over" and event.data.get("from_console") == own != event.data.get("console"):
        return f"YOU WATCH from now on; {TAKE_OVER} again"
    if event.what == "refused" and event.data.get("console") == own and "take over" in str(event.data.get("why")):
        return TAKE_OVER
    return ""
