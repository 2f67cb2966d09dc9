"""The scan loop with a scripted chain in virtual time: grid, late scans, drops, failures, clocks, listeners."""

import asyncio
from itertools import pairwise

import pytest

from benchctl import engine as room
from benchctl.core.command import Command, Verb
from benchctl.core.decide import decide
from benchctl.core.decision import Frame, Settings
from benchctl.core.orders import Orders, UnitWrites
from benchctl.core.reading import NOT_ASKED_UNIT
from benchctl.engine import Engine
from simulator.warp import WarpLoop, run
from tests.core.worlds import FakeUnit, Plant, site, staged

PLACE = site(staged(20.0, 40.0), staged(20.0, 40.0))
SETTINGS = Settings.of(PLACE, None, 0.5)


class Scripted:
    """A chain whose reads and writes take as long as they are told. reads, writes: (begin, end) times."""

    def __init__(self) -> None:
        self.plant = Plant([FakeUnit(u.profile) for u in PLACE.units])
        self.read_s = 0.01
        self.write_s = 0.01
        self.reads: list[tuple[float, float]] = []
        self.writes: list[tuple[float, Orders]] = []
        self.deadlines: list[float] = []

    async def read(self, until_s: float, cut: asyncio.Event | None = None):
        loop = asyncio.get_running_loop()
        begin_s = loop.time()
        self.deadlines.append(until_s - begin_s)
        waiter = loop.create_task((cut or asyncio.Event()).wait())
        done, _ = await asyncio.wait({waiter}, timeout=self.read_s)
        waiter.cancel()
        self.reads.append((begin_s, loop.time()))
        units, instruments = self.plant.read(with_meter=True)
        return ((NOT_ASKED_UNIT,) * len(units), instruments) if done else (units, instruments)

    def readings(self, sweep):
        return sweep

    async def write(self, orders: Orders, until_s: float, cut=None) -> tuple[UnitWrites, ...]:
        loop = asyncio.get_running_loop()
        self.writes.append((loop.time(), orders))
        if orders.urgent or cut is None:
            await asyncio.sleep(self.write_s)
        else:
            await asyncio.wait({waiter := loop.create_task(cut.wait())}, timeout=self.write_s)
            waiter.cancel()
        return tuple(u.write(o) for u, o in zip(self.plant.units, orders.units, strict=True))


def driven(seconds: float, act=None, *, wall=None, listeners=()) -> tuple[list[Frame], Scripted, Engine]:
    """Run an engine for a time; act(engine, chain) runs beside it."""
    frames: list[Frame] = []
    chain = Scripted()
    loop = WarpLoop()
    engine = Engine(SETTINGS, chain, wall or loop.time, (frames.append, *listeners))

    async def go() -> None:
        beside = loop.create_task(act(engine, chain)) if act else None
        await engine.run(lambda frame: loop.time() >= seconds)
        if beside:
            await beside

    run(go(), loop)
    return frames, chain, engine


def test_scans_lie_on_a_grid_however_long_reading_takes():
    async def slower(engine, chain):
        for read_s in (0.01, 0.2, 0.05, 0.29):
            chain.read_s = read_s
            await asyncio.sleep(1.0)

    _, chain, _ = driven(4.0, slower)
    assert [begin for begin, _ in chain.reads] == pytest.approx([0.5 * i for i in range(len(chain.reads))])


def test_reads_get_a_share_of_the_period_as_their_deadline():
    _, chain, _ = driven(2.0)
    assert {round(d, 6) for d in chain.deadlines} == {0.3}


def test_after_a_late_scan_nothing_catches_up():
    async def stalls(engine, chain):
        await asyncio.sleep(1.1)
        chain.write_s = 1.2
        await asyncio.sleep(0.6)
        chain.write_s = 0.01

    frames, chain, _ = driven(6.0, stalls)
    begins = [begin for begin, _ in chain.reads]
    assert len(begins) <= 12
    assert min(b - a for a, b in pairwise(begins)) > 0.1
    assert begins[-1] * 2 == pytest.approx(round(begins[-1] * 2), abs=1e-6)
    assert sum(f.inputs.dt_s for f in frames) == pytest.approx(frames[-1].inputs.now_s - frames[0].inputs.now_s)


def test_a_drop_cuts_reads_short_and_is_written_at_once():
    async def drops(engine, chain):
        await asyncio.sleep(0.6)
        engine.submit(Command(Verb.TAKE_CHARGE))
        await asyncio.sleep(0.6)
        chain.plant.units[0].load = 3
        chain.read_s = 0.29
        await asyncio.sleep(0.4)  # in the read that began at 1.5 s
        engine.submit(Command(Verb.DROP))

    frames, chain, _ = driven(3.0, drops)
    dropped = next(f for f in frames if f.inputs.cut_short)
    assert dropped.inputs.now_s == pytest.approx(1.6 + chain.write_s)  # nothing is decided before
    when, orders = next(w for w in chain.writes if w[1].urgent)
    assert when == pytest.approx(1.6)
    assert all(o.lower and o.keep == 0 for o in orders.units)
    assert chain.plant.units[0].load == 0


def test_a_drop_between_scans_does_not_wait_for_the_next_place_of_the_grid():
    async def drops(engine, chain):
        await asyncio.sleep(1.3)
        engine.submit(Command(Verb.DROP))

    _, chain, _ = driven(3.0, drops)
    assert next(when for when, orders in chain.writes if orders.urgent) == pytest.approx(1.3)


