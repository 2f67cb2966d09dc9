"""Watches inputs and orders, and nothing else, and says which law of the bench a scan breaks.

It knows the nouns (site, reading, orders) and none of the rungs. Its memory is a frozen value with saturating times,
so that an exploration can hash it beside the state. It is a little more lenient than the rungs where a law leaves
them room (fan starts one after the other), never stricter than a law.

The laws are the project's own, ranked; their numbers stand in every message: 1 drop, 2 closing conditions, 3 hot means
fan, 4 limits, 5 nothing comes back by itself, 6 time, 7 missing is not zero, 8 same inputs, same decision.
"""

from dataclasses import dataclass, replace

from benchctl.core.command import Command, Verb
from benchctl.core.inputs import Inputs
from benchctl.core.levels import join, lowers, meet
from benchctl.core.orders import Orders, UnitOrders, Write
from benchctl.core.reading import UnitReading
from benchctl.core.site import Site, Unit
from tests.laws.rules import Watched, drop_laws, fan_wait_s, limit_laws, unit_laws
from tests.laws.there import NOBODY_YET, There, decided, found_laws, there_laws, waited, well

STUCK_S = 30.0
FRESH_ASKS = (
    Verb.SET_LOAD,
    Verb.RESUME,
    Verb.ANSWER,
    Verb.JOIN,
    Verb.START,
    Verb.RESET,
    Verb.TAKE_CHARGE,
    Verb.SKIP,
    Verb.SWITCH,
)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of the bench."""

    units: tuple[Watched, ...]
    there: There = NOBODY_YET
    dropped: bool = False
    dropping: bool = False  # ... and no reset since can have been granted
    asked_kw: float = 0.0  # largest load by hand that was asked lately
    gap: bool = False  # a hole in time that nobody has answered


def first_memory(site: Site) -> Memory:
    """Nothing known: the whole cool-down is owed."""
    return Memory(
        tuple(Watched(owed_s=u.profile.cooldown.minimum_s, near_s=u.profile.cooldown.near_s) for u in site.units)
    )


def watch(memory: Memory, inputs: Inputs, orders: Orders, site: Site, gap_s: float = 2.0) -> tuple[Memory, list[str]]:
    """The memory after a scan, and the laws that the scan's orders break."""
    broken: list[str] = []
    verbs = [c.verb for c in inputs.commands if c.age_s <= 2.0 or c.verb is Verb.DROP]
    drop_now = Verb.DROP in verbs
    gap = inputs.dt_s > gap_s
    asked = any(v in FRESH_ASKS for v in verbs)
    dropped = drop_now or (memory.dropped and Verb.RESET not in verbs)
    ratios = _ratios(inputs, site)
    seen = [
        _see(w, inputs, i, unit, site, gap) for i, (w, unit) in enumerate(zip(memory.units, site.units, strict=True))
    ]
    seen, there = decided(seen, memory.there, inputs, site, dropped=dropped, gap=gap)
    seen = _commanded(seen, inputs, memory, site)
    there, charge = waited(there, inputs, seen, site, gap), there.charge
    empty = all(w.age_s >= site.limits.lost_s or not w.may for w in seen)
    dropping = drop_now or (memory.dropping and not (Verb.RESET in verbs and empty))
    pulled = any(r.emergency_stop is True for r in inputs.units if r.outcome.tells) or _needs_set(inputs)
    for i, (w, unit, reading, o) in enumerate(zip(seen, site.units, inputs.units, orders.units, strict=True)):
        said = unit_laws(w, unit, reading, o, site, ratios[i], charge)
        said += there_laws(there, w, o, site, inputs.dt_s)
        if not dropping:
            said += found_laws(w, there, o)
        if dropped or (pulled and charge):
            said += drop_laws(w, reading, o, drop_now)
        if o.raise_to is not None and (gap or (memory.gap and not asked)):
            said.append("6: a closing after a hole in time, before anybody answered")
        if o.raise_to is not None and w.lost_load and not asked:
            said.append("5: load comes back by itself where it went off or was changed")
        broken += [f"law {text} ({unit.name})" for text in said]
    if drop_now and not orders.urgent and any(not (r.outcome.tells and r.load == 0) for r in inputs.units):
        broken.append("law 1: a drop that is not urgent though a unit is not read back empty")
    broken += limit_laws(seen, inputs, orders, site, ratios)
    units = tuple(
        _after(w, o, unit, site, inputs.dt_s, charge) for w, o, unit in zip(seen, orders.units, site.units, strict=True)
    )
    return Memory(units, there, dropped, dropping, memory.asked_kw, (gap or memory.gap) and not asked), broken


