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
from benchctl.core.levels import full, join, load_kw, lowers, smallest_kw
from benchctl.core.orders import Orders, UnitOrders, Write
from benchctl.core.reading import UnitReading
from benchctl.core.site import Site, Unit

STUCK_S = 30.0
FRESH_ASKS = (Verb.SET_LOAD, Verb.RESUME, Verb.ANSWER, Verb.JOIN, Verb.START, Verb.RESET, Verb.TAKE_CHARGE, Verb.SKIP)


@dataclass(frozen=True, slots=True)
class Watched:
    """What is remembered of one unit."""

    may: int = 0  # all that may be closed
    wanted: int = 0  # last ordered
    kept: int = 0  # last ordered, closings left out
    sent: int = 0  # a closing not read back yet
    sent_s: float = 0.0  # time left for it
    age_s: float = 1e6
    heard: bool = False
    joined: bool = False
    empty: bool = False  # read back without load since it was met or came back
    still: bool = False  # airflow seen off with the fan off
    proven: bool = False
    windy_s: float = 0.0  # airflow though the fan is off
    fan: bool = False
    waits_s: float = 0.0  # for its fan, though it is owed
    owed_s: float = 1e6
    near_s: float = 1e6
    withdrawn: bool = False
    identified: bool | None = None
    lost_load: bool = False  # went off, or was changed, without an order of ours
    local: bool = False


@dataclass(frozen=True, slots=True)
class Memory:
    """What is remembered of the bench."""

    units: tuple[Watched, ...]
    charge: bool = False
    dropped: bool = False
    asked_kw: float = 0.0  # largest load by hand that was asked lately
    gap: bool = False  # a hole in time that nobody has answered


def first_memory(site: Site) -> Memory:
    """Nothing known: the whole cool-down is owed."""
    return Memory(tuple(Watched(owed_s=u.profile.cooldown.minimum_s, near_s=u.profile.cooldown.near_s) for u in site.units))


def watch(memory: Memory, inputs: Inputs, orders: Orders, site: Site, gap_s: float = 2.0) -> tuple[Memory, list[str]]:
    """The memory after a scan, and the laws that the scan's orders break."""
    broken: list[str] = []
    verbs = [c.verb for c in inputs.commands if c.age_s <= 2.0 or c.verb is Verb.DROP]
    drop_now = Verb.DROP in verbs
    gap = inputs.dt_s > gap_s
    charge = memory.charge or Verb.TAKE_CHARGE in verbs
    asked = any(v in FRESH_ASKS for v in verbs)
    after_drop = verbs[len(verbs) - verbs[::-1].index(Verb.DROP):] if drop_now else verbs
    dropped = (memory.dropped or drop_now) and Verb.RESET not in after_drop
    ratios = _ratios(inputs, site)
    seen = [
        _see(w, inputs, i, unit, site, gap)
        for i, (w, unit) in enumerate(zip(memory.units, site.units, strict=True))
    ]
    seen = _commanded(seen, inputs, memory, site)
    pulled = any(r.emergency_stop is True for r in inputs.units if r.outcome.tells) or _needs_set(inputs)
    for i, (w, unit, reading, o) in enumerate(zip(seen, site.units, inputs.units, orders.units, strict=True)):
        said = _unit_laws(w, unit, reading, o, site, ratios[i], charge)
        if dropped or (pulled and charge):
            said += _drop_laws(w, reading, o, drop_now)
        if o.raise_to is not None and (gap or (memory.gap and not asked)):
            said.append("6: a closing after a hole in time, before anybody answered")
        if o.raise_to is not None and w.lost_load and not asked:
            said.append("5: load comes back by itself where it went off or was changed")
        broken += [f"law {text} ({unit.name})" for text in said]
    if drop_now and not orders.urgent and any(not (r.outcome.tells and r.load == 0) for r in inputs.units):
        broken.append("law 1: a drop that is not urgent though a unit is not read back empty")
    broken += _limit_laws(seen, inputs, orders, site, ratios)
    units = tuple(
        _after(w, o, unit, site, inputs.dt_s, charge) for w, o, unit in zip(seen, orders.units, site.units, strict=True)
    )
    return Memory(units, charge, dropped, memory.asked_kw, (gap or memory.gap) and not asked), broken


def _needs_set(inputs: Inputs) -> bool:
    told = [r.site_needs_set for r in inputs.units if r.outcome.tells]
    return any([*told, *(r.site_needs_set for r in inputs.instruments)])


def tells(reading: UnitReading, unit: Unit) -> bool:
    """It answers and says what load it has."""
    return reading.outcome.tells and reading.load is not None and 0 <= reading.load <= full(unit.profile)


def _ratios(inputs: Inputs, site: Site) -> list[float | None]:
    """Volts over rated of each unit in this scan, None where no meter tells. Line-to-line volts are all that is read."""

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
        return replace(w, age_s=age_s, joined=w.joined and not lost, empty=w.empty and not lost, proven=w.proven and reading.outcome.tells,
                       owed_s=owed[0], near_s=owed[1], sent_s=max(0.0, w.sent_s - dt_s))
    w = replace(w, heard=True, age_s=0.0)
    if reading.load is not None:
        left_s = max(0.0, w.sent_s - dt_s)
        pending = w.sent if left_s > 0.0 and not lowers(profile, w.sent, reading.load) else 0
        changed = w.joined and not lowers(profile, reading.load, join(profile, w.may, w.sent))
        fell = w.joined and not pending and not lowers(profile, w.wanted, reading.load)
        w = replace(w, may=join(profile, reading.load, pending), sent=pending,
                    sent_s=left_s if pending else 0.0, empty=w.empty or reading.load == 0,
                    lost_load=w.lost_load or changed or fell)
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
        case Verb.TAKE_CHARGE if w.heard and w.age_s < site.limits.lost_s:
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


