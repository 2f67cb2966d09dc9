"""The texts that marks such as S17 stand for, so that a report can be read without anything else."""

import re
from collections.abc import Iterable

# Mark -> (text, how it was read).
SOURCES: dict[str, tuple[str, str]] = {
    "S1": ("NFPA 110, clause 7.13, an extract with the numbering of 2010 to 2016", "up to 7.13.4.1.4"),
    "S2": ("NFPA 110 (2005), clause 7.13.6, on a page about codes", "quotation"),
    "S3": ("NFPA 110 (2019), clauses 8.4.2 and 8.4.2.3, on an inspectors' question page", "quotation"),
    "S4": ("NFPA 110 (2002), clause 5.6.4.2", "an extract"),
    "S5": ("a hospital accreditor's public answers on monthly, annual and 36-month tests", "the answers themselves"),
    "S7": ("an article on the tests of clause 7.13", "second hand"),
    "S8": ("UFGS-16263A, US guide specification of diesel sets", "the pages named"),
    "S9": ("UFGS-16264A, US guide specification of diesel sets", "the pages named"),
    "S10": ("UFGS-16237N, US guide specification of single sets", "the pages named"),
    "S11": ("UFGS-16265A, US guide specification of UPS", "the pages named"),
    "S13": ("US Army technical manual TM 9-6115-644-24, generating sets", "the pages named"),
    "S14": ("US Army technical manuals TM 5-6115-275-14 and others, generating sets", "the pages named"),
    "S15": ("MIL-DTL-53133/6B and /9C, tactical sets of 60 Hz", "the pages named"),
    "S16": ("DOE-STD-3003-2000, Backup power sources for DOE facilities", "the pages themselves"),
    "S17": (
        "a public works specification of a 415 V, 50 Hz set that quotes the class G2 column of ISO 8528-5 line by line",
        "the clause",
    ),
    "S21": ("three independent white papers restating the ratings of ISO 8528-1", "second hand"),
    "S29": ("a generic table of diesel consumption, 20 to 2250 kW, in four independent copies", "tables"),
    "S35": ("a US Bureau of Reclamation volume on battery maintenance (1997)", "the text of the capacity test"),
}


def named(texts: Iterable[str]) -> tuple[tuple[str, str, str], ...]:
    """(mark, text, how it was read) of every mark that the texts name, in the order of their numbers."""
    marks = {mark for text in texts for mark in re.findall(r"\bS\d+\b", text)}
    return tuple((mark, *SOURCES[mark]) for mark in sorted(marks & SOURCES.keys(), key=lambda mark: int(mark[1:])))