def _needs_set(inputs: Inputs) -> bool:
    told = [r.site_needs_set for r in inputs.units if r.outcome.tells]
    return any([*told, *(r.site_needs_set for r in inputs.instruments)])


def tells(reading: UnitReading, unit: Unit) -> bool:
    """It answers and says what load it has."""
    return reading.outcome.tells and reading.load is not None and 0 <= reading.load <= unit.profile.full_load


def _ratios(inputs: Inputs, site: Site) -> list[float | None]:
    """Volts over rated of each unit in this scan, None where no meter tells line-to-line volts."""

    def volts(r: object) -> float | None:
        known = [v for v in r.electrical.volts_ll if v is not None]  # type: ignore[attr-defined]
        return sum(known) / len(known) if known else None

    source = next((volts(r) for r in inputs.instruments if r.outcome.tells), None)
    found = []
    for reading, unit in zip(inputs.units, site.units, strict=True):
        own = volts(reading) if reading.outcome.tells else None
        told = own if own is not None else source
        found.append(None if told is None else told / unit.profile.rated_v)
    return found


def _see(w: Watched, inputs: Inputs, i: int, unit: Unit, site: Site, gap: bool) -> Watched:
    """What this scan's reading of one unit tells."""
    reading, dt_s = inputs.units[i], inputs.dt_s
    closing = inputs.writes[i].closing if inputs.writes else Write.NONE
    profile = unit.profile
    if w.sent and closing is Write.NOT_SENT:
        w = replace(w, sent=0, sent_s=0.0, wanted=w.kept)
    if w.sent and closing is Write.REFUSED:
        w = replace(w, sent=0, sent_s=0.0, lost_load=True)
    if reading.outcome.tells:
        identified = w.identified if reading.identity_ok is None else reading.identity_ok
        w = replace(_air(w, reading, dt_s), identified=identified, local=reading.remote is False)
    if not tells(reading, unit):
        age_s = min(w.age_s + dt_s, site.limits.lost_s)
        lost = w.heard and age_s >= site.limits.lost_s
        terms = profile.cooldown
        owed = (terms.minimum_s, terms.near_s) if w.heard and age_s >= site.limits.stale_s else (w.owed_s, w.near_s)
        return replace(
            w,
            age_s=age_s,
            joined=w.joined and not lost,
            empty=w.empty and not lost,
            proven=w.proven and reading.outcome.tells,
            owed_s=owed[0],
            near_s=owed[1],
            sent_s=max(0.0, w.sent_s - dt_s),
        )
    found = reading.load != 0 and (w.found or not w.heard)
    w = replace(w, heard=True, age_s=0.0, found=found, well=not reading.load or well(w, reading, unit))
    if reading.load is not None:
        left_s = max(0.0, w.sent_s - dt_s)
        pending = w.sent if left_s > 0.0 and not lowers(profile, w.sent, reading.load) else 0
        changed = w.joined and not lowers(profile, reading.load, join(profile, w.may, w.sent))
        fell = w.joined and not pending and not lowers(profile, w.wanted, reading.load)
        w = replace(
            w,
            may=join(profile, reading.load, pending),
            sent=pending,
            sent_s=left_s if pending else 0.0,
            wanted=meet(profile, w.wanted, reading.load) if fell else w.wanted,
            empty=w.empty or reading.load == 0,
            lost_load=w.lost_load or changed or fell,
        )
    return _debt(w, reading, unit, 0.0 if gap else dt_s, site)


