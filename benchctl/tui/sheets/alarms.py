"""What follows from alarms: putting one aside, ending what a trip has latched."""

from typing import TYPE_CHECKING

from benchctl.core.causes import BY_KEY
from benchctl.tui.form import Answer, Blank, Sheet, Values
from benchctl.tui.sheets.typed import flaw, needed, time_s
from benchctl.tui.view.alarms import at_cursor

if TYPE_CHECKING:
    from benchctl.tui.app import Console

LONGEST_S = 8 * 3600.0  # a shift; then it is looked at again
# Causes about air and heat: resistors without air burn, so nobody may put these aside.
NEVER_SHELVED = ("air", "fan", "exhaust", "temperature", "hot", "cool", "inlet")


def may_be_shelved(row: str) -> bool:
    """Whether an alarm may be put aside: never one about airflow or temperature, nor one of a unit's own."""
    return row in BY_KEY and not any(word in row for word in NEVER_SHELVED)


def shelve(console: "Console") -> Sheet | None:
    """Put the alarm under the cursor aside for a while, with a reason."""
    alarm = at_cursor(console.picture)
    if alarm is None:
        return None
    if not may_be_shelved(alarm.row):
        console.link.say(f"{alarm.text}: alarms about airflow and temperature are never shelved", bad=True)
        return None

    async def done(console: "Console", values: Values) -> Answer:
        for_s = time_s(values["time"], "min")
        return await console.link.order("shelve", for_s, text=alarm.row, unit=alarm.unit, why=values["why"])

    def check(text: str) -> str:
        said = flaw(lambda t: time_s(t, "min"))(text)
        return said or ("" if time_s(text, "min") <= LONGEST_S else "at most 8 h: then it is looked at again")

    words = (alarm.text, "Shelved, it no longer asks for anybody. What it does to the load stays in force.")
    blanks = (
        Blank("why", "Reason", "", "stands in the record", needed("give a reason")),
        Blank("time", "For how long", "30 min", "minutes", check),
    )
    return Sheet("Shelve an alarm", words, blanks, done=done, enter="Enter: shelve")


def reset(console: "Console") -> Sheet | None:
    """End what a trip has latched; says what was first out."""
    now = console.picture.now
    if now is None:
        return None

    async def done(console: "Console", values: Values) -> Answer:
        return await console.link.order("reset")

    first = [f"First out: {a.text}" for a in now.alarms if a.first_out][:3]
    if now.trip is not None:
        at = f" in segment {now.trip.segment}" if now.program else ""
        first.insert(0, f"Tripped{at}: {now.trip.text}")
    stays = [f"Still there: {a.text}" for a in now.alarms if a.active and a.latched][:4]
    help_text = BY_KEY[now.trip.row].help if now.trip is not None and now.trip.row in BY_KEY else ""
    says = "Ends the latch of trips and alarms. Starts nothing: no load comes back by itself."
    words = tuple(filter(None, (*dict.fromkeys(first), help_text, *stays, says)))
    return Sheet("Reset", words, done=done, enter="Enter: reset")
