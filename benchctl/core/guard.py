"""Last rung: the guard. It may only open, lower and start fans; whatever came before, nothing it lets pass is unsafe.

Order of its work: closings that a unit may not have are taken back; closings that would pass a limit with everything
counted that may be closed are taken back; if the limit is passed already, load is opened until it is not; then fans.
"""

from benchctl.core.choose import choose
from benchctl.core.decision import Settings
from benchctl.core.levels import join, load_kw, lowers, meet, offer
from benchctl.core.limits import ceiling_kw, usable
from benchctl.core.orders import Orders, UnitOrders, unit_orders
from benchctl.core.profile import Profile, Watchdog
from benchctl.core.program import Rounding
from benchctl.core.seen import Contact, Seen, SeenUnit
from benchctl.core.site import Unit
from benchctl.core.state import State, UnitState, undecided

TOLERANCE = 1.002  # of a limit: volts flicker is no reason to open
BLOCK_PERCENT = 10.0  # of the nameplate in one scan: the source answers with a transient


def guard(state: State, seen: Seen, settings: Settings, wish: list[int], dt_s: float) -> Orders:
    """Turn wishes into orders. Works on the state's wanted loads, room and settling time."""
    before = [u.wanted for u in state.units]
    loads = [
        _allowed(state, u, s, unit, new)
        for u, s, unit, new in zip(state.units, seen.units, settings.site.units, wish, strict=True)
    ]
    limit_kw = ceiling_kw(state, seen, settings)
    stage_kw = settings.stage_kw
    rising_kw = _take_back(state, seen, settings, loads, limit_kw, stage_kw)
    if seen.possible_kw > limit_kw * TOLERANCE:
        _lower_to_limit(state, seen, settings, loads, limit_kw)
    for u in state.units:
        if u.possible and not u.fan and state.charge and not u.fan_withdrawn and u.heard and not undecided(state, u):
            u.fan, u.fan_on_s = True, 0.0
    orders = tuple(
        [
            _order(state, u, s, unit, new, old, dt_s)
            for u, s, unit, new, old in zip(state.units, seen.units, settings.site.units, loads, before, strict=True)
        ]
    )
    if rising_kw > 0.0:
        state.room_kw = max(0.0, state.room_kw - rising_kw)
    moved_kw = 0.0
    if loads != before:
        slowest_s = max(u.profile.follow_s + u.profile.meter_refresh_s for u in settings.site.units)
        state.settle_s = max(state.settle_s, slowest_s)
        moved_kw = sum(
            load_kw(unit.profile, new, s.ratio) - load_kw(unit.profile, old, s.ratio)
            for new, old, s, unit in zip(loads, before, seen.units, settings.site.units, strict=True)
            if new != old
        )
    block = abs(moved_kw) >= BLOCK_PERCENT * settings.site.nameplate.power_kw / 100.0
    if block:
        state.block_s = settings.site.limits.block_window_s
    return Orders(orders, block and moved_kw > 0.0, state.dropped and any(o.lower for o in orders))


def _allowed(state: State, u: UnitState, s, unit: Unit, new: int) -> int:  # type: ignore[no-untyped-def]
    """The part of a wish that a unit may have: closings only where every condition of the unit holds."""
    profile = unit.profile
    if state.dropped or not state.charge or u.out or not u.joined:
        return 0
    if new == u.wanted or lowers(profile, new, u.wanted):
        return new
    ready = s.unable == "" and u.fan and u.proven and s.reading.airflow is True and s.ratio <= profile.highest_v_ratio
    # a closing under way is waited for: its unit gets no second one before it is read back
    if not ready or state.trip is not None or u.follow_s > 0.0 or s.load != u.wanted:
        return meet(profile, new, u.wanted)
    return new


