"""The laws for one scan, as the observer checks them: from what it remembers of a unit, its reading and its orders."""

import math
from dataclasses import dataclass

from benchctl.core.command import Verb
from benchctl.core.inputs import Inputs
from benchctl.core.levels import join, load_kw, lowers, smallest_kw
from benchctl.core.orders import Orders, UnitOrders
from benchctl.core.reading import UnitReading
from benchctl.core.site import Site, Unit
from benchctl.core.state import State


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
    found: bool = False  # load that is on and that nobody has decided about
    well: bool = True  # since it has load on nothing was wrong with it


def drop_laws(w: Watched, reading: UnitReading, o: UnitOrders, asked: bool) -> list[str]:
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


def unit_laws(
    w: Watched, unit: Unit, reading: UnitReading, o: UnitOrders, site: Site, ratio: float | None, charge: bool
) -> list[str]:
    said: list[str] = []
    profile = unit.profile
    if o.raise_to is not None:
        if not lowers(profile, o.keep, o.raise_to):
            said.append("4: an opening and a closing exchanged")
        for wrong, text in (
            (not charge, "nobody has taken charge"),
            (o.silent, "nothing may be written to it"),
            (not reading.outcome.tells, "it was not heard in this scan"),
            (not w.joined, "it has not joined"),
            (not w.proven or reading.airflow is not True, "its airflow is not proven"),
            (o.fan is not True and profile.fan.controllable, "its fan is not ordered on"),
            (reading.remote is False, "it is in local"),
            (reading.emergency_stop is True, "its emergency stop is on"),
            (reading.fan_supply is False, "its fans have no supply"),
            (w.identified is not True, "it is not identified"),
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
    stopped = charge and w.heard and not w.withdrawn and profile.fan.controllable and o.fan is not True and not w.found
    if stopped and owes and (w.fan or w.may or w.waits_s > fan_wait_s(site)):
        said.append("3: it owes cool-down, or may have load, and its fan is not ordered on")
    if not charge and not o.silent and (o.fan is not None or o.feed):
        said.append("2: written to before anybody took charge")
    return said


def limit_laws(
    seen: list[Watched], inputs: Inputs, orders: Orders, site: Site, ratios: list[float | None]
) -> list[str]:
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


def hand_laws(after: State, inputs: Inputs, orders: Orders, site: Site) -> list[str]:
    """With stages switched by hand, only what a command of this scan names may close, and nothing else in its unit.

    What the state says of itself is believed: whether a command was granted cannot be told from outside.
    """
    if not after.by_hand:
        return []
    said = []
    for i, (o, unit) in enumerate(zip(orders.units, site.units, strict=True)):
        if o.raise_to is not None and not lowers(unit.profile, o.raise_to, _named(inputs, i, unit, o.keep)):
            said.append(f"law 5: a closing that nobody has switched ({unit.name})")
    return said


def _named(inputs: Inputs, index: int, unit: Unit, load: int) -> int:
    """A unit's load with all that the commands of a scan switch on in it."""
    names = [s.name for s in unit.profile.stages]
    for c in inputs.commands:
        if c.verb is not Verb.SWITCH or c.unit != index or c.age_s > 2.0 or c.value is None:
            continue
        if unit.profile.setpoint and math.isfinite(c.value):
            load = max(load, int(c.value / unit.profile.setpoint.resolution_kw + 1e-6))
        elif c.text in names and c.value == 1.0:
            load |= 1 << names.index(c.text)
    return load


def _left(unit: Unit, w: Watched, o: UnitOrders) -> int:
    """What may be closed when this scan's openings are acknowledged, which its closings wait for."""
    new = o.keep if o.raise_to is None else o.raise_to
    if unit.profile.setpoint:
        return max(new, w.may) if w.may > w.wanted else new
    return new | w.may & ~w.wanted
