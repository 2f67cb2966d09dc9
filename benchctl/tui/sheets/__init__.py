"""The forms, by what they are about: each makes a `Sheet` from the picture, or says why it cannot and returns None."""

from benchctl.tui.sheets.course import extend, leave, program, reading, remark, skip, start
from benchctl.tui.sheets.load import adopt, charge, confirm_fans, join, override, reset, set_load, set_point, shelve
from benchctl.tui.sheets.rehearsal import inject, pace, site

__all__ = [
    "adopt", "charge", "confirm_fans", "extend", "inject", "join", "leave", "override", "pace", "program", "reading",
    "remark", "reset", "set_load", "set_point", "shelve", "site", "skip", "start",
]  # fmt: skip
