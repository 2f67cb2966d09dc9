"""The second observer: whether the orders of a scan are what the causes so far ask for.

A cause counts once it has been read in as many scans without a break as its delay is long (in the first of them it has
lasted no time yet); a scan in which it cannot be known breaks it here.

| reaction | what the orders must be from that scan on                                                           |
|----------|------------------------------------------------------------------------------------------------------|
| drop     | nothing stays closed anywhere; nothing closes until a reset                                             |
| unload   | nothing closes until a reset; all is off within UNLOADED scans                                          |
| off      | nothing of that unit stays closed; with `latch` it closes nothing until a reset                           |
| hold     | nothing closes anywhere until a person has asked for something; so when every unit is off               |

And the reverse: as long as nothing at all has been wrong, no load goes off that nobody has asked to take off.
"""

import math
from dataclasses import dataclass, replace

from benchctl.core.command import Verb
from benchctl.core.inputs import Inputs
from benchctl.core.levels import lowers
from benchctl.core.orders import Orders, Write
from benchctl.core.reading import Electrical, UnitReading
from benchctl.core.site import Site
from tests.explore.causes import GAP_S, ROWS, Kept, Look, Row
from tests.laws.observer import Memory

UNLOADED = 6  # scans: four steps of a quarter of the nameplate, read back, and one to spare
ASKS = (Verb.SET_LOAD, Verb.SWITCH, Verb.RESUME, Verb.ANSWER, Verb.START, Verb.ADOPT, Verb.SKIP)
TAKES_OFF = (*ASKS, Verb.UNLOAD, Verb.DROP, Verb.PAUSE, Verb.JOIN, Verb.RESET)
HARMLESS = (Verb.SET_LOAD, Verb.SWITCH, Verb.TAKE_CHARGE, Verb.CHECK_IN)  # all that leaves a session calm
SETTLED = 3  # scans without such a command


@dataclass(frozen=True, slots=True)
class Noticed:
    """What is remembered of the bench. counts: scans in a row, of each cause and subject, as far as they matter."""

    units: tuple[Kept, ...]
    counts: tuple[int, ...] = ()
    dropped: bool = False
    unloading: int = 0  # scans since an unload had to begin; 0 = none had to
    held: bool = False
    none: bool = False  # every unit was to be off in the scan before
    calm: bool = True
    quiet: int = 0  # scans since the last command that may take load off, up to SETTLED
    block_s: float = 0.0  # rest of the window after a closing
    unsure_s: float = 0.0  # ... after an opening, which may have been large enough for a window of its own


def first_noticed(site: Site) -> Noticed:
    """Nothing known yet."""
    return Noticed(tuple(Kept() for _ in site.units), (0,) * (len(ROWS) * len(site.units)))


def scans_of(row: Row, site: Site, dt_s: float) -> int:
    """In how many scans without a break a cause must have been read until its reaction must show."""
    if row.delay == "follow_s":  # longer than the contactor needs
        return math.floor(max(u.profile.follow_s for u in site.units) / dt_s) + 1
    return 1 + math.ceil((getattr(site.limits, row.delay) if row.delay else 0.0) / dt_s)