def _take_back(
    state: State, seen: Seen, settings: Settings, loads: list[int], limit_kw: float, stage_kw: float
) -> float:
    """Take closings back, largest first, until every limit is kept; returns the kW that still rise.

    Against the limit counts all that may be closed, openings of this scan included. The rise is net: closings are sent
    only when the openings of their scan are acknowledged, so an exchange of stages adds what it adds in the end.
    """
    units = settings.site.units
    rising = [
        i
        for i, (u, load) in enumerate(zip(state.units, loads, strict=True))
        if load != u.wanted and not lowers(units[i].profile, load, u.wanted)
    ]
    while rising:
        total_kw, after_kw = 0.0, 0.0
        for u, s, unit, load in zip(state.units, seen.units, units, loads, strict=True):
            total_kw += load_kw(unit.profile, join(unit.profile, u.possible, load), s.ratio)
            after_kw += load_kw(unit.profile, _left(unit.profile, u, load), s.ratio)
        rising_kw = after_kw - seen.possible_kw
        if total_kw <= limit_kw and rising_kw <= state.room_kw + stage_kw:
            return max(0.0, rising_kw)
        i = max(rising, key=lambda i: (_rise_kw(seen, settings, loads, i), i))
        rising.remove(i)
        loads[i] = meet(units[i].profile, loads[i], state.units[i].wanted)
    return 0.0


def _rise_kw(seen: Seen, settings: Settings, loads: list[int], unit: int) -> float:
    """By how much a unit's load is above all that may be closed in it now."""
    s = seen.units[unit]
    return load_kw(settings.site.units[unit].profile, loads[unit], s.ratio) - s.possible_kw


def _left(profile: Profile, u: UnitState, new: int) -> int:
    """What may be closed once the openings of this scan are acknowledged: older ones still wait to be read back."""
    if profile.setpoint:
        return max(new, u.possible) if u.possible > u.wanted else new
    return new | u.possible & ~u.wanted


def _lower_to_limit(state: State, seen: Seen, settings: Settings, loads: list[int], limit_kw: float) -> None:
    """Open load of units that we can move until what may be closed is within the limit."""
    units = settings.site.units
    fixed_kw, offers, present, movable = 0.0, [], [], []
    for u, s, unit, load in zip(state.units, seen.units, units, loads, strict=True):
        reachable = u.joined and s.contact is Contact.FRESH and s.reading.remote is not False
        if not reachable:
            fixed_kw += s.possible_kw
        offers.append(offer(unit.profile, usable(u, unit.profile) if reachable else 0, s.ratio, u.health))
        present.append(load if reachable else 0)
        movable.append(reachable)
    chosen = choose(
        tuple(offers),
        tuple(present),
        max(0.0, limit_kw - fixed_kw),
        Rounding.AT_MOST,
        unbalance_percent=settings.site.limits.unbalance_percent,
    )
    for i, (unit, free) in enumerate(zip(units, movable, strict=True)):
        if free:
            loads[i] = meet(unit.profile, loads[i], chosen.loads[i])


def _order(state: State, u: UnitState, s, unit: Unit, new: int, old: int, dt_s: float) -> UnitOrders:  # type: ignore[no-untyped-def]
    """One unit's orders, and what the state keeps of them."""
    profile = unit.profile
    u.wanted = new
    u.steady_s = u.steady_s if new == old else 0.0
    rising = new != old and not lowers(profile, new, old)
    u.sent = new if rising else None
    lower = (
        (u.possible != new and not lowers(profile, u.possible, new))
        or (state.dropped and s.load != 0)
        or _stands(u, s, profile, new)
    )
    local = s.reading.remote is False
    silent = not state.dropped and (not state.charge or local or not u.heard or undecided(state, u))
    feed = False
    if state.charge and not silent and u.joined and not (state.dropped and u.possible) and profile.watchdog is not None:
        feed = _feed(u, profile.watchdog, dt_s)
    fan = None if u.fan_withdrawn or not state.charge or not profile.fan.controllable else u.fan
    keep = meet(profile, new, old) if rising else new
    return unit_orders(keep, new if rising else None, fan, feed, lower, silent)


def _stands(u: UnitState, s: SeenUnit, profile: Profile, new: int) -> bool:
    """True while more stands ordered in the unit itself than is wanted: it would come back by itself, as soon as its
    watchdog is fed again or its air is back. Of another master's order its load tells first, and that is followed.
    """
    stands = s.reading.load_order
    if stands is None or stands == new or s.contact is not Contact.FRESH or not s.told or u.foreign:
        return False
    return not lowers(profile, stands, new)


def _feed(u: UnitState, watchdog: Watchdog, dt_s: float) -> bool:
    """True when the watchdog's feed is due; units fed by any request need none."""
    if watchdog.fed_by == "any request":
        return False
    u.feed_s -= dt_s
    if u.feed_s > 0.0:
        return False
    u.feed_s = watchdog.feed_every_s
    return True
