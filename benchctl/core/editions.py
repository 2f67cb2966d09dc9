"""Which editions of a text a rule set's figures are of: whether the edition that holds at a site is among them."""

import re

YEAR = re.compile(r"(?<!\d)(?:19|20)\d\d(?!\d)")


def covers(edition: str, adopted: str) -> bool | None:
    """Whether figures of these editions hold where another is adopted; None: it cannot be told from the words.

    edition: one year, "A to B" or "A and later", with any words about them; adopted: a text with one year.
    """
    years, asked = [int(y) for y in YEAR.findall(edition)], [int(y) for y in YEAR.findall(adopted)]
    if not years or len(asked) != 1:
        return None
    if "and later" in edition:
        return asked[0] >= years[0]
    if len(years) == 2 and re.search(rf"{years[0]}\s*(?:to|-|–)\s*{years[1]}", edition):
        return years[0] <= asked[0] <= years[1]
    return asked[0] in years
