"""Content → PDF: PDF/A-3a with tags (PDF/UA-1), the record's figures embedded, the same bytes each time.

The compiler comes as one wheel with its typefaces inside; typefaces of this computer are not used, so that a report
does not depend on it. It never asks the net: no package is imported.
"""

import json
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import files

from benchctl.report.parts import Content

PAPERS = {"a4": "a4", "letter": "us-letter"}


class TypesetFault(Exception):  # noqa: N818 - as FileFault, RecordFault
    """The PDF could not be made; the text says why."""


@dataclass(frozen=True, slots=True)
class Attached:
    """A text that lies inside the PDF. relationship: of ISO 32000: source, data, supplement."""

    name: str
    text: str
    mime: str
    description: str
    relationship: str = "data"


def typeset(content: Content, attached: tuple[Attached, ...], paper: str, when: datetime) -> bytes:
    """The PDF. when: written into it as its time, so not this computer's. Raises TypesetFault."""
    try:
        import typst
    except ImportError:
        raise TypesetFault(
            "no PDF: the typesetter is not installed (pip install typst); HTML and CSV need nothing"
        ) from None
    source = files("benchctl.report").joinpath("report.typ").read_bytes()
    told = json.dumps(content.plain(), ensure_ascii=False)
    inside = json.dumps([{name: getattr(a, name) for name in Attached.__slots__} for a in attached], ensure_ascii=False)
    for plain in (told, drawable(told)):
        try:
            made = typst.compile(
                source,
                format="pdf",
                ignore_system_fonts=True,
                sys_inputs={"content": plain, "attached": inside, "paper": PAPERS[paper]},
                pdf_standards=["a-3a", "ua-1"],
                timestamp=int(when.timestamp()),
            )
        except typst.TypstError as fault:
            if "could not be displayed" in str(fault) and plain is not drawable(plain) and plain == told:
                continue
            raise TypesetFault(f"the PDF could not be made: {fault}") from None
        return bytes(made)
    raise TypesetFault("the PDF could not be made: a character cannot be drawn")


def drawable(text: str) -> str:
    """The text with what the typeface has not told as U+XXXX: beyond Latin, Greek, Cyrillic and our signs."""
    return "".join(
        c if ord(c) < 0x0590 or c in SIGNS or 0x2010 <= ord(c) <= 0x206F else f"[U+{ord(c):04X}]" for c in text
    )


SIGNS = "■▲◇→≤≥−√Δ·…°²³×Ω½¼¾€₂"
