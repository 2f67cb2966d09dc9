"""First rung: what is known, silent, stale; what may be closed; what the meters say.

Commanded, read back and measured stay three values. `possible` is the load that counts for limits: everything that
is read back closed, was sent without being read back, or belongs to a unit that does not answer. `wanted` is the
load that we hold ordered; it falls to what is read back as soon as the two disagree and no closing is under way, so
that a closing is never repeated by itself.
"""

from benchctl.core.decision import Event, Settings
from benchctl.core.inputs import Inputs, Recorder
from benchctl.core.levels import join, load_kw, lowers, meet
from benchctl.core.limits import usable
from benchctl.core.meters import know_site_load, read_meters
from benchctl.core.orders import NO_WRITES, UnitWrites, Write
from benchctl.core.profile import Reaction
from benchctl.core.reading import InstrumentReading, UnitReading
from benchctl.core.seen import Contact, Seen, SeenUnit
from benchctl.core.site import Limits, Unit
from benchctl.core.state import InstrumentState, State, UnitState
from benchctl.core.unable import unable

STUCK_AIR_S = 30.0  # spin-down of any fan is shorter: common practice, no source


def gap_limit_s(settings: Settings) -> float:
    """A longer time between two scans is a hole in time, not a slow scan."""
    return max(2.0, 4.0 * settings.scan_period_s)


def perceive(state: State, inputs: Inputs, settings: Settings, events: list[Event]) -> Seen:
    """Bring the state's knowledge up to date and return what is seen. Works on `state`."""
    seen = Seen()
    if inputs.dt_s > gap_limit_s(settings):
        seen.gap_s = inputs.dt_s
        still = f", the clock stood still for {inputs.stood_still_s:.0f} s" if inputs.stood_still_s >= 1.0 else ""
        events.append(Event("gap", f"{inputs.dt_s:.0f} s not observed{still}"))
    if abs(inputs.clock_stepped_s) >= 1.0:
        events.append(Event("clock", f"wall clock stepped {inputs.clock_stepped_s:+.0f} s"))
    seen.late = inputs.dt_s > 2.0 * settings.scan_period_s
    seen.recorder_failed = inputs.recorder is Recorder.FAILED
    seen.rated_kw = settings.rated_kw
    limits = settings.site.limits
    for index, (u, unit, reading) in enumerate(zip(state.units, settings.site.units, inputs.units, strict=True)):
        writes = inputs.writes[index] if inputs.writes else NO_WRITES
        seen.units.append(_unit(index, u, unit, reading, writes, inputs.dt_s, limits, events))
    for kept, reading_now in zip(state.instruments, inputs.instruments, strict=True):
        _instrument(kept, reading_now, inputs.dt_s)
        seen.site_needs_set |= kept.last.site_needs_set is True and kept.age_s <= limits.stale_s
    read_meters(state, seen, settings)
    know_site_load(state, seen, settings, inputs.dt_s)
    _add_up(state, seen, settings)
    return seen


def _add_up(state: State, seen: Seen, settings: Settings) -> None:
    """What may be closed, what is confirmed and what could be had, at the volts present."""
    stale_s = settings.site.limits.stale_s
    for u, s, unit in zip(state.units, seen.units, settings.site.units, strict=True):
        if u.possible:
            seen.loaded = True
            s.possible_kw = load_kw(unit.profile, u.possible, s.ratio)
            seen.possible_kw += s.possible_kw
        if s.load:
            seen.confirmed_kw += s.possible_kw if s.load == u.possible else load_kw(unit.profile, s.load, s.ratio)
        s.unable = unable(u, s, unit)
        if not s.unable or (u.possible and u.joined and not u.out):
            most = usable(u, unit.profile)
            whole = u.health is None and most == u.possible
            seen.available_kw += s.possible_kw if whole else load_kw(unit.profile, most, s.ratio, u.health)
        if s.reading.site_needs_set is True and (s.told or s.age_s <= stale_s):
            seen.site_needs_set = True


def _instrument(kept: InstrumentState, reading: InstrumentReading, dt_s: float) -> None:
    """Keep an instrument's last answer with its age, and how long its refresh counter has stood still."""
    if not reading.outcome.tells:
        kept.age_s = min(kept.age_s + dt_s, 1e9)
        return
    counter, before = reading.electrical.refresh_count, kept.last.electrical.refresh_count
    kept.frozen_s = kept.frozen_s + dt_s if counter is not None and counter == before else 0.0
    kept.last, kept.age_s = reading, 0.0


