"""When a bell is due: a trip, a question, a reading due, an alarm that takes load off or asks who is there."""

from benchctl.core import charge
from benchctl.core.shown import Snapshot

TELLING = ("note", "alarm")  # reactions that only tell
ASKING = ("no sign of a person",)  # rows that tell and want an answer


def rings(before: Snapshot | None, now: Snapshot) -> bool:
    """Whether something has come with this scan for which a person must look up; with the first, for what stands."""
    return bool(_calls(now) - (_calls(before) if before is not None else frozenset()))


def _calls(now: Snapshot) -> frozenset[tuple[str, ...]]:
    """What calls for a person in a scan, each by a name that stays the same as long as it is the same call."""
    fresh = [a for a in now.alarms if not a.acknowledged and (a.reaction not in TELLING or a.row in ASKING)]
    calls: set[tuple[str, ...]] = {("alarm", a.row, a.unit, str(a.count)) for a in fresh}
    if now.trip is not None:
        calls.add(("trip", now.trip.row, now.trip.unit))
    if now.prompt is not None:
        calls.add(("prompt", now.prompt.kind, now.prompt.text))
    if charge.held(now.charge) and now.charge_console not in ("", *now.consoles):
        calls.add(("left", now.charge, now.charge_console))
    if now.held:
        calls.add(("held", now.held))
    if now.reading_due_s is not None and now.reading_due_s <= 0.0:
        calls.add(("reading", str(now.reading_number)))
    return frozenset(calls)