def _drop_laws(w: Watched, reading: UnitReading, o: UnitOrders, asked: bool) -> list[str]:
    said = []
    if o.keep or o.raise_to is not None:
        said.append("1: something is kept or closed in a drop")
    empty = reading.outcome.tells and reading.load == 0 and not w.may
    if not empty and (asked or w.heard) and ((o.silent and (asked or not w.local)) or not o.lower):
        said.append("1: a unit that is not read back empty gets no opening in a drop")
    return said


def fan_wait_s(site: Site) -> float:
    """Fans start one after the other: the last of them waits this long at most."""
    return len(site.units) * site.limits.fan_start_gap_s + 1.0


def _unit_laws(w: Watched, unit: Unit, reading: UnitReading, o: UnitOrders, site: Site, ratio: float | None,
               charge: bool) -> list[str]:
    said: list[str] = []
    profile = unit.profile
    if o.raise_to is not None:
        if not lowers(profile, o.keep, o.raise_to):
            said.append("4: an opening and a closing exchanged")
        for wrong, text in (
            (not charge, "nobody has taken charge"), (o.silent, "nothing may be written to it"),
            (not reading.outcome.tells, "it was not heard in this scan"), (not w.joined, "it has not joined"),
            (not w.proven or reading.airflow is not True, "its airflow is not proven"),
            (o.fan is not True and profile.fan.controllable, "its fan is not ordered on"),
            (reading.remote is False, "it is in local"), (reading.emergency_stop is True, "its emergency stop is on"),
            (reading.fan_supply is False, "its fans have no supply"), (w.identified is not True, "it is not identified"),
            (w.withdrawn, "its fans wait to be confirmed"),
            (ratio is not None and ratio > profile.highest_v_ratio, "its volts are above its rating"),
            (reading.exhaust_c is None and "exhaust_c" in profile.reports, "its temperature is not known"),
            (reading.exhaust_c is not None and reading.exhaust_c >= profile.exhaust_trip_c, "it is too hot"),
        ):
            if wrong:
                said.append(f"2: a closing though {text}")
        if reading.load is None:
            said.append("7: a closing though its load is not read back")
        if not w.empty:
            said.append("5: a closing before it was read back empty")
        if w.sent:
            said.append("5: a closing while another is not read back")
    owes = w.owed_s > 0.0 or w.near_s > 0.0
    if charge and w.heard and not w.withdrawn and owes and profile.fan.controllable and o.fan is not True:
        if w.fan or w.may or w.waits_s > fan_wait_s(site):
            said.append("3: it owes cool-down, or may have load, and its fan is not ordered on")
    if not charge and not o.silent and (o.fan is not None or o.feed):
        said.append("2: written to before anybody took charge")
    return said


def _limit_laws(seen: list[Watched], inputs: Inputs, orders: Orders, site: Site, ratios: list[float | None]) -> list[str]:
    """With everything counted that may be closed, a closing stays within limit and largest block."""
    if all(o.raise_to is None for o in orders.units):
        return []
    before_kw = after_kw = total_kw = 0.0
    for w, o, unit, ratio in zip(seen, orders.units, site.units, ratios, strict=True):
        volts_ratio = ratio if ratio is not None else 1.0
        before_kw += load_kw(unit.profile, w.may, volts_ratio)
        all_of_it = join(unit.profile, w.may, o.raise_to or 0)
        total_kw += load_kw(unit.profile, all_of_it, volts_ratio)
        after_kw += load_kw(unit.profile, _left(unit, w, o), volts_ratio)
    plate, limits = site.nameplate, site.limits
    said = []
    if total_kw > plate.power_kw * limits.upper_percent / 100.0 + 1e-6:
        said.append(f"law 4: {total_kw:.1f} kW may be closed, above the limit of the source")
    stage_kw = min(smallest_kw(u.profile) for u in site.units)
    if after_kw - before_kw > plate.power_kw * limits.largest_block_up_percent / 100.0 + stage_kw + 1e-6:
        said.append(f"law 4: a rise of {after_kw - before_kw:.1f} kW in one scan, above the largest block")
    return said


def _left(unit: Unit, w: Watched, o: UnitOrders) -> int:
    """What may be closed when this scan's openings are acknowledged, which its closings wait for."""
    new = o.keep if o.raise_to is None else o.raise_to
    if unit.profile.setpoint:
        return max(new, w.may) if w.may > w.wanted else new
    return new | w.may & ~w.wanted


def _after(w: Watched, o: UnitOrders, unit: Unit, site: Site, dt_s: float, charge: bool) -> Watched:
    """What the orders of this scan leave behind."""
    owes = w.owed_s > 0.0 or w.near_s > 0.0
    waits = charge and w.heard and owes and o.fan is not True and not w.withdrawn
    waits_s = min(w.waits_s + dt_s, fan_wait_s(site) + dt_s) if waits else 0.0
    w = replace(w, fan=o.fan is True, waits_s=waits_s)
    if o.silent:
        return replace(w, wanted=0 if not w.joined else w.wanted)
    if o.raise_to is None:
        return replace(w, wanted=o.keep, kept=o.keep, sent=w.sent if w.sent and lowers(unit.profile, w.sent, o.keep) else 0)
    ramp = unit.profile.setpoint.ramp_kw_per_s if unit.profile.setpoint else None
    follow_s = unit.profile.follow_s + (unit.profile.rated_kw / ramp if ramp else 0.0)
    return replace(w, wanted=o.raise_to, kept=o.keep, may=join(unit.profile, w.may, o.raise_to), sent=o.raise_to, sent_s=follow_s)
