"""Complete enumeration of a small world: every reachable state, with every input of an alphabet, to a fixed point.

Two units of two stages (or one with a set point) at one source with a meter. Each scan, the world does one of a few
things per unit, one command burst is given and the writes of the scan before end in one of a few ways; from the states
that this reaches the same again, until nothing new is reached. Time goes in coarse steps, all of a unit's times are
short multiples of them and saturate, so the states are finite. The observer's memory is part of the state: what it
says of a scan can depend on nothing else.

    python -m tests.laws.explore [--seconds 600] [--states 2000000]

prints states, transitions and seconds, and every law that was broken, with the shortest way there.
"""

import argparse
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import product
from typing import Any

from benchctl.core import decide as bench
from benchctl.core.command import Command, Verb
from benchctl.core.decision import Settings, first_state
from benchctl.core.inputs import Inputs
from benchctl.core.orders import NO_WRITES, UnitWrites, Write
from benchctl.core.profile import CoolDown, Fan, FanSupply
from benchctl.core.reading import NOT_ASKED_INSTRUMENT, NOT_ASKED_UNIT, InstrumentReading, Outcome, UnitReading
from benchctl.core.site import Attendance, Limits
from benchctl.core.state import State, undecided
from tests.core.worlds import electrical, site, staged, stepped
from tests.laws.observer import Memory, first_memory, watch
from tests.laws.rules import hand_laws

DT_S = 2.0
TERMS = CoolDown(minimum_s=2.0, margin_k=10.0, near_s=2.0, alarm_s=4.0)
LIMITS = Limits(
    largest_block_up_percent=100.0,
    settle_s=2.0,
    stale_s=2.0,
    lost_s=4.0,
    fan_start_gap_s=2.0,
    volts_trip_s=2.0,
    hertz_low_s=2.0,
    volts_low_s=2.0,
    unload_step_s=2.0,
    block_window_s=2.0,
    volts_warn_s=2.0,
    hertz_low_warn_s=2.0,
    over_power_s=2.0,
    over_current_s=2.0,
    hertz_stall_s=2.0,
    source_cooldown_s=2.0,
)
SOON = Attendance(check_in_s=4.0, console_lost_s=4.0, alarm_after_s=2.0, unload_after_s=4.0)
SHORT: dict[str, Any] = {
    "fan": Fan(1.0, FanSupply.SEPARATE, proof_s=2.0),
    "cooldown": TERMS,
    "faults": (),
    "follow_s": 2.0,
    "watchdog": None,
}
METER = InstrumentReading(Outcome.OK, electrical(400.0, 50.0, (0.0, 0.0, 0.0), 0))
METER = replace(METER, electrical=replace(METER.electrical, refresh_count=None, phase_kw=(None,) * 3, power_kw=None))

DO = ("well", "hot", "no air", "air not known", "stuck", "foreign", "silent", "stop")  # what a unit may do in a scan
BURSTS: tuple[tuple[Command, ...], ...] = tuple(
    tuple(burst)
    for n in (0, 1, 2)
    for burst in product(
        (
            Command(Verb.TAKE_CHARGE),
            Command(Verb.SET_LOAD, value=60.0),
            Command(Verb.DROP),
            Command(Verb.RESET),
            Command(Verb.JOIN, unit=0),
            Command(Verb.RESUME),
            Command(Verb.CONFIRM_FANS, unit=0),
            Command(Verb.ADOPT),
            Command(Verb.UNLOAD),
            Command(Verb.CHECK_IN),
            Command(Verb.SHELVE, why="x", text="hertz off", value=4.0),
            Command(Verb.SWITCH, unit=0, text="1", value=1.0),
            Command(Verb.SWITCH, unit=0, text="1", value=0.0),
            Command(Verb.SWITCH, unit=1, value=40.0),
        ),
        repeat=n,
    )
)


