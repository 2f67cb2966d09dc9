"""`python -m tests.safety` writes `configs/safety.md` from the tables."""

from tests.safety.page import PAGE, page

PAGE.write_text(page(), encoding="utf-8")
print(f"{PAGE} written")
