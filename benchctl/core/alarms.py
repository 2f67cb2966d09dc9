"""Fourth rung: the alarms' states after IEC 62682 (active, acknowledged, returned, latched), with first-out order.

An alarm begins when its row's condition has held for the row's delay. Alarms first seen in one scan share an order
number: which of them came first is not known. Chatter is folded into one entry with a count.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from operator import attrgetter
from typing import Any

from benchctl.core import shelving
from benchctl.core.calm import LOOKS, Calm
from benchctl.core.causes import BENCH_ROWS, BY_KEY, ROWS, UNIT_ROWS, Row
from benchctl.core.conditions import Active, Flag, Now
from benchctl.core.decision import Event, Settings
from benchctl.core.profile import FaultBit, Reaction
from benchctl.core.seen import Seen
from benchctl.core.state import Alarm, State, UnitState

FIRST_S = 1e-9  # a condition has lasted no time yet when it is first seen
NONE_STANDING: frozenset[str] = frozenset()
Entries = dict[tuple[str, int], Alarm]


@dataclass(frozen=True, slots=True)
class _Scan:
    """What all rows of one scan share."""

    alarms: Entries
    events: list[Event]
    dt_s: float
    order: int
    shelved: frozenset[tuple[str, int]]


def alarms(state: State, seen: Seen, settings: Settings, dt_s: float, events: list[Event]) -> None:
    """Evaluate every row for every subject. Works on `state.alarms`."""
    shelving.count(state, dt_s, events)
    aside = frozenset([(s.row, s.unit) for s in state.shelved])
    scan = _Scan(state.alarms, events, 0.0 if seen.gap_s else dt_s, state.alarm_order + 1, aside)
    now = Now.of(state, seen, settings)
    _evaluate(BENCH, now, scan)
    for index, (u, s, unit) in enumerate(zip(state.units, seen.units, settings.site.units, strict=True)):
        if not u.heard:
            continue
        now.turn_to(index, u, s, unit)
        _evaluate(UNIT, now, scan)
        if s.reading.faults or state.alarms:
            _fault_bits(now, scan)
    if any(a.order == scan.order for a in state.alarms.values()):
        state.alarm_order = scan.order


@dataclass(frozen=True, slots=True)
class _Rows:
    """The rows of one kind of subject, and their conditions ordered for a quick look at all.

    A condition stands in flags, behind one look that answers for it, or in others.
    """

    rows: tuple[Row, ...]
    flags: Callable[[UnitState], tuple[Any, ...]]
    looks: tuple[tuple[Calm, tuple[Active, ...]], ...]
    others: tuple[Active, ...]

    @staticmethod
    def of(rows: tuple[Row, ...]) -> "_Rows":
        flags = [row.active.name for row in rows if isinstance(row.active, Flag)]
        left = {row.key: row.active for row in rows if len(flags) < 2 or not isinstance(row.active, Flag)}
        looks = [(calm, tuple([left.pop(key) for key in keys if key in left])) for calm, keys in LOOKS]
        return _Rows(
            rows,
            attrgetter(*flags) if len(flags) > 1 else lambda _: (),  # an attrgetter of one name gives no tuple
            tuple([(calm, behind) for calm, behind in looks if behind]),
            tuple(left.values()),
        )

    def quiet(self, now: Now) -> bool:
        """True when no row has a reason for an alarm that does not stand yet."""
        now.was = False
        if any(self.flags(now.u)):
            return False
        for calm, behind in self.looks:
            if not calm(now) and any([active(now) for active in behind]):  # noqa: C419 - quicker
                return False
        return not any([active(now) for active in self.others])  # noqa: C419 - quicker


ENDED_BY_RESET = frozenset(row.key for row in ROWS if row.ends)
BENCH, UNIT = _Rows.of(BENCH_ROWS), _Rows.of(UNIT_ROWS)


def _evaluate(table: _Rows, now: Now, scan: _Scan) -> None:
    """Ask each row about one subject. Most subjects have no alarm and no reason for one: they are asked in one go."""
    alarms_now, index = scan.alarms, now.index
    standing = {key for key, subject in alarms_now if subject == index} if alarms_now else NONE_STANDING
    if not standing and table.quiet(now):
        return
    for row in table.rows:
        alarm = alarms_now.get((row.key, index)) if row.key in standing else None
        now.was = alarm is not None and alarm.active
        active = row.active(now)
        if alarm is None and not active:
            continue
        if active and alarm is not None and alarm.active:
            if row.further and getattr(now.seen if index < 0 else now.s, row.further):
                alarms_now[row.key, index] = replace(alarm, acknowledged=False, count=alarm.count + 1)
                _announce(scan, (row.key, index), _say(row, now))
            continue
        delay_s = getattr(now.limits, row.delay) if row.delay else 0.0
        if _follow(scan, (row.key, index), active, delay_s, row.latch):
            _announce(scan, (row.key, index), _say(row, now))


def _fault_bits(now: Now, scan: _Scan) -> None:
    """The unit's own fault bits are rows of its profile."""
    reading = now.s.reading
    for bit, fault in enumerate(now.unit.profile.faults):
        key = (fault_key(fault), now.index)
        known = now.fresh and reading.faults_known >> bit & 1
        active = bool(reading.faults >> bit & 1) if known else None
        if not active and key not in scan.alarms:
            continue
        latch = fault.reaction in (Reaction.UNIT_OFF, Reaction.UNLOAD, Reaction.DROP)
        if _follow(scan, key, active, 0.0, latch):
            _announce(scan, key, f"{now.unit.name}: {fault.text}")


