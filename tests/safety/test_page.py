"""The safety page is the one that the tables give, and its links lead somewhere."""

import re

from benchctl.core.causes import ROWS
from tests.safety.hazards import HAZARDS
from tests.safety.page import PAGE, cause_text, page


def test_the_page_is_that_of_the_tables():
    assert PAGE.read_text(encoding="utf-8") == page(), "python -m tests.safety"


def test_every_link_of_the_page_leads_to_a_heading_of_it():
    text = page()
    headings = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    anchors = {"".join(c for c in h.lower() if c.isalnum() or c in " -").replace(" ", "-") for h in headings}
    links = re.findall(r"\]\(#([^)]+)\)", text)
    assert len(links) >= 2 * len(HAZARDS)
    assert set(links) <= anchors
    assert len(headings) == len(set(headings))


def test_what_is_told_of_a_cause_has_no_blank_left_open():
    for row in ROWS:
        text = cause_text(row.key)
        assert "{" not in text
        assert "}" not in text
        assert text in page()


def test_no_row_of_a_table_is_broken_by_what_stands_in_it():
    for line in page().splitlines():
        if line.startswith("|"):
            assert line.count("|") == 4, line
