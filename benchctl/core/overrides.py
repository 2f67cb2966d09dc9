"""What an operator may override, as rows: each is a recorded exception with who and why, and ends with the session."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class OverrideRow:
    """One exception. per_unit: it names a unit."""

    what: str
    per_unit: bool
    text: str


OVERRIDES: tuple[OverrideRow, ...] = (
    OverrideRow("cool-down", True, "end the cool-down of a unit without load before it is paid"),
    OverrideRow("check load", False, "go on although the check load failed or could not be demonstrated"),
)

BY_WHAT = {row.what: row for row in OVERRIDES}
