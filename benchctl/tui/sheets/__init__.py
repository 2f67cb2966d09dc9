"""The forms, by what they are about: each makes a `Sheet` from the picture, or says why it cannot and returns None."""

from benchctl.tui.sheets.alarms import reset, shelve
from benchctl.tui.sheets.chain import adopt, confirm_fans, join, override
from benchctl.tui.sheets.course import extend, program, skip, start
from benchctl.tui.sheets.leave import leave
from benchctl.tui.sheets.load import charge, set_load, set_point, unattended
from benchctl.tui.sheets.over import take_over
from benchctl.tui.sheets.place import site
from benchctl.tui.sheets.rehearsal import inject, pace
from benchctl.tui.sheets.rules import judge_by
from benchctl.tui.sheets.words import correct, reading, remark

__all__ = [
    "adopt", "charge", "confirm_fans", "correct", "extend", "inject", "join", "judge_by", "leave", "override", "pace",
    "program", "reading", "remark", "reset", "set_load", "set_point", "shelve", "site", "skip", "start", "take_over",
    "unattended",
]  # fmt: skip
