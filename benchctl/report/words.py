"""Every sentence of report and reading sheet, under a key. A translation is a table of the same keys."""

from benchctl.report.english import REPORT
from benchctl.report.english_sheet import SHEET

ENGLISH: dict[str, str] = {**REPORT, **SHEET}


def say(key: str, **values: object) -> str:
    """A sentence with its figures. Raises KeyError for a key that is not in the table."""
    text = ENGLISH[key]
    return text.format(**values) if values or "{" in text else text
