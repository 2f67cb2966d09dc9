"""What the console is lent by whoever starts it: files and folders are not its own business."""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Way:
    """Somewhere to go: a site, or a rehearsal of it. beside: its title, whether its run host is there."""

    site: str
    rehearse: bool
    beside: str = ""


@dataclass(frozen=True, slots=True)
class Written:
    """A program as it was read. rule_sets: of each that it names, the name as it stands there, and the text."""

    name: str
    text: str
    rule_sets: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Extras:
    """What the console is lent by whoever starts it: files and folders are not its own business.

    programs, rule_sets: (name, title) of what can be chosen; program, rule_set: a program and the text of a rule set by
    name or path, raise ValueError in words; sites: where one can go, which may take a moment; runs: rows of the runs'
    folder; run: one of them, opened; verdicts: one of them judged by the rule sets that its program names and by those
    of these names (see `tui/view/rules.py`).
    """

    programs: Callable[[], list[tuple[str, str]]] = list
    program: Callable[[str], Written] = lambda name: Written(name, "")
    rule_sets: Callable[[], list[tuple[str, str]]] = list
    rule_set: Callable[[str], str] = lambda name: ""
    sites: Callable[[], list[Way]] = list
    runs: Callable[[], Awaitable[list[dict[str, Any]]]] | None = None
    run: Callable[[str], Awaitable[dict[str, Any]]] | None = None
    verdicts: Callable[[str, tuple[str, ...]], Awaitable[dict[str, Any]]] | None = None
