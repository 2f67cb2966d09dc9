"""What only a person can tell the record: readings at the set, and remarks."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from benchctl.core.readings import BY_NAME, GAUGES, Gauge
from benchctl.tui.form import Answer, Blank, Pick, Sheet, Values
from benchctl.tui.sheets.typed import figure, flaw, needed, time_s
from benchctl.tui.view.text import minutes

if TYPE_CHECKING:
    from benchctl.tui.app import Console


def remark(console: "Console") -> Sheet | None:
    """Words for the record."""

    async def done(console: "Console", values: Values) -> Answer:
        return await console.link.order("remark", text=values["text"])

    blank = Blank("text", "Remark", "", "what you have seen or done", needed("nothing is written yet"))
    return Sheet("Remark", (), (blank,), done=done, enter="Enter: into the record")


def reading(console: "Console") -> Sheet | None:
    """What the program asks to be read; where it asks for nothing, a gauge is picked first."""
    now = console.picture.now
    if now is None:
        return None
    asked = [BY_NAME[name] for name in now.readings if name in BY_NAME]
    if asked:
        return _reading(console, asked)

    async def chosen(console: "Console", values: Values) -> Answer:
        return _reading(console, [BY_NAME[values["pick"]]])

    picks = tuple(Pick(g.name, g.text, f"in {g.unit}") for g in GAUGES)
    return Sheet("Reading", ("No program asks for one. What have you read?",), (), picks, chosen, "Enter: choose")


def last_values(console: "Console") -> dict[str, float]:
    """The newest typed value of each gauge that this console has heard of."""
    found: dict[str, float] = {}
    for told in console.picture.story.events:
        if told.what == "reading":
            found |= {name: value for name, value in told.data if name in BY_NAME and isinstance(value, float | int)}
    return found


def _reading(console: "Console", gauges: list[Gauge]) -> Sheet:
    last = last_values(console)

    async def done(console: "Console", values: Values) -> Answer:
        read = {g.name: figure(values[g.name]) for g in gauges if values[g.name]}
        if not read:
            return "nothing is typed in yet"
        ago_s = time_s(values["ago"], "min") if values["ago"] else 0.0
        text = "; ".join(f"{name}={_plain(value)}" for name, value in read.items())
        return await console.link.order("reading", ago_s, text=text)

    shown = {g.name: f"{last[g.name]:.{g.decimals}f}" for g in gauges if g.name in last}
    hints = {g.name: f"{g.low:g} to {g.high:g}; empty: not read" for g in gauges}
    blanks = [Blank(g.name, f"{g.text}, {g.unit}", shown.get(g.name, ""), hints[g.name], within(g)) for g in gauges]
    ago = Blank("ago", "Taken how long ago", "", "empty: now; or 2 min", lambda text: long_ago(text) if text else "")
    words = ("Values of the last reading stand there: type over each of them, or empty it.",) if shown else ()
    return Sheet("Reading", words, (*blanks, ago), done=done, enter="Enter: next, then record", live=_due)


def taken(console: "Console") -> dict[int, tuple[str, dict[str, float]]]:
    """The readings of the run in hand that this console has heard of: number -> time of day, values as corrected.

    Their numbers begin anew with each start.
    """
    found: dict[int, tuple[str, dict[str, float]]] = {}
    for told in console.picture.story.events:
        data = dict(told.data)
        number = data.get("number")
        if told.what != "reading" or not isinstance(number, int):
            continue
        values = {n: float(v) for n, v in data.items() if n in BY_NAME and isinstance(v, float | int)}
        if not data.get("correction"):
            found = {n: kept for n, kept in found.items() if n < number}
            found[number] = told.clock, values
        elif number in found:
            found[number] = found[number][0], found[number][1] | values
    return found


def correct(console: "Console") -> Sheet | None:
    """Correct a reading: the newest stands first. What was typed before stays legible in the record."""
    found = taken(console)
    if not found:
        console.link.say("no reading has been taken that could be corrected: v types one in", bad=True)
        return None

    async def chosen(console: "Console", values: Values) -> Answer:
        return _correction(int(values["pick"]), *found[int(values["pick"])])

    picks = tuple(
        Pick(str(number), f"reading {number}, {clock}", _said(values))
        for number, (clock, values) in sorted(found.items())
    )[::-1]
    return Sheet("Correct a reading", ("Which one?",), (), picks, chosen, "Enter: choose")


def _said(values: dict[str, float]) -> str:
    return ", ".join(f"{BY_NAME[n].text} {v:.{BY_NAME[n].decimals}f} {BY_NAME[n].unit}" for n, v in values.items())


def _correction(number: int, clock: str, before: dict[str, float]) -> Sheet:
    """Its values, to be typed over."""
    gauges = [BY_NAME[name] for name in before]

    async def done(console: "Console", values: Values) -> Answer:
        emptied = [g.text for g in gauges if not values[g.name]]
        if emptied:
            return f"{emptied[0]}: a reading cannot be taken back, only corrected"
        read = {g.name: figure(values[g.name]) for g in gauges}
        changed = {n: v for n, v in read.items() if values[n] != shown[n]}
        if not changed and not values["ago"]:
            return "nothing is changed"
        text = "; ".join(f"{name}={_plain(value)}" for name, value in (changed or before).items())
        ago_s = time_s(values["ago"], "min") if values["ago"] else None
        return await console.link.order("reading", ago_s, text=f"correct {number}: {text}")

    shown = {g.name: f"{before[g.name]:.{g.decimals}f}" for g in gauges}
    blanks = [
        Blank(g.name, f"{g.text}, {g.unit}", shown[g.name], f"{g.low:g} to {g.high:g}", within(g)) for g in gauges
    ]
    ago = Blank("ago", "Taken how long ago", "", "empty: its time stays", lambda text: long_ago(text) if text else "")
    words = (f"Typed in at {clock}. Type over what is wrong; what was typed first stays legible in the record.",)
    return Sheet(f"Correct reading {number}", words, (*blanks, ago), done=done, enter="Enter: next, then record")


def within(gauge: Gauge) -> Callable[[str], str]:
    """A field's check: empty, or what such a gauge can show."""

    def check(text: str) -> str:
        if not text:
            return ""
        said = flaw(figure)(text)
        if said or gauge.low <= figure(text) <= gauge.high:
            return said
        return f"found {text!r}, expected {gauge.low:g} to {gauge.high:g} {gauge.unit}"

    return check


long_ago = flaw(lambda text: time_s(text, "min"))


def _plain(value: float) -> str:
    """Without an exponent."""
    return f"{value:.6f}".rstrip("0").rstrip(".")


def _due(console: "Console") -> str:
    """Which reading it is, and the time until it is due, or since."""
    now = console.picture.now
    if now is None or console.picture.old:
        return "The picture is not live."
    number = f"Reading {max(1, now.reading_number)}"
    if now.reading_due_s is None:
        return f"{number}: none is due."
    if now.reading_due_s > 0.0:
        return f"{number}: due in {minutes(now.reading_due_s)}."
    return f"{number}: DUE since {minutes(-now.reading_due_s)}."
