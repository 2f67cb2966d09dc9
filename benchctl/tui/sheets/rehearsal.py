"""Rehearsing: another site, the pace, faults by hand."""

from typing import TYPE_CHECKING

from benchctl.tui.form import Sheet

if TYPE_CHECKING:
    from benchctl.tui.app import Console


def _later(console: "Console") -> Sheet | None:
    console.link.say("not yet")
    return None


site = pace = inject = _later
