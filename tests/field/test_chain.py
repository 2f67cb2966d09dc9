"""Scans of the chain in virtual time, over memory: one deadline, and silence that delays nobody."""

import asyncio

import pytest

from benchctl.core.orders import UnitOrders, Write
from benchctl.core.reading import Outcome
from benchctl.core.registers import Kind, Point
from benchctl.field.answer import Got
from benchctl.field.chain import Chain
from benchctl.field.sweep import pack, readings, unpack
from benchctl.files import read_site
from simulator.bench import Bench
from simulator.cable import Memory as Cables
from simulator.warp import WarpLoop, run
from tests.field.made import H, profile
from tests.field.scenes import GATE, PLACES, after, banks, behind_a_gateway, now, orders
from tests.field.scripted import Memory, good


def test_a_scan_of_the_shipped_site_reads_every_device_of_the_simulator():
    loop = WarpLoop()

    async def scene():
        place, _ = read_site("northquay")
        chain = Chain(place, connect=Cables(Bench(place), loop).connect)
        sweep = await chain.read(now() + 0.5)
        units, instruments = readings(place, sweep)
        assert all(u.outcome is Outcome.OK and u.identity_ok and not u.suspect for u in units)
        assert all(i.outcome is Outcome.OK and i.identity_ok and not i.suspect for i in instruments)
        assert all(u.load == 0 and u.faults == 0 and u.serial for u in units)
        assert unpack(place, pack(sweep)) == sweep
        second = await chain.read(now() + 0.5)
        assert any(a.got is Got.NOT_ASKED for u in second.units for a in u)  # what is read seldom
        assert all(u.outcome is Outcome.OK for u in readings(place, second)[0])
        await chain.close()

    run(scene(), loop)


def test_a_silent_unit_on_its_own_socket_delays_nobody():
    async def scene():
        memory = Memory({PLACES[0]: after(0.02, good()), PLACES[1]: lambda a: None, PLACES[2]: after(0.02, good())})
        place = banks()
        chain = Chain(place, connect=memory.connect)
        took, outcomes = [], []
        for _ in range(40):
            began = now()
            sweep = await chain.read(began + 0.4)
            took.append(now() - began)
            outcomes.append([u.outcome for u in readings(place, sweep)[0]])
            await asyncio.sleep(0.5 - took[-1])
        assert took[0] == pytest.approx(0.4)
        assert max(took[1:]) < 0.1  # from then on only its own connection waits for it
        assert all(o[0] is o[2] is Outcome.OK for o in outcomes)
        assert {o[1] for o in outcomes} <= {Outcome.SILENT, Outcome.NOT_ASKED, Outcome.DOWN}
        assert chain.counts["bank 2"].timeouts <= 9
        await chain.close()

    run(scene())


def test_a_missing_unit_behind_a_gateway_costs_one_time_out_a_back_off_interval_and_is_asked_last():
    async def scene():
        memory = Memory({GATE: lambda a: None if a.unit_id == 1 else (0.02, good()(a))})
        place = behind_a_gateway()
        chain = Chain(place, connect=memory.connect)
        heard = 0
        for _ in range(60):
            began = now()
            sweep = await chain.read(began + 0.45)
            heard += sum(u.outcome is Outcome.OK for u in readings(place, sweep)[0])
            await asyncio.sleep(began + 0.5 - now())
        missing = [a.at_s for a in memory.asked[GATE] if a.unit_id == 1]
        # back-off 0.2 s doubling to 5 s, over 30 s, each with its own time-out of 1 s
        assert len(missing) <= 10
        # a time-out of 1 s takes the line from two or three scans of the others
        assert heard >= 2 * 60 - 2 * 3 * len(missing)
        for at in missing[1:]:
            same = [a.unit_id for a in memory.asked[GATE] if abs(a.at_s - at) < 0.1 and a.at_s <= at]
            assert same[-1] == 1
        await chain.close()

    run(scene())


def test_a_gateway_that_answers_for_a_missing_unit_makes_it_rest_too():
    async def scene():
        memory = Memory({GATE: lambda a: a.frame(bytes((a.function | 0x80, 11))) if a.unit_id == 1 else good()(a)})
        place = behind_a_gateway(2)
        chain = Chain(place, connect=memory.connect)
        sweep = await chain.read(now() + 0.4)
        assert [u.outcome for u in readings(place, sweep)[0]] == [Outcome.GATEWAY, Outcome.OK]
        sweep = await chain.read(now() + 0.4)
        assert [u.outcome for u in readings(place, sweep)[0]] == [Outcome.NOT_ASKED, Outcome.OK]
        await chain.close()

    run(scene())


