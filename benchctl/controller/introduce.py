"""What a run host says of itself to whoever comes in."""

from benchctl.controller.terms import Terms
from benchctl.core.site import Attendance
from benchctl.door.server import Identity


def identity(terms: Terms) -> Identity:
    """Of a host that begins with these terms."""
    return Identity(
        site=terms.site,
        site_sha256=terms.site_files[0].sha256,
        scan_period_s=terms.scan_period_s,
        rehearsal=terms.rehearsal,
        speed=terms.pace,
        attendance=attendance(terms.site.attendance, terms.needs_person),
        runs=str(terms.runs),
    )


def attendance(rules: Attendance, needed: bool) -> tuple[str, ...]:
    """Who must be there while load is on, a sentence each. needed: somebody must, as things are."""
    said = [f"load found on that nobody decides about comes off in steps after {_time(rules.console_lost_s)}"]
    if not needed:
        return (*said, "beyond that nobody has to be there: this rehearsal does not run in real time")
    meanwhile = "the load is held where it is" if rules.hold_meanwhile else "the program goes on"
    said.append(
        f"while no console is attached {meanwhile}; load comes off in steps after {_time(rules.console_lost_s)}"
    )
    said.append(
        f"after {_time(rules.check_in_s)} without a sign of a person it is asked whether somebody is there; from then "
        f"on, an alarm after {_time(rules.alarm_after_s)}, load off in steps after {_time(rules.unload_after_s)}"
    )
    if rules.unattended:
        said.append("a session may be declared unattended: then nobody has to be there")
    return tuple(said)


def _time(seconds: float) -> str:
    return f"{seconds:g} s" if seconds < 120.0 or seconds % 60.0 else f"{seconds / 60.0:g} min"
