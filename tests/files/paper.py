"""Files for tests: shipped ones with one thing changed, and the place where the flaw must be told.

A pilcrow (¶) in the changed text marks the place and is taken out before the file is read.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from benchctl.core.site import Site
from benchctl.files import (
    DiskShelf,
    FileFault,
    RecordedShelf,
    SourceFile,
    names,
    read_broker,
    read_instrument,
    read_mapping,
    read_profile,
    read_program,
    read_rule_set,
    read_scenario,
    read_site,
)

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


def text_of(kind: str, name: str) -> str:
    """Text of a shipped file."""
    return (CONFIGS / f"{kind}s" / f"{name}.yaml").read_text(encoding="utf-8")


def shelf(*files: SourceFile) -> RecordedShelf:
    """The given files and every shipped profile."""
    profiles = [DiskShelf().open(kind, name) for kind in ("unit", "instrument") for name in names(kind)]
    return RecordedShelf([*profiles, *files])


def read(kind: str, text: str, site: Site | None = None) -> Any:
    """The noun of a text; it goes by the name of x.yaml."""
    on = shelf(SourceFile.of(kind, "x", "x.yaml", text))
    readers: dict[str, Callable[[], tuple[object, object]]] = {
        "site": lambda: read_site("x", on),
        "unit": lambda: read_profile("x", on),
        "instrument": lambda: read_instrument("x", on),
        "mapping": lambda: read_mapping("x", on),
        "broker": lambda: (read_broker("x", on), None),
        "program": lambda: read_program("x", on),
        "ruleset": lambda: read_rule_set("x", on),
        "scenario": lambda: read_scenario("x", site or read_site("northquay")[0], on),
    }
    return readers[kind]()[0]


def flaws(kind: str, text: str) -> list[str]:
    """What is told of a text, without source lines and carets."""
    try:
        read(kind, text)
    except FileFault as fault:
        return [f"{f.path}:{f.line}:{f.column}: {f.text}" for f in fault.flaws]
    return []


def marked(text: str) -> tuple[str, str]:
    """The text without its pilcrow, and the place where that stood as `x.yaml:LINE:COLUMN: `."""
    before, after = text.split("¶")
    line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
    return before + after, f"x.yaml:{line}:{column}: "


def changed(kind: str, name: str, old: str, new: str) -> str:
    """A shipped file with one piece replaced."""
    text = text_of(kind, name)
    assert text.count(old) == 1, f"{old!r} is {text.count(old)} times in {name}"
    return text.replace(old, new)