def fault_key(fault: FaultBit) -> str:
    """The alarm row's key of a fault bit of a profile."""
    return f"reported: {fault.name}"


def _follow(scan: _Scan, key: tuple[str, int], active: bool | None, delay_s: float, latch: bool) -> bool:
    """Move one alarm through its states; True when it has just become active."""
    if active is None:
        return False
    alarm = scan.alarms.get(key) or Alarm(*key)
    if active:
        if alarm.active:
            return False
        on_s = min(alarm.on_s + scan.dt_s, delay_s) if alarm.on_s else min(FIRST_S, delay_s)
        if on_s < delay_s:
            scan.alarms[key] = replace(alarm, on_s=on_s)
            return False
        first = alarm.order if alarm.order and (alarm.latched or not alarm.acknowledged) else scan.order
        scan.alarms[key] = Alarm(
            *key, on_s, active=True, acknowledged=False, latched=latch, count=alarm.count + 1, order=first
        )
        return True
    if alarm.active:
        scan.events.append(Event("returned to normal", alarm.text, key[1], data=(("row", key[0]),)))
    if alarm.active or alarm.on_s:
        scan.alarms[key] = replace(alarm, on_s=0.0, active=False)
        _forget_if_over(scan.alarms, key)
    return False


def _announce(scan: _Scan, key: tuple[str, int], text: str) -> None:
    scan.alarms[key] = replace(scan.alarms[key], text=text)
    shelved = (("shelved", True),) if key in scan.shelved else ()
    scan.events.append(Event("alarm", text, key[1], data=(("row", key[0]), *shelved)))


def _forget_if_over(entries: Entries, key: tuple[str, int]) -> None:
    alarm = entries[key]
    if not alarm.active and alarm.acknowledged and not alarm.latched and not alarm.on_s:
        del entries[key]


def acknowledge(state: State, row: str | None, unit: int | None) -> int:
    """Acknowledge one alarm, or all (row None); returns how many."""
    count = 0
    for key, alarm in list(state.alarms.items()):
        chosen = row is None or (key[0] == row and unit in (None, key[1]))
        if chosen and not alarm.acknowledged:
            state.alarms[key] = replace(alarm, acknowledged=True)
            _forget_if_over(state.alarms, key)
            count += 1
    return count


def unlatch(state: State) -> None:
    """Release latched alarms whose condition is gone, or ends with this reset and is then seen gone in this scan."""
    for key, alarm in list(state.alarms.items()):
        if alarm.latched and (not alarm.active or key[0] in ENDED_BY_RESET):
            state.alarms[key] = replace(alarm, latched=False, acknowledged=True)
            _forget_if_over(state.alarms, key)


def reaction_of(key: str, unit: int, settings: Settings) -> Reaction:
    """What an alarm's row does."""
    row = BY_KEY.get(key)
    if row is not None:
        return row.reaction
    faults = settings.site.units[unit].profile.faults
    return next((f.reaction for f in faults if fault_key(f) == key), Reaction.ALARM)


def first_out(state: State) -> tuple[Alarm, ...]:
    """The alarms that came first of those that stand and are not shelved; several when their order is not known."""
    shelved = {(s.row, s.unit) for s in state.shelved}
    shown = [a for key, a in state.alarms.items() if key not in shelved]
    standing = [a for a in shown if a.order and (a.active or a.latched or not a.acknowledged)]
    lowest = min((a.order for a in standing), default=0)
    return tuple(a for a in standing if a.order == lowest)


def _say(row: Row, now: Now) -> str:
    limits = now.limits
    values = {name: getattr(limits, name) for name in limits.__slots__} if "_percent" in row.text else {}
    found = (
        [f"{now.unit.profile.stages[s].name} phase {'ABC'[p]}" for s, p, n in now.u.missing if n >= 3]
        if now.index >= 0 and "{missing}" in row.text
        else []
    )
    return row.text.format(
        unit=now.unit.name,
        cooling_min=now.u.cooling_s / 60.0,
        missing=", ".join(found),
        delivered_kw=now.seen.delivered_kw or 0.0,
        confirmed_kw=now.seen.confirmed_kw,
        source_kw=now.seen.source_kw or 0.0,
        **values,
    )