@dataclass(frozen=True, slots=True)
class World:
    """What an exploration may do: settings, doings per unit, bursts, endings of a closing; who may be attached.

    loads: what the units have on when the session begins, with their fans running.
    """

    settings: Settings
    doings: tuple[tuple[str, ...], ...]
    bursts: tuple[tuple[Command, ...], ...]
    endings: tuple[Write, ...]
    attached: tuple[bool | None, ...] = (None,)
    loads: tuple[int, ...] = (0, 0)


@dataclass(slots=True)
class Found:
    """What an exploration found."""

    states: int = 0
    transitions: int = 0
    seconds: float = 0.0
    closed: bool = False
    broken: dict[str, list[str]] = field(default_factory=dict)  # law -> way there


Node = tuple[State, Memory, tuple[int, ...], tuple[bool, ...]]  # the plant's loads and fans go with it


def small(
    *,
    doings: tuple[str, ...] = DO,
    second: tuple[str, ...] = ("well",),
    bursts: int = 1,
    endings: tuple[Write, ...] = (Write.DONE,),
) -> World:
    """Two units, the second of which has a set point."""
    units = (staged(20.0, 40.0, **SHORT), stepped(40.0, 20.0, **SHORT))
    place = site(*units, nameplate_kw=80.0, limits=LIMITS, attendance=SOON)
    return World(
        Settings.of(place, None, DT_S), (doings, second), tuple(b for b in BURSTS if len(b) <= bursts), endings
    )


def explore(world: World, *, seconds: float, most: int = 2_000_000) -> Found:
    """Enumerate until nothing new is reached, or time or states run out."""
    place = world.settings.site
    fans = tuple([load > 0 for load in world.loads])
    start: Node = (first_state(world.settings), first_memory(place), world.loads, fans)
    seen = {key(start)}
    waiting: deque[tuple[Node, list[str]]] = deque([(start, [])])
    found, begun = Found(), time.perf_counter()
    while waiting and len(seen) < most:
        found.seconds = time.perf_counter() - begun
        if found.seconds > seconds:
            break
        node, way = waiting.popleft()
        for label, after, broken in steps(world, node):
            found.transitions += 1
            for law in broken:
                found.broken.setdefault(law, [*way, label])
            known = key(after)
            if known not in seen:
                seen.add(known)
                waiting.append((after, [*way, label]))
    found.states, found.closed = len(seen), not waiting
    found.seconds = time.perf_counter() - begun
    return found


def steps(world: World, node: Node) -> Iterator[tuple[str, Node, list[str]]]:
    """Every scan that can follow."""
    state, memory, loads, fans = node
    place = world.settings.site
    closings = [u.sent is not None for u in state.units]
    endings = [world.endings if sent else (Write.NONE,) for sent in closings]
    for doing in product(*world.doings):
        for ends in product(*endings):
            writes = tuple(UnitWrites(closing=e) if e is not Write.NONE else NO_WRITES for e in ends)
            readings, plant = _read(place, doing, ends, state, loads, fans)
            for burst, attached in product(world.bursts, world.attached):
                inputs = Inputs(0.0, DT_S, readings, (METER,), burst, writes, attached=attached)
                decision = bench.decide(state, inputs, world.settings)
                memory_after, broken = watch(memory, inputs, decision.orders, place, gap_s=4.0 * DT_S)
                broken += hand_laws(decision.state, inputs, decision.orders, place)
                label = f"{'/'.join(doing)} {[c.verb.value for c in burst]} {[e.value for e in ends]} {attached}"
                fans_after = tuple(
                    [f if o.fan is None else o.fan for f, o in zip(fans, decision.orders.units, strict=True)]
                )
                yield label, (_slim(decision.state), memory_after, plant, fans_after), broken


