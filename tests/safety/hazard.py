"""A hazard as a row: how it comes about, who notices, who does what, what is told, which tests show it.

Rows name causes (`benchctl/core/causes.py`) by their keys and tests by their node ids. What the operator reads of a
cause is drawn from the cause itself; other words are given with the file in which they stand. `test_hazards.py` holds
all of it to the code, and the page `configs/safety.md` is drawn from the same rows.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Said:
    """Words that the operator reads and no row of causes holds: a piece of them as it stands in a file."""

    words: str
    file: str


@dataclass(frozen=True, slots=True)
class Hazard:
    """One row. causes: keys of core/causes.py. shown: node ids of tests. leaves: what is left for people and units."""

    key: str
    title: str
    arises: str
    noticed: str
    bench: str
    unit: str
    shown: tuple[str, ...]
    leaves: str
    causes: tuple[str, ...] = ()
    said: tuple[Said, ...] = ()