def test_a_drop_ends_the_writes_in_hand():
    async def drops(engine, chain):
        chain.write_s = 0.15  # a unit that has just fallen silent
        await asyncio.sleep(1.05)
        assert chain.writes[-1][0] == pytest.approx(1.01)
        engine.submit(Command(Verb.DROP))

    _, chain, _ = driven(3.0, drops)
    assert next(when for when, orders in chain.writes if orders.urgent) == pytest.approx(1.05)


def test_a_drop_that_comes_while_answers_are_decoded_is_written_before_anything_is_decided():
    order: list[str] = []

    async def drops(engine, chain):
        await asyncio.sleep(1.2)
        loop, decode, write = asyncio.get_running_loop(), chain.readings, chain.write

        def readings(sweep):
            order.append("decode")
            loop.call_soon(engine.submit, Command(Verb.DROP))
            engine.expect_drop()
            chain.readings = decode
            return decode(sweep)

        async def written(given, until_s, cut=None):
            order.append("urgent" if given.urgent else "other")
            return await write(given, until_s, cut)

        chain.readings, chain.write = readings, written

    frames, _, _ = driven(2.4, drops)
    assert order[:2] == ["decode", "urgent"]
    dropped = next(f for f in frames if f.inputs.commands)
    assert dropped.decision.state.dropped
    assert not dropped.inputs.cut_short
    assert all(u.tells for u in (r.outcome for r in dropped.inputs.units))


def test_a_drop_that_comes_while_it_is_decided_is_known_to_the_chain_before_it_sends_other_orders(monkeypatch):
    known: list[tuple[bool, bool]] = []

    async def drops(engine, chain):
        await asyncio.sleep(1.2)
        loop, write = asyncio.get_running_loop(), chain.write

        def deciding(state, inputs, settings):
            loop.call_soon(engine.submit, Command(Verb.DROP))
            engine.expect_drop()
            monkeypatch.setattr(room, "decide", decide)
            return decide(state, inputs, settings)

        async def written(given, until_s, cut=None):
            known.append((given.urgent, cut.is_set()))
            return await write(given, until_s, cut)

        monkeypatch.setattr(room, "decide", deciding)
        chain.write = written

    frames, chain, _ = driven(2.4, drops)
    assert known[:2] == [(False, True), (True, True)]
    ordinary, urgent = (next(at for at, o in chain.writes if at > 1.2 and o.urgent is u) for u in (False, True))
    assert urgent == ordinary
    assert any(f.inputs.cut_short for f in frames)


def test_a_drop_goes_to_every_unit_whatever_is_known_of_it_and_touches_nothing_but_load():
    async def drops(engine, chain):
        await asyncio.sleep(1.3)
        engine.submit(Command(Verb.DROP))

    _, chain, _ = driven(3.0, drops)
    first = next(orders for _, orders in chain.writes if orders.urgent)
    assert [(o.keep, o.raise_to, o.fan, o.feed, o.lower, o.silent) for o in first.units] == [
        (0, None, None, False, True, False)
    ] * len(PLACE.units)


def test_when_deciding_fails_everything_is_ordered_open_told_and_the_loop_ends(monkeypatch):
    calls: list[int] = []

    def fails(state, inputs, settings):
        calls.append(1)
        if len(calls) == 4:
            raise ZeroDivisionError("of all things")
        return decide(state, inputs, settings)

    monkeypatch.setattr(room, "decide", fails)
    frames, chain, engine = driven(60.0)
    assert len(frames) == 4
    assert frames[-1].fault == engine.failed == "ZeroDivisionError: of all things"
    orders = chain.writes[-1][1]
    assert orders.urgent
    assert all(o.keep == 0 and o.lower and o.fan is True and not o.feed and not o.silent for o in orders.units)


def test_a_step_of_the_wall_clock_is_told_and_moves_nothing_else():
    steps = {"s": 0.0}

    def wall() -> float:
        return asyncio.get_running_loop().time() + steps["s"]

    async def steps_back(engine, chain):
        await asyncio.sleep(1.6)
        steps["s"] = -2400.0

    frames, _, _ = driven(3.0, steps_back, wall=wall)
    told = [f for f in frames if f.inputs.clock_stepped_s]
    assert [f.inputs.clock_stepped_s for f in told] == [pytest.approx(-2400.0)]
    assert [e.kind for e in told[0].decision.events] == ["clock"]
    assert [f.number for f in frames] == list(range(len(frames)))
    assert all(f.inputs.dt_s == pytest.approx(0.5) for f in frames[1:])


def test_the_age_of_a_command_is_what_it_was_given_and_the_time_it_waited():
    async def asks(engine, chain):
        await asyncio.sleep(0.7)
        engine.submit(Command(Verb.TAKE_CHARGE, age_s=1.0))

    frames, _, _ = driven(2.0, asks)
    given = next(f for f in frames if f.inputs.commands)
    assert given.inputs.commands[0].age_s == pytest.approx(1.0 + 0.3 + 0.01)


def test_the_outcome_of_writes_is_an_input_of_the_next_scan():
    frames, _, _ = driven(2.0)
    for before, after in pairwise(frames):
        assert after.inputs.writes == before.writes