def _read(place, doing, ends, state: State, loads, fans):
    """What the units answer, and the loads that they then have."""
    readings, after = [], []
    for i, (unit, what) in enumerate(zip(place.units, doing, strict=True)):
        u = state.units[i]
        in_force = u.wanted if u.sent is None or ends[i] in (Write.DONE, Write.UNKNOWN) else 0
        unwritten = not u.heard or (u.found and (not state.charge or undecided(state, u)) and not state.dropped)
        still = unwritten or what in ("stuck", "silent")
        load = loads[i] if still else in_force & (3 if unit.profile.stages else 99)
        load = 1 if what == "foreign" else load
        after.append(load)
        if what == "silent":
            readings.append(UnitReading(Outcome.SILENT))
            continue
        air = None if what == "air not known" else fans[i] and what != "no air"
        readings.append(
            UnitReading(
                Outcome.OK,
                load=load,
                remote=True,
                fan_on=fans[i],
                airflow=air,
                fan_supply=True,
                emergency_stop=what == "stop",
                inlet_c=20.0,
                exhaust_c=300.0 if what == "hot" else 25.0,
                identity_ok=True,
            )
        )
    return tuple(readings), tuple(after)


def _slim(state: State) -> State:
    """Leave out what only counts up and decides nothing: orders of first-out, counts, ages beyond lost."""
    state.alarm_order = 0
    state.alarms = {k: replace(a, count=1, order=1) for k, a in state.alarms.items()}
    state.trip = None if state.trip is None else replace(state.trip, text="", program_s=0.0)
    if state.prompt is not None:  # a question stays open for two scans
        state.prompt = replace(state.prompt, text="", remaining_s=min(state.prompt.remaining_s, 2.0 * DT_S))
    state.charge = "x" if state.charge else ""
    state.held = "x" if state.held else ""
    for u in state.units:
        u.age_s, u.opening_s, u.steady_s = min(u.age_s, 4.0), min(u.opening_s, 4.0), 0.0
        u.cooling_s, u.fan_on_s, u.air_off_s = min(u.cooling_s, 4.0), min(u.fan_on_s, 6.0), min(u.air_off_s, 30.0)
    for i in state.instruments:
        i.last = METER if i.last is not NOT_ASKED_INSTRUMENT else i.last
    return state


def key(node: Node) -> int:
    """A hash of all that can matter later."""
    state, memory, loads, fans = node
    units = tuple(
        tuple(None if f == "last" and u.last is NOT_ASKED_UNIT else getattr(u, f) for f in u.__slots__)
        for u in state.units
    )
    rest = tuple(
        getattr(state, f)
        for f in (
            "charge",
            "alone_s",
            "person_s",
            "found_s",
            "mode",
            "target_kw",
            "held",
            "prompt",
            "unload_s",
            "unload_fast",
            "by_hand",
            "shelved",
            "outcome",
            "after_unload",
            "room_kw",
            "block_s",
            "short_kw",
            "settle_s",
            "fan_gap_s",
            "trip",
            "dropped",
            "site_kw",
            "volts_v",
            "source_cool_s",
        )
    )
    return hash(
        (
            units,
            rest,
            tuple(sorted((k, a.active, a.acknowledged, a.latched, a.on_s) for k, a in state.alarms.items())),
            memory,
            loads,
            fans,
        )
    )


def main() -> None:
    """The larger exploration, from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--states", type=int, default=2_000_000)
    parser.add_argument("--bursts", type=int, default=2)
    args = parser.parse_args()
    world = small(second=DO, bursts=args.bursts, endings=(Write.DONE, Write.REFUSED, Write.UNKNOWN, Write.NOT_SENT))
    found = explore(world, seconds=args.seconds, most=args.states)
    end = "closed" if found.closed else "NOT closed"
    print(f"{found.states} states, {found.transitions} transitions, {found.seconds:.0f} s, {end}")
    for law, way in found.broken.items():
        print(law, *way, sep="\n    ")
    raise SystemExit(bool(found.broken))


if __name__ == "__main__":
    main()