def notice(
    noticed: Noticed, memory: Memory, inputs: Inputs, orders: Orders, site: Site, dt_s: float, *, alarmed: bool = False
) -> tuple[Noticed, list[str]]:
    """What is remembered after a scan, and the laws that its orders break.

    memory: the observer's, before the scan. alarmed: an alarm of one of the causes is active after it.
    """
    verbs = [c.verb for c in inputs.commands if c.age_s <= 2.0 or c.verb in (Verb.DROP, Verb.UNLOAD)]
    counts, due = _count(noticed, memory, inputs, site, dt_s)
    reset, asked = Verb.RESET in verbs, any(v in ASKS for v in verbs)
    reactions = {(row.reaction, i) for row, i in due}
    dropped = (noticed.dropped and not reset) or any(kind == "drop" for kind, _ in reactions)
    unloading = 0 if reset else min(noticed.unloading + (noticed.unloading > 0), UNLOADED)
    if any(kind == "unload" for kind, _ in reactions):
        unloading = max(1, unloading)
    rising = any(
        row.reaction == "hold" and noticed.counts[_place(row, i, site)] < scans_of(row, site, dt_s) for row, i in due
    )
    takes_off = any(v in TAKES_OFF for v in verbs)
    stranger = any(r.load and not w.joined for r, w in zip(inputs.units, memory.units, strict=True))
    calm = noticed.calm and not stranger and _calm(inputs, counts) and all(v in HARMLESS for v in verbs)
    after = replace(
        noticed, counts=counts, dropped=dropped, unloading=unloading, calm=calm,
        quiet=0 if takes_off else min(noticed.quiet + 1, SETTLED),
    )  # fmt: skip
    off = [
        (k.off and not reset) or any(row.reaction == "off" and row.latch and at == i for row, at in due)
        for i, k in enumerate(noticed.units)
    ]
    offs = [off[i] or ("off", i) in reactions for i in range(len(off))]
    none = all(offs)
    after = replace(after, none=none, held=(noticed.held or rising or (none and not noticed.none)) and not asked)
    broken = _broken(after, noticed, memory, inputs, orders, site, offs)
    if calm and alarmed:
        broken.append("calm: an interlock acts though nothing is wrong")
    return _after(after, inputs, orders, site, off, dt_s), broken


def _place(row: Row, unit: int, site: Site) -> int:
    return ROWS.index(row) * len(site.units) + unit


def _count(
    noticed: Noticed, memory: Memory, inputs: Inputs, site: Site, dt_s: float
) -> tuple[tuple[int, ...], list[tuple[Row, int]]]:
    """In how many scans each cause has been read without a break, and those that must act by now."""
    meter = inputs.instruments[0]
    source = meter.electrical if meter.outcome.tells else Electrical()
    told = [r.outcome.tells and r.load is not None for r in inputs.units]
    loaded = any(t and r.load for t, r in zip(told, inputs.units, strict=True))
    gone_s = _gone_s(inputs)
    block = None if noticed.unsure_s > gone_s else noticed.block_s > gone_s
    counts: list[int] = []
    due: list[tuple[Row, int]] = []
    looks = [
        Look(site, inputs, source, loaded, block, unit, reading, reading.load or 0, kept, watched, writes.closing)
        for unit, reading, kept, watched, writes in zip(
            site.units, inputs.units, noticed.units, memory.units, inputs.writes, strict=True
        )
    ]
    place = 0
    for row in ROWS:
        needed = scans_of(row, site, dt_s)
        for i, look in enumerate(looks):
            known = told[i] and memory.units[i].heard if row.per_unit else i == 0
            there = known and (inputs.dt_s <= dt_s or not row.delay) and row.cause(look)
            counts.append(min(noticed.counts[place] + 1, needed) if there else 0)
            if counts[-1] >= needed:
                due.append((row, i))
            place += 1
    return tuple(counts), due


def _calm(inputs: Inputs, counts: tuple[int, ...]) -> bool:
    """Nothing at all is wrong: everything answers as it should, nothing is late, and nobody is missing."""
    well = all(
        r.outcome.tells and r.remote is True and r.airflow is r.fan_on and r.load is not None
        and r.exhaust_c is not None and r.exhaust_c < 60.0 and r.identity_ok is True and r.serial == "S"
        for r in inputs.units
    )  # fmt: skip
    meter = inputs.instruments[0]
    e = meter.electrical
    well = well and meter.outcome.tells and e.volts_ll == (400.0,) * 3 and e.hertz == 50.0
    ended = all(w.closing in (Write.NONE, Write.DONE) for w in inputs.writes)
    return well and ended and not any(counts) and inputs.attached is None and inputs.dt_s <= 2.0