def _air(w: Watched, reading: UnitReading, dt_s: float) -> Watched:
    fan_off = reading.fan_on is False and not w.fan
    if reading.airflow is None:
        return replace(w, proven=False)
    if not reading.airflow:
        still = w.still or (not w.fan and reading.fan_on is not True)
        return replace(w, proven=False, windy_s=0.0, still=still)
    if fan_off:
        windy_s = min(w.windy_s + dt_s, STUCK_S)
        return replace(w, proven=False, windy_s=windy_s, still=w.still and windy_s < STUCK_S)
    return replace(w, proven=w.fan and reading.fan_on is not False and w.still)


def _debt(w: Watched, reading: UnitReading, unit: Unit, credit_s: float, site: Site) -> Watched:
    terms = unit.profile.cooldown
    if w.may:
        return replace(w, owed_s=terms.minimum_s, near_s=terms.near_s)
    if not (w.fan and reading.airflow is True and reading.load == 0):
        return w
    reference_c = reading.inlet_c if terms.reference == "inlet" else site.ambient_c
    known = reading.exhaust_c is not None and reference_c is not None
    near = terms.reference == "none" or (known and reading.exhaust_c <= reference_c + terms.margin_k)  # type: ignore[operator]
    near_s = max(0.0, w.near_s - credit_s) if near else terms.near_s
    if not near and not known:  # a sample that is missing earns nothing, and takes nothing away
        near_s = w.near_s
    owed_s = max(0.0, w.owed_s - credit_s)
    if w.owed_s == 0.0 and w.near_s == 0.0:
        return w  # paid: a warm exhaust alone makes no new debt
    return replace(w, owed_s=owed_s, near_s=near_s)


def _commanded(seen: list[Watched], inputs: Inputs, memory: Memory, site: Site) -> list[Watched]:
    """Commands that change what the observer expects of a unit; whether they were granted it cannot know."""
    for command in inputs.commands:
        if command.age_s > 2.0:
            continue
        seen = [_one(w, command, i, inputs.units[i], site) for i, w in enumerate(seen)]
    return [
        replace(w, withdrawn=w.withdrawn or (r.outcome.tells and r.emergency_stop is True))
        for w, r in zip(seen, inputs.units, strict=True)
    ]


def _one(w: Watched, command: Command, i: int, reading: UnitReading, site: Site) -> Watched:
    mine = command.unit == i
    match command.verb:
        case Verb.TAKE_CHARGE if w.heard and w.age_s < site.limits.lost_s and not w.found:
            return replace(w, joined=True)
        case Verb.JOIN if mine and reading.outcome.tells and reading.load == 0:
            return replace(w, joined=True, lost_load=False, wanted=0, empty=True)
        case Verb.OVERRIDE if mine and command.text == "cool-down" and command.why and reading.load == 0 and not w.may:
            return replace(w, owed_s=0.0, near_s=0.0)
        case Verb.CONFIRM_FANS if mine and reading.outcome.tells and reading.emergency_stop is False:
            return replace(w, withdrawn=False)
        case Verb.RESUME | Verb.ANSWER | Verb.SET_LOAD | Verb.RESET:
            return replace(w, lost_load=False)
    return w


def _after(w: Watched, o: UnitOrders, unit: Unit, site: Site, dt_s: float, charge: bool) -> Watched:
    """What the orders of this scan leave behind."""
    owes = w.owed_s > 0.0 or w.near_s > 0.0
    waits = charge and w.heard and owes and o.fan is not True and not w.withdrawn and not w.found
    waits_s = min(w.waits_s + dt_s, fan_wait_s(site) + dt_s) if waits else 0.0
    w = replace(w, fan=o.fan is True, waits_s=waits_s)
    if o.silent:
        return replace(w, wanted=0 if not w.joined else w.wanted)
    if o.raise_to is None:
        return replace(
            w, wanted=o.keep, kept=o.keep, sent=w.sent if w.sent and lowers(unit.profile, w.sent, o.keep) else 0
        )
    ramp = unit.profile.setpoint.ramp_kw_per_s if unit.profile.setpoint else None
    follow_s = unit.profile.follow_s + (unit.profile.rated_kw / ramp if ramp else 0.0)
    return replace(
        w, wanted=o.raise_to, kept=o.keep, may=join(unit.profile, w.may, o.raise_to), sent=o.raise_to, sent_s=follow_s
    )
