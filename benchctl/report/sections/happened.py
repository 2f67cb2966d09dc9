"""What happened: alarms first-out first, overrides with reasons, holes in time, remarks, checks, cool-down."""

from itertools import pairwise
from math import isnan

from benchctl.assessment.trail import Hole
from benchctl.report.dossier import NO_LOAD_PERCENT, Dossier
from benchctl.report.measures import MISSING, clock, number
from benchctl.report.parts import Block, Bullets, Column, Para, Section, Table
from benchctl.report.recorded import Told
from benchctl.report.words import say

MOST = 200


def events(dossier: Dossier) -> Section:
    """The section."""
    return Section(
        say("events"),
        (
            *_alarms(dossier),
            *_left_out(dossier),
            *_overrides(dossier),
            *_interruptions(dossier),
            *_remarks(dossier),
            *_checks(dossier),
        ),
    )


def _left_out(dossier: Dossier) -> tuple[Block, ...]:
    """How much happened that has no room here: nothing is left out in silence."""
    count = max(0, len(dossier.run.of("alarm", "trip")) - MOST) + dossier.run.more_events
    return (Para(say("more events", count=count), "warning"),) if count else ()


def _alarms(dossier: Dossier) -> tuple[Block, ...]:
    found = dossier.run.of("alarm", "trip")[:MOST]
    if not found:
        return (Para(say("no alarms")),)
    columns = (
        Column(say("order"), "right"),
        Column(say("time")),
        Column(say("elapsed"), "right"),
        Column(say("what"), share=1.0),
        Column(say("lasted"), "right"),
    )
    first_s = _first_s(dossier)
    rows, order, before_s = [], 0, None
    for event in found:
        if event.at_s != before_s:
            order, before_s = order + 1, event.at_s
        what = say("tripped", text=event.text) if event.kind == "trip" else event.text
        what = f"{what} ({say('first out')})" if event.at_s == first_s else what
        rows.append((str(order), dossier.time(event.at_s), clock(event.at_s), what, _lasted(dossier, event)))
    note = say("alarms note") if first_s is None else f"{say('alarms note')} {say('first out note')}"
    return Table(columns, tuple(rows), say("alarms")), Para(note, "note")


def _first_s(dossier: Dossier) -> float | None:
    """When the first came of all that stood when the first trip came; None without a trip."""
    standing: dict[tuple[str, object], float] = {}
    for event in dossier.run.of("alarm", "returned to normal", "trip"):
        if event.kind == "trip":
            return min(standing.values(), default=event.at_s)
        key = event.unit, event.get("row")
        if event.kind == "alarm":
            standing.setdefault(key, event.at_s)
        else:
            standing.pop(key, None)
    return None


def _lasted(dossier: Dossier, alarm: Told) -> str:
    if alarm.kind == "trip":
        return MISSING
    row = alarm.get("row")
    for event in dossier.run.of("returned to normal"):
        if event.at_s >= alarm.at_s and event.unit == alarm.unit and event.get("row") == row:
            return clock(event.at_s - alarm.at_s)
    return say("stood")


def _overrides(dossier: Dossier) -> tuple[Block, ...]:
    made = [e for e in dossier.run.of("command") if e.text.startswith(("override", "shelve"))]
    if not made:
        return (Para(say("no overrides")),)
    columns = (Column(say("time")), Column(say("who")), Column(f"{say('what')}, {say('why')}", share=1.0))
    rows = tuple((dossier.time(e.at_s), e.who, f"{e.unit + ': ' if e.unit else ''}{e.text}") for e in made)
    return (Table(columns, rows, say("overrides")),)


def _interruptions(dossier: Dossier) -> tuple[Block, ...]:
    items = [_stretch(dossier, h) for h in (*dossier.trail.holes, *unknown(dossier), *dossier.trail.doubts)]
    items += _told(dossier, "clock", "gap", "held")
    items += list(dossier.run.gaps)
    if not items:
        return (Para(say("no interruptions")),)
    return (Para(say("interruptions"), "lead"), Bullets(tuple(items[:MOST])))


