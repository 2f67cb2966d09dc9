"""Every key of the console, as rows: what binds them, the key line, the help page and the tests read the same table.

The drop has one Ctrl key that terminals, tmux, screen and editing habits leave alone (o: all load Off), and a function
key. Both work everywhere, without a page, a question or a rule about pasting, and are never used for anything else.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

from benchctl.core.shown import Snapshot
from benchctl.tui.view import charge, rules
from benchctl.tui.view.picture import Page, Picture

DROP_KEYS = ("ctrl+o", "f9")
QUIT_KEYS = ("q", "ctrl+c", "ctrl+q")

# What a console may do that only watches: take load off, look, say who is there and what is read, play a rehearsal.
WATCHERS = (
    *("drop", "unload", "check_in", "remark", "reading", "correct", "charge", "take_over"),
    *("program", "judge_by", "site", "pace", "inject"),
)


class Kind(Enum):
    """What a key does; it decides how long a key is looked at before it counts (see `tui/gate.py`)."""

    LOOK = "look"  # moves about, harmless
    FORM = "form"  # opens a form
    ORDER = "order"  # goes to the bench at once
    LEAVE = "leave"


Enabled = Callable[[Picture], bool]


def always(_: Picture) -> bool:
    """A key that is never idle."""
    return True


def _now(test: Callable[[Snapshot], bool]) -> Enabled:
    return lambda p: p.live and p.now is not None and test(p.now)


def unhurried(p: Picture) -> bool:
    """Past runs are looked at, or no program runs on whose page there are other things to do."""
    return p.cursor.page is Page.RUNS or p.now is None or p.now.mode not in ("checks", "running")


attached = _now(lambda s: True)
at_rest = _now(lambda s: s.mode in ("idle", "cooling down", "done") and s.trip is None)  # charge is asked for first
by_hand = _now(lambda s: bool(s.charge) and s.mode in ("idle", "cooling down", "done") and s.trip is None)
running = _now(lambda s: s.mode == "running")
asked = _now(lambda s: s.prompt is not None)
rehearsing: Enabled = lambda p: p.live and p.place.rehearsal  # noqa: E731 - reads like its neighbours


@dataclass(frozen=True, slots=True)
class Key:
    """One row. keys: as Textual names them; shown: on the key line; pages: where, empty = on all."""

    keys: tuple[str, ...]
    shown: str
    word: str
    action: str
    kind: Kind
    says: str
    pages: tuple[Page, ...] = ()
    enabled: Enabled = always


LOOK, FORM, ORDER, LEAVE = Kind.LOOK, Kind.FORM, Kind.ORDER, Kind.LEAVE
STOPPED = ("emergency stop", "hot, fans stopped")  # rows of alarms after which fans wait for a word
LISTS = (Page.CHAIN, Page.PROGRAM, Page.TRENDS, Page.ALARMS, Page.BANK, Page.RUNS, Page.CONTACT, Page.HELP)

# fmt: off
KEYS: tuple[Key, ...] = (
    Key(DROP_KEYS, "^O", "ALL LOAD OFF", "drop", ORDER,
        "Opens every contactor at once, fans on, from everywhere. Asks nothing."),
    Key(("u",), "u", "unload", "unload", ORDER, "Takes load off in steps, then cools down.", (), attached),
    Key(("l",), "l", "set load", "set_load", FORM, "A load by hand, in kW.", (), at_rest),
    Key(("plus", "equals_sign"), "+", "raise", "raise_load", ORDER,
        "The smallest useful amount more.", (Page.CHAIN, Page.FAR, Page.TRENDS, Page.BANK),
        _now(lambda s: s.raise_kw is not None)),
    Key(("minus",), "-", "lower", "lower_load", ORDER,
        "The smallest useful amount less.", (Page.CHAIN, Page.FAR, Page.TRENDS, Page.BANK),
        _now(lambda s: s.lower_kw is not None)),
    Key(("y",), "y", "yes", "yes", ORDER, "Answers the open question with yes.", (), asked),
    Key(("n",), "n", "no", "no", ORDER, "Answers the open question with no.", (), asked),
    Key(("c",), "c", "take charge", "charge", FORM,
        "Confirms the cautions and says who watches. Nothing is written to a bank before.", (),
        lambda p: p.live and p.now is not None and charge.free(p.now, p)),
    Key(("C",), "C", "take over", "take_over", FORM, "Charge from another console, with a reason for all to see.", (),
        lambda p: p.live and charge.others(p)),
    Key(("f",), "f", "program", "program", FORM, "Picks a program and shows its plan.", (), attached),
    Key(("g",), "g", "start", "start", FORM, "Starts the program through the checks.", (),
        at_rest),
    Key(("p",), "p", "pause", "pause", ORDER, "Holds the program where it is.", (),
        _now(lambda s: s.mode == "running" and not s.paused)),
    Key(("R",), "R", "resume", "resume", ORDER, "Goes on from what is on now.", (),
        _now(lambda s: s.paused or bool(s.held))),
    Key(("e",), "e", "extend", "extend", FORM, "Makes the present hold longer.", (), running),
    Key(("k",), "k", "skip", "skip", FORM, "Leaves out the rest of the present segment.", (), running),
    Key(("v",), "v", "reading", "reading", FORM, "Types in what is read at the engine.", (), attached),
    Key(("m",), "m", "remark", "remark", FORM, "Words for the record.", (), attached),
    Key(("i",), "i", "I am here", "check_in", ORDER, "A sign of a living person.", (), attached),
    Key(("a",), "a", "acknowledge", "acknowledge", ORDER, "The alarm under the cursor.", (Page.ALARMS,),
        _now(lambda s: bool(s.alarms))),
    Key(("A",), "A", "acknowledge all", "acknowledge_all", ORDER, "Every alarm that is shown.", (),
        _now(lambda s: any(not a.acknowledged for a in s.alarms))),
    Key(("z",), "z", "shelve", "shelve", FORM, "Puts an alarm aside for a while, with a reason.", (Page.ALARMS,),
        _now(lambda s: bool(s.alarms))),
    Key(("h",), "h", "history", "history", LOOK, "Alarms of before, and back.", (Page.ALARMS,)),
    Key(("r",), "r", "reset", "reset", FORM, "Ends a latched trip. Starts nothing.", (),
        _now(lambda s: s.trip is not None or any(a.latched for a in s.alarms))),
    Key(("j",), "j", "join", "join", FORM, "Takes a bank back that has returned.", (Page.CHAIN, Page.BANK),
        _now(lambda s: bool(s.charge) and any(not u.joined for u in s.units))),
    Key(("d",), "d", "adopt", "adopt", FORM, "Makes load that was found on ours.", (),
        _now(lambda s: any(u.found for u in s.units))),
    Key(("w",), "w", "fans again", "confirm_fans", FORM, "Lets a bank's fans run again after its emergency stop.",
        (Page.CHAIN, Page.BANK), _now(lambda s: any(a.row in STOPPED for a in s.alarms))),
    Key(("o",), "o", "overrides", "override", FORM, "Exceptions, each with its reason: a page of its own.", (),
        attached),
    Key(("space",), "space", "switch stage", "switch", ORDER, "Closes or opens the stage under the cursor.",
        (Page.BANK,), by_hand),
    Key(("x",), "x", "pace", "pace", FORM, "How fast the rehearsal goes.", (), rehearsing),
    Key(("b",), "b", "break", "inject", FORM, "Puts a fault into the rehearsal.", (), rehearsing),
    Key(("s",), "s", "site", "site", FORM, "Another site, or a rehearsal of it."),
    Key(("V",), "V", "correct reading", "correct", FORM, "Corrects a reading; what was typed first stays legible.", (),
        attached),
    Key(("U",), "U", "unattended", "unattended", FORM,
        "Declares that nobody has to be there, where the site file allows it; or that somebody is.", (), attached),
    Key(("enter",), "enter", "open", "open_run", LOOK, "Opens the run under the cursor; then its verdicts, and back.",
        (Page.RUNS,), lambda p: bool(p.runs)),
    Key(("enter",), "enter", "verdicts", "open_rules", LOOK, "What the rule sets say, rule by rule, and back.",
        (Page.PROGRAM,), lambda p: p.cursor.rules or rules.any_told(p)),
    Key(("w",), "w", "working", "working", LOOK, "The sums behind the verdicts, and back.", (Page.PROGRAM, Page.RUNS),
        lambda p: p.cursor.rules),
    Key(("j",), "j", "judge by", "judge_by", FORM, "Further rule sets that plans and runs are judged by.",
        (Page.PROGRAM, Page.RUNS), unhurried),
    Key(("1",), "1", "chain", "page_chain", LOOK, "The chain and the source at a glance."),
    Key(("2",), "2", "program", "page_program", LOOK, "The plan and where it is."),
    Key(("3",), "3", "trends", "page_trends", LOOK, "The last minute to the whole run."),
    Key(("4",), "4", "alarms", "page_alarms", LOOK, "Alarms, first-out first."),
    Key(("enter",), "enter", "open", "open_bank", LOOK, "Opens the bank under the cursor.", (Page.CHAIN,)),
    Key(("5",), "5", "bank", "page_bank", LOOK, "Everything of one bank, registers included."),
    Key(("6",), "6", "runs", "page_runs", LOOK, "Runs of before."),
    Key(("7",), "7", "far", "page_far", LOOK, "Figures that are legible from three metres."),
    Key(("8",), "8", "contact", "page_contact", LOOK, "First contact: who answers, and as what."),
    Key(("question_mark", "f1"), "?", "help", "page_help", LOOK, "This page."),
    Key(("escape",), "esc", "back", "back", LOOK, "Back to the chain."),
    Key(("up",), "↑", "up", "up", LOOK, "The row above.", LISTS),
    Key(("down",), "↓", "down", "down", LOOK, "The row below.", LISTS),
    Key(("pageup",), "pgup", "page up", "page_up", LOOK, "A screen up.", LISTS),
    Key(("pagedown",), "pgdn", "page down", "page_down", LOOK, "A screen down.", LISTS),
    Key(("left", "comma"), "←", "earlier", "left", LOOK, "The bank before; the trend's cursor back.",
        (Page.TRENDS, Page.BANK)),
    Key(("right", "full_stop"), "→", "later", "right", LOOK, "The next bank; the trend's cursor forward.",
        (Page.TRENDS, Page.BANK)),
    Key(("left_square_bracket",), "[", "wider", "wider", LOOK, "More time on the trends.", (Page.TRENDS,)),
    Key(("right_square_bracket",), "]", "closer", "closer", LOOK, "Less time on the trends.", (Page.TRENDS,)),
    Key(("t",), "t", "colours", "theme", LOOK, "Night, sun (high contrast), one colour."),
    Key(("ctrl+p",), "^P", "palette", "palette", LOOK, "Every key by its word, to be searched."),
    Key(QUIT_KEYS, "q", "leave", "leave", LEAVE, "Asks, with the load named, when load is on."),
)
# fmt: on


def barred(key: Key, picture: Picture) -> str:
    """Why a key does nothing because another console has charge; empty where that is no reason."""
    orders = key.kind in (ORDER, FORM) and key.action not in WATCHERS
    return charge.bar(picture) if orders and charge.watches(picture) else ""


def idle(key: Key, picture: Picture) -> bool:
    """Whether a key means nothing now."""
    return not key.enabled(picture) or bool(barred(key, picture))


def at(page: Page) -> tuple[Key, ...]:
    """The keys of a page, the rarest first: what is only of this page, then what is of all."""
    own = [k for k in KEYS if page in k.pages]
    return (*own, *(k for k in KEYS if not k.pages))


def meant(name: str, picture: Picture) -> Key | None:
    """The row that a key means on the page that is shown; None when it means nothing there."""
    return next((k for k in at(picture.cursor.page) if name in k.keys), None)