def test_a_unit_that_returns_is_read_whole_with_what_identifies_it():
    async def scene():
        there = {"now": True}
        points = (Point("exhaust_c", H, 0, Kind.INT16), Point("known_value", H, 90, Kind.UINT16, expect=0, once=True))
        place = behind_a_gateway(2, profile(points))
        memory = Memory({GATE: lambda a: good()(a) if there["now"] or a.unit_id == 2 else None})
        chain = Chain(place, connect=memory.connect)
        identified = []
        for scan in range(24):
            there["now"] = not 3 <= scan < 9
            sweep = await chain.read(now() + 0.7)
            identified.append([u.identity_ok for u in readings(place, sweep)[0]])
            await asyncio.sleep(1.0)
        # less than a minute: each is identified at contact, and the one that was away again when it returns
        assert [sum(known is True for known in column) for column in zip(*identified, strict=True)] == [2, 1]
        await chain.close()

    run(scene())


def test_the_shared_gateway_carries_on_where_a_short_scan_ended():
    async def scene():
        place = behind_a_gateway(4)
        memory = Memory({GATE: after(0.1, good())})
        chain = Chain(place, connect=memory.connect)
        read = [0] * 4
        for _ in range(12):
            sweep = await chain.read(now() + 0.25)
            for i, u in enumerate(readings(place, sweep)[0]):
                read[i] += u.outcome is Outcome.OK
            await asyncio.sleep(0.25)
        assert min(read) >= 2
        await chain.close()

    run(scene())


def test_a_cut_ends_a_scan_at_once_with_what_is_known():
    async def scene():
        memory = Memory({PLACES[0]: good(), PLACES[1]: lambda a: None, PLACES[2]: lambda a: (3.0, good()(a))})
        place = banks()
        chain = Chain(place, connect=memory.connect)
        cut = asyncio.Event()
        asyncio.get_running_loop().call_later(0.1, cut.set)
        sweep = await chain.read(now() + 5.0, cut)
        assert now() == pytest.approx(0.1)
        assert sweep.cut_short
        assert [u.outcome for u in readings(place, sweep)[0]] == [Outcome.OK, Outcome.NOT_ASKED, Outcome.NOT_ASKED]
        done = await chain.write(orders(*[UnitOrders(lower=True)] * 3, urgent=True), now() + 0.3)
        assert done[0].opening is Write.DONE
        assert now() < 0.3
        await chain.close()

    run(scene())


def test_a_slow_unit_that_returns_is_heard_again_though_its_openings_are_repeated():
    async def scene():
        there = {"now": False}
        place = banks(count=1)
        memory = Memory({PLACES[0]: lambda a: (0.3, good()(a)) if there["now"] else None})
        chain = Chain(place, connect=memory.connect)
        outcomes = []
        for scan in range(60):
            there["now"] = scan >= 10
            began = now()
            sweep = await chain.read(began + 0.7)
            outcomes.append(readings(place, sweep)[0][0].outcome)
            await chain.write(orders(UnitOrders(lower=True)), began + 0.95)
            await asyncio.sleep(max(0.0, began + 1.0 - now()))
        assert outcomes[-1] is Outcome.OK
        assert outcomes.index(Outcome.OK) < 30
        await chain.close()

    run(scene())


def test_an_abandoned_unit_is_never_asked_again():
    async def scene():
        place = banks(count=2)
        memory = Memory({p: good() for p in PLACES[:2]})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.4)
        chain.abandon(0)
        count = len(memory.asked[PLACES[0]])
        for _ in range(30):
            sweep = await chain.read(now() + 0.4)
            await asyncio.sleep(1.0)
        assert [u.outcome for u in readings(place, sweep)[0]] == [Outcome.DOWN, Outcome.OK]
        done = await chain.write(orders(*[UnitOrders(lower=True)] * 2, urgent=True), now() + 0.4)
        assert [d.opening for d in done] == [Write.NOT_SENT, Write.DONE]
        assert len(memory.asked[PLACES[0]]) == count
        await chain.close()

    run(scene())


def test_a_lost_connection_is_told_as_down_and_comes_back_by_itself():
    async def scene():
        place = banks(count=2)
        memory = Memory({p: good() for p in PLACES[:2]})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.4)
        memory.connections[0].transport.close()
        await asyncio.sleep(0.01)
        outcomes = []
        for _ in range(4):
            began = now()
            outcomes.append(readings(place, await chain.read(began + 0.4))[0][0].outcome)
            assert now() - began < 0.1
            await asyncio.sleep(0.5)
        assert outcomes[0] is Outcome.DOWN
        assert outcomes[-1] is Outcome.OK
        await chain.close()

    run(scene())
