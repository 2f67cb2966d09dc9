"""What follows from alarms: putting one aside, ending what a trip has latched."""

from typing import TYPE_CHECKING

from benchctl.core.causes import BY_KEY
from benchctl.core.shelving import LONGEST_S
from benchctl.tui.form import Answer, Blank, Sheet, Values
from benchctl.tui.sheets.typed import flaw, needed, time_s
from benchctl.tui.view.alarms import at_cursor
from benchctl.tui.view.text import minutes

if TYPE_CHECKING:
    from benchctl.tui.app import Console

END = "end"


def shelve(console: "Console") -> Sheet | None:
    """Put the alarm under the cursor aside for a while, with a reason; or bring one back that is."""
    alarm = at_cursor(console.picture)
    if alarm is None:
        return None
    if alarm.row not in BY_KEY or not BY_KEY[alarm.row].shelve:
        why = "only alarms that do no more than tell are shelved, none of air, heat or absence"
        console.link.say(f"{alarm.text}: {why}", bad=True)
        return None

    async def done(console: "Console", values: Values) -> Answer:
        for_s = 0.0 if values["time"] == END else time_s(values["time"], "min")
        return await console.link.order("shelve", for_s, text=alarm.row, unit=alarm.unit, why=values["why"])

    words = [alarm.text, "Shelved, it asks for nobody until its time is over; it is watched as ever."]
    if alarm.shelved_s:
        words.append(f"{alarm.shelved_by} has shelved it for {minutes(alarm.shelved_s)} more: {alarm.shelved_why}")
    reason = Blank("why", "Reason", alarm.shelved_why, "stands in the record", needed("give a reason"))
    time = Blank("time", "For how long (end: bring it back)", "30 min", "minutes", _time)
    return Sheet("Shelve an alarm", tuple(words), (reason, time), done=done, enter="Enter: shelve")


def _time(text: str) -> str:
    if text == END:
        return ""
    said = flaw(lambda typed: time_s(typed, "min"))(text)
    if said or time_s(text, "min") <= LONGEST_S:
        return said
    return f"at most {LONGEST_S / 3600.0:g} h: then it is looked at again"


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
