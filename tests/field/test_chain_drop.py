"""A drop on the chain, and the cut that ends what it finds in hand, in virtual time, over memory."""

import asyncio

import pytest

from benchctl.core.orders import UnitOrders, Write
from benchctl.core.site import Endpoint
from benchctl.field.answer import Got
from benchctl.field.chain import Chain
from benchctl.field.device import Device
from benchctl.field.encode import Request
from benchctl.field.link import Link
from benchctl.field.modbus import write_question
from simulator.warp import run
from tests.field.scenes import GATE, PLACES, after, banks, behind_a_gateway, now, orders, written
from tests.field.scripted import Memory, good, served


def test_a_drop_is_written_while_a_read_is_in_progress_and_mute_units_come_last():
    async def scene():
        mute = {"now": False}
        memory = Memory({GATE: lambda a: None if mute["now"] and a.unit_id == 1 else (0.05, good()(a))})
        place = behind_a_gateway()
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 1.0)
        mute["now"] = True
        await chain.read(now() + 1.5)
        memory.asked[GATE].clear()
        reading = asyncio.create_task(chain.read(now() + 1.0))
        await asyncio.sleep(0.06)
        began = now()
        done = await chain.write(orders(*[UnitOrders(lower=True)] * 3, urgent=True), began + 1.0)
        writes = [a for a in memory.asked[GATE] if a.function == 6]
        assert writes[0].at_s == began
        assert [a.unit_id for a in writes] == [2, 3, 1]
        assert [d.opening for d in done] == [Write.UNKNOWN, Write.DONE, Write.DONE]
        assert now() - began < 0.1 + 0.16 + 0.01
        await reading
        await chain.close()

    run(scene())


def test_a_drop_goes_to_every_answering_unit_in_the_call_that_orders_it_and_only_then_to_mute_ones():
    async def scene():
        place = banks(count=4)
        memory = Memory({PLACES[0]: lambda a: None, **{p: after(0.02, good()) for p in PLACES[1:]}})
        sent: list[tuple[Endpoint, int]] = []

        async def connect(endpoint, factory):
            near, client = await memory.connect(endpoint, factory)
            write = near.write

            def noted(data):
                sent.append((endpoint, data[7]))
                return write(data)

            near.write = noted
            return near, client

        chain = Chain(place, connect=connect)
        for _ in range(2):
            await chain.read(now() + 0.4)
        await asyncio.sleep(1.0)
        cut = asyncio.Event()
        reading = asyncio.create_task(chain.read(now() + 0.4, cut))
        await asyncio.sleep(0.01)  # in the middle of a scan
        cut.set()
        await reading
        sent.clear()
        dropping = asyncio.create_task(chain.write(orders(*[UnitOrders(lower=True)] * 4, urgent=True), now() + 0.4))
        await asyncio.sleep(0)  # its first step, and nothing else
        assert sent == [(p, 6) for p in (*PLACES[1:], PLACES[0])]
        assert [w.opening for w in await dropping] == [Write.UNKNOWN, *[Write.DONE] * 3]
        await chain.close()

    run(scene())


def test_the_frames_of_a_drop_are_on_every_free_line_before_anything_else_is_worked_out(monkeypatch):
    async def scene():
        happened: list[str] = []
        memory = Memory({p: after(0.02, good()) for p in PLACES[:3]})

        async def connect(endpoint, factory):
            near, client = await memory.connect(endpoint, factory)
            write = near.write

            def noted(data):
                happened.append("sent")
                return write(data)

            near.write = noted
            return near, client

        chain = Chain(banks(), connect=connect)
        await chain.read(now() + 0.4)
        encoded = Device.encoded

        def working(*given, **more):
            happened.append("worked out")
            return encoded(*given, **more)

        monkeypatch.setattr(Device, "encoded", working)
        happened.clear()
        done = await chain.write(orders(*[UnitOrders(lower=True)] * 3, urgent=True), now() + 0.4)
        assert happened == ["sent"] * 3 + ["worked out"] * 3  # and none is sent twice
        assert [w.opening for w in done] == [Write.DONE] * 3
        await chain.close()

    run(scene())


async def test_what_was_sent_ahead_and_is_not_asked_leaves_the_next_request_alone():
    async with served(good()) as device:
        link = Link(device.endpoint)
        await link.ready(now() + 3.0)
        link.begin_ahead(write_question(1, Request(6, 100, (0,))))
        answer = await written(link, Request(6, 100, (1,)), 1.0, now() + 1.0)
        assert answer.got is Got.OK
        assert [a.pdu.hex() for a in device.asked] == ["0600640000", "0600640001"]
        link.close()


def test_a_cut_ends_writes_at_once_and_says_what_may_be_in_force():
    async def scene():
        place = behind_a_gateway(2)
        memory = Memory({GATE: after(0.1, good())})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 1.0)
        memory.asked[GATE].clear()
        cut, began = asyncio.Event(), now()
        asyncio.get_running_loop().call_later(0.15, cut.set)
        given = orders(UnitOrders(raise_to=1, feed=True), UnitOrders(raise_to=1))
        done = await chain.write(given, began + 1.0, cut)
        assert now() - began == pytest.approx(0.15)
        assert [d.closing for d in done] == [Write.DONE, Write.UNKNOWN]
        assert done[0].feed is Write.NOT_SENT
        dropped = await chain.write(orders(*[UnitOrders(lower=True)] * 2, urgent=True), began + 1.0, cut)
        assert [d.opening for d in dropped] == [Write.DONE] * 2  # a drop is not cut by its own command
        assert [(a.unit_id, a.count) for a in memory.asked[GATE]] == [(1, 1), (2, 1), (1, 0), (2, 0)]
        await chain.close()

    run(scene())


def test_after_a_cut_only_urgent_orders_are_sent():
    async def scene():
        place = banks(count=2)
        memory = Memory({p: good({3: 1}) for p in PLACES[:2]})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.4)
        for asked in memory.asked.values():
            asked.clear()
        cut = asyncio.Event()
        cut.set()
        given = orders(UnitOrders(lower=True, fan=True), UnitOrders(raise_to=3, feed=True))
        done = await chain.write(given, now() + 0.4, cut)
        assert (done[0].opening, done[0].fan) == (Write.NOT_SENT, Write.NOT_SENT)
        assert (done[1].closing, done[1].feed) == (Write.NOT_SENT, Write.NOT_SENT)
        await asyncio.sleep(0.1)
        assert list(memory.asked.values()) == [[], []]
        dropped = await chain.write(orders(*[UnitOrders(lower=True)] * 2, urgent=True), now() + 0.4, cut)
        assert [d.opening for d in dropped] == [Write.DONE] * 2
        await chain.close()

    run(scene())


def test_a_cut_does_not_wait_for_a_mute_unit():
    async def scene():
        place = banks(count=2)
        memory = Memory({PLACES[0]: lambda a: None, PLACES[1]: good()})
        chain = Chain(place, connect=memory.connect)
        for _ in range(3):
            await chain.read(now() + 0.4)
        await asyncio.sleep(1.0)
        cut, began = asyncio.Event(), now()
        asyncio.get_running_loop().call_later(0.01, cut.set)
        done = await chain.write(orders(UnitOrders(lower=True), UnitOrders(raise_to=1)), began + 0.5, cut)
        assert now() - began == pytest.approx(0.01)
        assert (done[0].opening, done[1].closing) == (Write.UNKNOWN, Write.DONE)
        await chain.close()

    run(scene())