def _unit(
    index: int,
    u: UnitState,
    unit: Unit,
    reading: UnitReading,
    writes: UnitWrites,
    dt_s: float,
    limits: Limits,
    events: list[Event],
) -> SeenUnit:
    """One unit: contact, identity, load, air."""
    unclosed, welded = u.unclosed, u.welded
    fell, foreign, restarted = u.fell, u.foreign, False
    u.fell = u.foreign = False  # until both are known, only what this scan finds
    if u.sent is not None:
        _closings_sent(index, u, unit, writes, u.sent, events)
    fell_kw = 0.0
    before, told = u.last, reading.outcome.tells
    if told:  # a value that is missing never stops the rest
        u.last = reading
        restarted = _identity(index, u, unit, before, reading, events)
        _air(u, reading, dt_s)
    # a unit whose load is not read back, or cannot be, is as good as mute
    if told and reading.load is not None and 0 <= reading.load <= unit.profile.full_load:
        if u.heard and u.age_s >= limits.lost_s:
            u.emptied = False
            events.append(Event("returned", f"{unit.name} answers again after {u.age_s:.0f} s", index))
        u.found = reading.load > 0 and (u.found or not u.heard)
        u.heard, u.age_s, contact = True, 0.0, Contact.FRESH
        fell_kw = _load(index, u, unit, reading, reading.load, dt_s, events)
    else:
        u.age_s = min(u.age_s + dt_s, 1e9)
        u.follow_s = max(0.0, u.follow_s - dt_s)
        contact = _contact(u, limits)
        if contact is Contact.LOST and not u.lost:
            u.lost, u.joined, u.emptied = True, False, False
            events.append(Event("lost", f"{unit.name} has not answered for {limits.lost_s:.0f} s", index))
    load = reading.load if contact is Contact.FRESH else None
    seen = SeenUnit(contact, u.age_s, u.last, load, None, 1.0, None, fell_kw=fell_kw, told=told)
    seen.unclosed, seen.welded = u.unclosed & ~unclosed, u.welded & ~welded
    seen.fell, seen.foreign, seen.restarted = u.fell, u.foreign, restarted
    u.fell, u.foreign = u.fell or fell, u.foreign or foreign
    return seen


def _contact(u: UnitState, limits: Limits) -> Contact:
    if not u.heard:
        return Contact.NEVER
    if u.age_s >= limits.lost_s:
        return Contact.LOST
    return Contact.STALE if u.age_s >= limits.stale_s else Contact.AGED


def _closings_sent(index: int, u: UnitState, unit: Unit, writes: UnitWrites, sent: int, events: list[Event]) -> None:
    """Account for the closing of the scan before: it may be in force unless it is known not to be."""
    before, u.sent = u.possible, None
    if writes.closing is not Write.NOT_SENT:  # of several closings one may be refused and another done
        u.possible = join(unit.profile, u.possible, sent)
    if writes.closing in (Write.NOT_SENT, Write.REFUSED):
        u.follow_s, u.wanted = 0.0, meet(unit.profile, u.wanted, before)
        if writes.closing is Write.REFUSED:
            u.unclosed |= sent & ~before if unit.profile.stages else 1
            events.append(Event("refused", f"{unit.name} refused a closing", index))
        return
    ramp = unit.profile.setpoint.ramp_kw_per_s if unit.profile.setpoint else None
    u.follow_s = unit.profile.follow_s + (unit.profile.rated_kw / ramp if ramp else 0.0)


def _identity(
    index: int, u: UnitState, unit: Unit, last: UnitReading, reading: UnitReading, events: list[Event]
) -> bool:
    """Whether it is what it should be; returns True when it is found to have restarted."""
    if reading.identity_ok is not None:
        u.identified = reading.identity_ok
    if reading.serial:
        known = u.serial or unit.serial
        if known and reading.serial != known:
            if not u.swapped:
                events.append(Event("swapped", f"{unit.name} says serial {reading.serial}, expected {known}", index))
            u.swapped = True
        else:
            u.serial = reading.serial
    before, now = last.uptime_s, reading.uptime_s
    if before is None or now is None or now >= before - 0.5:
        return False
    u.restarted, u.emptied, u.joined = True, False, False
    said = f"{unit.name} restarted: its running time fell from {before:.0f} s to {now:.0f} s"
    events.append(Event("restarted", said, index))
    return True


