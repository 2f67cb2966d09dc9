"""Who holds the controls: one person at one console. The others watch; what takes load off is everybody's.

A console is a client that stays attached, known by the name that the run host gave it; what comes by none (the run host
itself, a rehearsed operator) has an empty one. Only whoever has charge orders. Another takes over with a reason, which
is recorded and told to everybody; a reason is needed only as long as the console that has charge is attached. A person
whose console is gone goes on from another one under the same name.
"""

from benchctl.core.command import Command, Verb
from benchctl.core.course import is_stranger
from benchctl.core.decision import Event, Settings
from benchctl.core.seen import Contact, Seen
from benchctl.core.state import State

NOBODY = "nobody (load found on)"  # has charge where load found on must come off and no person has taken it
TAKING = (Verb.TAKE_CHARGE, Verb.TAKE_OVER)
# What anybody may give: it takes load off, or says who is there and what he has seen or read.
EVERYBODYS = frozenset((Verb.UNLOAD, Verb.DROP, Verb.CHECK_IN, Verb.REMARK, Verb.READING))


def held(charge: str) -> bool:
    """Whether a person has charge."""
    return charge not in ("", NOBODY)


def named(charge: str, console: str) -> str:
    """A person and his console."""
    return f"{charge} at {console}" if console else charge


def watches(charge: str, at: str, there: bool, who: str, console: str) -> bool:
    """Whether somebody at a console only watches: another one has charge.

    charge, at: who has it, and where; there: that console is attached. Without it, the same person goes on elsewhere.
    """
    return held(charge) and console != at and (there or who != charge)


def way(charge: str, at: str, there: bool) -> str:
    """Why whoever only watches cannot order, and how he could: names who has charge."""
    if there:
        return f"{named(charge, at)} has charge: take over, with a reason, to order"
    return f"{named(charge, at)} has charge and is not attached: take charge to order"


def barred(state: State, command: Command, consoles: tuple[str, ...]) -> str:
    """Why a command is not its sender's to give; empty where it is. consoles: those that are attached."""
    charge, at, there = state.charge, state.console, state.console in consoles
    if command.verb in TAKING:
        other = (command.who, command.console) != (charge, at)
        if not (held(charge) and there and other) or not command.who:
            return ""
        if command.verb is Verb.TAKE_CHARGE:
            return f"{named(charge, at)} has charge: take over, with a reason"
        return "" if command.why.strip() else f"{named(charge, at)} has charge: say why you take over"
    if command.verb in EVERYBODYS or not watches(charge, at, there, command.who, command.console):
        return ""
    return way(charge, at, there)


def goes_on(state: State, command: Command) -> None:
    """Whoever has charge and orders from another console, as he may, has charge there. Works on `state`."""
    if held(state.charge) and command.verb not in (*EVERYBODYS, *TAKING):
        state.console = command.console


def take_charge(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    """Charge for whoever says so; the units that answer belong to the chain from now on."""
    if not command.who:
        return "say who watches"
    unattended = command.text == "unattended"
    if unattended and not settings.site.attendance.unattended:
        return "the site file does not allow unattended sessions"
    give(state, command)
    state.unattended = unattended
    for u, s in zip(state.units, seen.units, strict=True):
        if s.contact in (Contact.FRESH, Contact.AGED) and not (u.found or u.lost or is_stranger(u)):
            u.joined, u.restarted = True, s.restarted
    return ""


def take_over(state: State, command: Command, seen: Seen, settings: Settings) -> str:
    """Charge from whoever has it; load and program stay as they are, and somebody is there from now on."""
    if not command.who:
        return "say who watches"
    if not held(state.charge):
        return "nobody has taken charge: take it"
    if (command.who, command.console) == (state.charge, state.console):
        return "you have charge already"
    give(state, command)
    state.unattended = False
    return ""


def give(state: State, command: Command) -> None:
    """Load that is on when charge is first taken is nobody's: somebody has to decide about it."""
    if not state.charge:
        for u in state.units:
            u.found = u.found or u.possible != 0
    state.charge, state.console = command.who, command.console


def passed(charge: str, at: str, state: State, command: Command, consoles: tuple[str, ...]) -> list[Event]:
    """What is told when charge has passed from one person or console (charge, at) to another by a command."""
    if not held(charge) or (charge, at) == (state.charge, state.console):
        return []
    there = at in consoles
    data = (("from_who", charge), ("from_console", at), ("console", state.console), ("why", command.why))
    if state.charge == charge and not there:
        text = f"{named(charge, state.console)} has charge; {at or 'the console before'} is not attached any more"
        return [Event("charge", text, who=state.charge, data=data)]
    gone = "" if there else ", not attached any more"
    why = f": {command.why}" if command.why else ""
    text = f"{named(state.charge, state.console)} has taken over from {named(charge, at)}{gone}{why}"
    return [Event("taken over", text, who=state.charge, data=data)]
