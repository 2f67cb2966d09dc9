"""What the console is lent of this computer: programs, rule sets, sites, and run hosts that are there."""

import re
from pathlib import Path
from typing import TYPE_CHECKING

from benchctl.cli.attach import cards_folder

if TYPE_CHECKING:
    from benchctl.tui.extras import Way, Written

TITLE = re.compile(r"^title:[ \t]*(.*?)[ \t]*$", re.MULTILINE)


def programs() -> list[tuple[str, str]]:
    """Name and title of the programs in ./configs and of the shipped ones."""
    return _files("program")


def rule_sets() -> list[tuple[str, str]]:
    """Name and title of the rule sets in ./configs and of the shipped ones."""
    return _files("ruleset")


def program(ref: str) -> "Written":
    """A program, by its name or path, with the rule sets that it names.

    Raises ValueError in words: no such file, or what is wrong in one of them.
    """
    from benchctl.files import FileFault, read_program
    from benchctl.tui.extras import Written

    try:
        read, source = read_program(ref)
    except FileFault as fault:
        raise ValueError(str(fault)) from None
    return Written(source.name, source.text, tuple((name, rule_set(name)) for name in read.rule_sets))


def rule_set(ref: str) -> str:
    """The text of a rule set, by its name or path. Raises ValueError in words: no such file, or what is wrong."""
    from benchctl.files import FileFault, read_rule_set

    try:
        return read_rule_set(ref)[1].text
    except FileFault as fault:
        raise ValueError(f"a rule set cannot be read: {fault}") from None


def ways(here: str = "") -> "list[Way]":
    """Where a console can go: run hosts that are there, then the known sites and a rehearsal of each.

    here: the site the console was started with, which may be a path.
    """
    from benchctl.door.card import CardFault, read_cards
    from benchctl.folders import FolderFault
    from benchctl.tui.extras import Way

    try:
        cards = read_cards(cards_folder())
    except (CardFault, FolderFault):
        cards = []
    titles = dict(_files("site"))
    if here:
        titles.setdefault(here, "")
    made: dict[tuple[str, bool], Way] = {}
    for card in cards:
        beside = f"{titles.get(card.site, '')}  runs as process {card.pid}".strip()
        made.setdefault((card.site, card.rehearsal), Way(card.site, card.rehearsal, beside))
    for name, title in titles.items():
        for rehearse in (True, False):
            made.setdefault((name, rehearse), Way(name, rehearse, title))
    return list(made.values())


def _files(kind: str) -> list[tuple[str, str]]:
    from benchctl.files.shelf import names

    beside = sorted(file.stem for file in Path("configs", f"{kind}s").glob("*.yaml"))
    return [(name, _title(kind, name)) for name in dict.fromkeys((*beside, *names(kind)))]


def _title(kind: str, name: str) -> str:
    """As it stands in the file; a file that is broken in other places is told when it is picked."""
    from benchctl.files import FileFault
    from benchctl.files.shelf import DiskShelf

    try:
        found = TITLE.search(DiskShelf().open(kind, name).text)
    except FileFault:
        return "cannot be read"
    return found[1].strip("'\"") if found else ""