def unknown(dossier: Dossier) -> list[Hole]:
    """Times within the record in which the source's kW are not known: from the last known sample to the next one."""
    t_s, power_kw, holes = dossier.trail.t_s, dossier.trail.power_kw, dossier.trail.holes
    known = [k for k, kw in enumerate(power_kw) if not isnan(kw)]
    if not known:
        return [Hole(t_s[0], t_s[-1], say("kW not known"))] if len(t_s) else []
    found = [Hole(t_s[a], t_s[b], say("kW not known")) for a, b in pairwise(known) if b > a + 1]
    if known[-1] < len(t_s) - 1:
        found.append(Hole(t_s[known[-1]], t_s[-1], say("kW not known")))
    return [f for f in found if not any(h.from_s <= f.from_s and f.to_s <= h.to_s for h in holes)]


def _stretch(dossier: Dossier, h: Hole) -> str:
    length = clock(h.to_s - h.from_s)
    return say("from to", begin=dossier.time(h.from_s), end=dossier.time(h.to_s), length=length, why=h.why)


def _told(dossier: Dossier, *kinds: str) -> list[str]:
    return [say("told at", when=dossier.time(e.at_s), text=e.text) for e in dossier.run.of(*kinds)]


def _remarks(dossier: Dossier) -> tuple[Block, ...]:
    by_people = (e for e in dossier.trail.entries if e.who and e.what != "override")
    items = [say("reported", when=dossier.time(e.at_s), who=e.who, text=e.text) for e in by_people]
    return (Para(say("remarks"), "lead"), Bullets(tuple(items[:MOST]))) if items else ()


def _checks(dossier: Dossier) -> tuple[Block, ...]:
    items = _told(dossier, "check")
    if not items:
        return (Para(say("no checks")),)
    return (Para(say("checks"), "lead"), Bullets(tuple(items[:MOST])))


def cool_down(dossier: Dossier) -> Section:
    """Units: from the end of the load to the end of the debt. Source: how long it ran without load."""
    off = next((e.at_s for e in reversed(dossier.run.of("unloaded"))), None)
    cool = next((e.at_s for e in reversed(dossier.run.of("done"))), None)
    ordered = next((e.at_s for e in reversed(dossier.run.events) if _ordered_off(e)), None)
    if off is None and ordered is not None:
        dropped = say("cool-down dropped", off=clock(ordered), off_clock=dossier.time(ordered))
        said = " ".join((dropped, *_gone(dossier, ordered)))
    elif off is None:
        said = say("cool-down none")
    elif cool is None or cool < off:
        said = say("cool-down open", off=clock(off), off_clock=dossier.time(off))
    else:
        said = say(
            "cool-down text", off=clock(off), off_clock=dossier.time(off), cool=clock(cool),
            cool_clock=dossier.time(cool), length=clock(cool - off),
        )  # fmt: skip
    return Section(say("cool-down"), (Para(said), Para(_rest(dossier))))


def _gone(dossier: Dossier, ordered_s: float) -> list[str]:
    """When the meters saw the last of the load go, and how long the units' cool-down took."""
    run = dossier.run
    limit_kw = run.site.nameplate.power_kw * NO_LOAD_PERCENT / 100.0
    gone = next((t for t, kw in zip(run.t_s, run.delivered_kw, strict=True) if t >= ordered_s and kw <= limit_kw), None)
    told = [] if gone is None else [say("cool-down off", gone=clock(gone), gone_clock=dossier.time(gone))]
    took_s = run.totals.get("cool_down_s")
    return [*told, say("cool-down took", length=clock(took_s))] if isinstance(took_s, int | float) and took_s else told


def _ordered_off(event: Told) -> bool:
    return event.kind == "trip" or (event.kind == "command" and event.text.startswith("drop"))


def _rest(dossier: Dossier) -> str:
    """The unbroken time at the end for which the source turned, told its hertz, and carried next to nothing."""
    trail = dossier.trail
    i = len(trail.t_s) - 1
    limit_kw = dossier.run.site.nameplate.power_kw * NO_LOAD_PERCENT / 100.0
    while i >= 0 and trail.power_kw[i] <= limit_kw and trail.hertz[i] > 0.0:
        i -= 1
    length_s = trail.t_s[-1] - trail.t_s[min(i + 1, len(trail.t_s) - 1)] if len(trail.t_s) else 0.0
    if length_s <= 0.0:
        return say("source rest none")
    return say("source rest", percent=number(NO_LOAD_PERCENT, 0), length=clock(length_s))
