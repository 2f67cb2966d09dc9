"""What people and the bench did in a run, out of its events: readings, stretches of the program, changes, entries."""

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, replace
from math import isnan
from typing import Any

from benchctl.assessment.trail import Change, Entry, Noted, Stretch, Trail
from benchctl.core.decision import Settings
from benchctl.core.legs import Leg, LegKind
from benchctl.core.readings import BY_NAME
from benchctl.files.bounded import from_json
from benchctl.record.fault import RecordFault
from benchctl.record.reader import Happened, Reader

SETTLED_S = 5.0  # after a sudden change, for the kW that it led to
KINDS = ("override", "taken over", "trip", "clock", "gap", "lost", "held", "unattended", "reading missed")
ENDS = ("trip", "unloaded", "done", "unattended")
OFF = ("unloaded", "trip")  # a trip takes all load off at once, and nothing tells of it a second time
REMARK = "remark "
COMMANDS = ("pause", "resume", "extend", "skip", "unload", "drop")


@dataclass(frozen=True, slots=True)
class Deeds:
    """All of it. operator: who took charge, in turn; unloaded_s, cool_s: since the begin, of the last time."""

    noted: tuple[Noted, ...]
    stretches: tuple[Stretch, ...]
    changes: tuple[Change, ...]
    entries: tuple[Entry, ...]
    operator: str
    unloaded_s: float | None
    cool_s: float | None


def deeds(reader: Reader, settings: Settings, begun_s: float, trail: Trail) -> Deeds:
    """Read the events once. trail: with its columns. Raises RecordFault."""
    noted: dict[int, Noted] = {}
    replaced: list[Noted] = []
    entries: list[Entry] = []
    marks: list[tuple[float, Leg | None, str]] = []  # when a leg began, or (None) the program ended
    operator, unloaded_s, cool_s = "", None, None
    for event in reader.events():
        at_s = event.now_s - begun_s
        data = _data(reader, event)
        if event.kind == "reading":
            _note(noted, replaced, event, at_s, data)
        elif event.kind == "segment" and isinstance(data.get("leg"), int) and data["leg"] < len(settings.legs):
            marks.append((at_s, settings.legs[data["leg"]], ""))
        elif event.kind == "command":
            operator = _after(operator, _command(event, at_s, entries, marks))
        elif event.kind in KINDS:
            entries.append(Entry(at_s, event.kind, event.text, event.who, tuple(data.items())))
        if event.kind in ENDS or (event.kind == "program" and event.text.endswith("through")):
            marks.append((at_s, None, event.kind))
        unloaded_s = at_s if event.kind in OFF or _dropped(event) else unloaded_s
        cool_s = at_s if event.kind == "done" else cool_s
    stretches, changes = _laid(marks, trail)
    all_noted = sorted((*noted.values(), *replaced), key=lambda one: (one.at_s, one.number))
    return Deeds(tuple(all_noted), stretches, changes, tuple(entries), operator, unloaded_s, cool_s)


def numbers(reader: Reader) -> tuple[int, ...]:
    """The numbers of the readings that a record has. Raises RecordFault."""
    found = [_data(reader, e).get("number") for e in reader.events() if e.kind == "reading"]
    return tuple(sorted({number for number in found if isinstance(number, int)}))


def _dropped(event: Happened) -> bool:
    return event.kind == "command" and event.text.split(" ", 1)[0] == "drop"


def _data(reader: Reader, event: Happened) -> dict[str, Any]:
    try:
        return dict(from_json(event.data)) if event.data else {}
    except (ValueError, TypeError) as fault:
        raise RecordFault(f"{reader.path}: event {event.n}: its data are damaged: {fault}") from None


def _note(noted: dict[int, Noted], replaced: list[Noted], event: Happened, at_s: float, data: dict[str, Any]) -> None:
    """A reading at the time when it was taken; a correction takes over, and the first entry stays legible."""
    number = int(data.get("number", 0))
    values = tuple((name, float(value)) for name, value in data.items() if name in BY_NAME)
    before = noted.get(number)
    taken_s = data.get("taken_s")
    if taken_s is not None:
        at_s -= float(taken_s)
    elif before is not None:
        at_s = before.at_s
    if before is not None:
        replaced.append(replace(before, corrected=True))
        values = tuple({**dict(before.values), **dict(values)}.items())
    noted[number] = Noted(at_s, number, values, event.who)


def _command(event: Happened, at_s: float, entries: list[Entry], marks: list[tuple[float, Leg | None, str]]) -> str:
    """Remarks and orders that move load; returns who took charge."""
    if event.text.startswith(REMARK):
        entries.append(Entry(at_s, "remark", event.text.removeprefix(REMARK), event.who))
    word = event.text.split(" ", 1)[0]
    if word in COMMANDS:
        entries.append(Entry(at_s, word, event.text, event.who))
    if word in ("unload", "drop"):
        marks.append((at_s, None, word))
    return event.who if event.text.startswith(("take charge", "take over")) else ""


def _after(before: str, who: str) -> str:
    """Those who had charge, in the order in which each first took it."""
    return before if who in before.split(", ") else ", ".join(filter(None, (before, who)))


def _laid(marks: list[tuple[float, Leg | None, str]], trail: Trail) -> tuple[tuple[Stretch, ...], tuple[Change, ...]]:
    stretches: list[Stretch] = []
    changes: list[Change] = []
    target_kw: float | None = None
    last_s = trail.t_s[-1] if trail.t_s else 0.0
    for k, (at_s, leg, why) in enumerate(marks):
        next_s = marks[k + 1][0] if k + 1 < len(marks) else last_s
        if leg is None:
            if why == "drop":
                changes.append(_change(trail, at_s, next_s, "drop"))
            continue
        target_kw = target_kw if leg.to_kw is None else leg.to_kw
        stretches.append(Stretch(at_s, next_s, leg.segment, leg.kind.value, leg.label, target_kw))
        sudden = leg.kind in (LegKind.BLOCK, LegKind.DROP) or (leg.kind is LegKind.RAMP and leg.length_s == 0.0)
        if sudden:
            changes.append(_change(trail, at_s, _beyond(marks, k, last_s), leg.label or leg.kind.value))
    return tuple(stretches), tuple(changes)


def _beyond(marks: list[tuple[float, Leg | None, str]], k: int, last_s: float) -> float:
    """When the next thing after a sudden change begins; one that begins in the same scan is its hold."""
    return next((at_s for at_s, _, _ in marks[k + 1 :] if at_s > marks[k][0] + SETTLED_S), last_s)


def _change(trail: Trail, at_s: float, next_s: float, label: str) -> Change:
    return Change(at_s, _known(trail, at_s, before=True), _known(trail, min(at_s + SETTLED_S, next_s)), label)


def _known(trail: Trail, at_s: float, *, before: bool = False) -> float:
    """kW of the last known sample up to a time, or of the first known one from it on; NaN where there is none."""
    if before:
        known = range(bisect_right(trail.t_s, at_s) - 1, -1, -1)
    else:
        known = range(bisect_left(trail.t_s, at_s), len(trail.t_s))
    return next((trail.power_kw[k] for k in known if not isnan(trail.power_kw[k])), float("nan"))