def _air(u: UnitState, reading: UnitReading, dt_s: float) -> None:
    """Airflow counts as proven when it was seen off with the fan off, and then on with the fan on.

    Air from a fan that is off proves nothing: it may be the end of a run, or a switch that sticks.
    """
    fan_off = reading.fan_on is False and not u.fan
    if reading.airflow is False:
        u.proven = u.stuck_air = False
        u.air_off_s = 0.0
        u.seen_still = u.seen_still or (fan_off or (reading.fan_on is None and not u.fan))
    elif reading.airflow is True:
        u.proven = u.proven and u.fan and reading.fan_on is not False
        if fan_off:
            u.air_off_s = min(u.air_off_s + dt_s, STUCK_AIR_S)
            u.stuck_air = u.air_off_s >= STUCK_AIR_S
            u.seen_still = u.seen_still and not u.stuck_air
        elif u.fan and reading.fan_on is not False and u.seen_still:
            u.proven = True
    else:
        u.proven = False


def _explained(unit: Unit, reading: UnitReading) -> bool:
    """The unit says itself why it took its load off; the row of that reason acts, not the loss of load."""
    if reading.airflow is False or reading.fan_supply is False or reading.emergency_stop is True:
        return True
    return any(
        reading.faults >> bit & 1 and fault.reaction is Reaction.UNIT_OFF
        for bit, fault in enumerate(unit.profile.faults)
    )


def _load(
    index: int, u: UnitState, unit: Unit, reading: UnitReading, load: int, dt_s: float, events: list[Event]
) -> float:
    """Compare what is read back with what is wanted and with what could have been closed.

    Returns the kW that the unit took off by itself for a reason that it tells.
    """
    profile, fell_kw = unit.profile, 0.0
    if u.joined and load != u.possible and not lowers(profile, load, u.possible):
        u.foreign, u.wanted = True, load
        events.append(
            Event(
                "foreign",
                f"{unit.name}: load changed by someone else ({load_kw(profile, load, 1.0):.0f} kW rated)",
                index,
            )
        )
    if load == u.wanted or lowers(profile, u.wanted, load):  # everything wanted is closed
        u.follow_s = 0.0
    elif u.follow_s > 0.0:
        u.follow_s = max(0.0, u.follow_s - dt_s)
        if u.follow_s == 0.0:
            u.unclosed |= u.wanted & ~load if profile.stages else 1
            events.append(
                Event(
                    "not accepted",
                    f"{unit.name} did not follow: wanted "
                    f"{load_kw(profile, u.wanted, 1.0):.0f} kW, reads back "
                    f"{load_kw(profile, load, 1.0):.0f} kW rated",
                    index,
                )
            )
            u.wanted = meet(profile, u.wanted, load)
    else:
        if not u.restarted:
            explained = _explained(unit, reading)
            u.fell = u.fell or not explained
            wanted_kw, left_kw = load_kw(profile, u.wanted, 1.0), load_kw(profile, load, 1.0)
            fell_kw = wanted_kw - left_kw if explained else 0.0
            events.append(
                Event(
                    "load fell",
                    f"{unit.name} took load off by itself: {wanted_kw:.0f} kW wanted, {left_kw:.0f} kW rated left",
                    index,
                )
            )
        u.wanted = meet(profile, u.wanted, load)
    if load == u.wanted or lowers(profile, load, u.wanted):
        u.opening_s, u.welded = 0.0, 0
    elif reading.remote is False:  # it takes no orders: nothing was written that it could fail to follow
        u.opening_s = 0.0
    else:
        u.opening_s = min(u.opening_s + dt_s, 1e9)
        drop_s = profile.setpoint.drop_s if profile.setpoint else 0.0
        if u.joined and u.opening_s > profile.follow_s + drop_s:
            u.welded = load & ~u.wanted if profile.stages else 1
    u.possible = join(profile, load, u.wanted) if u.follow_s > 0.0 else load
    u.emptied = u.emptied or load == 0
    return fell_kw