def _broken(
    after: Noticed, before: Noticed, memory: Memory, inputs: Inputs, orders: Orders, site: Site, offs: list[bool]
) -> list[str]:
    """The laws that the orders break."""
    said = []
    if not memory.there.charge:  # who has not taken charge writes nothing, unless all is to be off
        if _nobodys(memory, inputs) and any(not o.silent for o in orders.units):
            said.append("react: written to before anybody has taken charge")
        return said
    for i, (o, unit) in enumerate(zip(orders.units, site.units, strict=True)):
        closed = o.keep or o.raise_to is not None
        found = memory.units[i].found
        if after.dropped and closed:
            said.append(f"react: load is kept on in a drop ({unit.name})")
        if after.unloading and o.raise_to is not None:
            said.append(f"react: a closing in an unload ({unit.name})")
        if after.unloading >= UNLOADED and closed and not o.silent and not found:
            said.append(f"react: an unload that does not end ({unit.name})")
        if offs[i] and closed and not o.silent:
            said.append(f"react: load stays on in a unit that is to be off ({unit.name})")
        if after.held and o.raise_to is not None:
            said.append(f"react: a closing before anybody answered ({unit.name})")
        r = inputs.units[i]
        more = r.outcome.tells and r.load is not None and r.load != o.keep and not lowers(unit.profile, r.load, o.keep)
        if more and memory.units[i].joined and not o.silent and not o.lower:
            said.append(f"react: more is on than ordered, and no opening is written ({unit.name})")
        wanted = before.units[i].wanted
        if after.calm and after.quiet >= SETTLED and o.keep & wanted != wanted and unit.profile.stages:
            said.append(f"calm: load goes off though nothing is wrong and nobody asked ({unit.name})")
    return said


def _nobodys(memory: Memory, inputs: Inputs) -> bool:
    """Nobody has charge, takes it, or has load taken off; and no load found on waits for a decision."""
    takes = (Verb.TAKE_CHARGE, Verb.TAKE_OVER, Verb.UNLOAD, Verb.ANSWER, Verb.DROP)
    return not memory.dropped and memory.there.found_s is None and not any(c.verb in takes for c in inputs.commands)


def _after(after: Noticed, inputs: Inputs, orders: Orders, site: Site, off: list[bool], dt_s: float) -> Noticed:
    """What the orders of this scan leave behind."""
    units, moved = [], False
    closing = any(o.raise_to is not None for o in orders.units)
    exchanged = {c.unit for c in inputs.commands if c.verb is Verb.JOIN and c.why}
    for i, (k, r, o, is_off) in enumerate(zip(after.units, inputs.units, orders.units, off, strict=True)):
        wanted = o.keep if o.raise_to is None else o.raise_to
        moved = moved or wanted != k.wanted
        tells = r.outcome.tells
        units.append(
            Kept(
                wanted,
                o.raise_to,
                min(k.fan_scans + 1, 2) if o.fan is True else 0,
                _known_as(k.serial, r, exchanged=i in exchanged) if tells else k.serial,
                (r.uptime_s or 0.0) if tells else k.uptime_s,
                is_off,
            )
        )
    window_s = site.limits.block_window_s
    gone_s = _gone_s(inputs)
    return replace(
        after,
        units=tuple(units),
        block_s=window_s if closing else max(0.0, after.block_s - gone_s),
        unsure_s=0.0 if closing else window_s if moved else max(0.0, after.unsure_s - gone_s),
    )


def _known_as(serial: str, reading: UnitReading, *, exchanged: bool) -> str:
    """The serial number that a unit is known by."""
    return reading.serial or serial if exchanged or not serial else serial


def _gone_s(inputs: Inputs) -> float:
    """By how much the window after a block is over with this scan; a hole in time is none of it."""
    return 0.0 if inputs.dt_s > GAP_S else min(inputs.dt_s, 2.0)
