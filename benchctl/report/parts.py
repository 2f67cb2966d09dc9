"""The nouns of a report: sections of blocks that hold plain text and pictures. PDF and HTML are drawn from the same.

Nothing here knows paper, typeface or markup; every text is ready to be read, its figures rounded and with units.
"""

from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Para:
    """A paragraph. tone: "" as it is, "note" smaller, "warning" set apart."""

    text: str
    tone: str = ""
    kind: str = field(default="para", init=False)


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list of sentences. tone: "" or "warning" for what must be seen."""

    items: tuple[str, ...]
    tone: str = ""
    kind: str = field(default="bullets", init=False)


@dataclass(frozen=True, slots=True)
class Pairs:
    """Names and values in two columns."""

    rows: tuple[tuple[str, str], ...]
    kind: str = field(default="pairs", init=False)


@dataclass(frozen=True, slots=True)
class Column:
    """One column. align: left, right. share: of the width that is left over; 0 = as wide as its text."""

    title: str
    align: str = "left"
    share: float = 0.0
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of texts. A caption says what it is."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    written: bool = False  # to be filled in by hand: tall rows, lines between the columns
    kind: str = field(default="table", init=False)


@dataclass(frozen=True, slots=True)
class Picture:
    """A vector picture with its caption, and its content in words for who cannot see it. share: of the width."""

    svg: str
    alt: str
    caption: str = ""
    share: float = 1.0
    kind: str = field(default="picture", init=False)


@dataclass(frozen=True, slots=True)
class Sum:
    """A derived figure that can be worked out again."""

    name: str
    value: str
    formula: str
    inputs: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Judged:
    """One rule: what was asked, what came of it, why, by which text, between which times, with which sums."""

    criterion: str
    outcome: str
    why: str
    source: str
    times: str = ""
    sums: tuple[Sum, ...] = ()
    kind: str = field(default="judged", init=False)


@dataclass(frozen=True, slots=True)
class Signatures:
    """Lines to sign on: roles, and what each line is for."""

    roles: tuple[str, ...]
    lines: tuple[str, ...]
    kind: str = field(default="signatures", init=False)


Block = Para | Bullets | Pairs | Table | Picture | Judged | Signatures


@dataclass(frozen=True, slots=True)
class Section:
    """A headed part of the report."""

    title: str
    blocks: tuple[Block, ...]
    new_page: bool = False


@dataclass(frozen=True, slots=True)
class Content:
    """The whole report. front: the blocks of page 1; contents: the word above the list of sections, if any."""

    title: str
    subtitle: str
    banner: str  # what must be known before anything else, or empty
    running: str  # at the head of each page
    foot: str
    page: str  # "page {n} of {total}"
    language: str
    digest: str  # of the record
    front: tuple[Section, ...]
    sections: tuple[Section, ...]
    landscape: bool = False

    def plain(self) -> dict[str, Any]:
        """As values that JSON can hold."""
        return asdict(self)
