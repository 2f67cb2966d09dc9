"""Orders to the chain in virtual time, over memory: in their groups, and not held up by mute units."""

import asyncio
from dataclasses import replace

import pytest

from benchctl.core.orders import NO_WRITES, UnitOrders, Write
from benchctl.core.reading import Outcome
from benchctl.core.registers import Kind, Point, RegisterMap
from benchctl.field.chain import Chain
from benchctl.field.sweep import readings
from simulator.warp import run
from tests.field.made import H, coil_bank, mask_bank, site, unit
from tests.field.scenes import GATE, PLACES, after, banks, behind_a_gateway, now, orders
from tests.field.scripted import Memory, good


def test_openings_fans_closings_and_feed_go_out_in_this_order():
    async def scene():
        place = banks(count=2)
        memory = Memory({p: after(0.01, good({3: 0b0011})) for p in PLACES[:2]})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.4)
        for asked in memory.asked.values():
            asked.clear()
        done = await chain.write(
            orders(
                UnitOrders(keep=0b0001, lower=True, fan=True, feed=True),
                UnitOrders(keep=0b0011, raise_to=0b0111, fan=True, feed=True),
            ),
            now() + 0.4,
        )
        first, second = memory.asked[PLACES[0]], memory.asked[PLACES[1]]
        assert [a.address for a in first] == [0, 1, 2]
        assert [a.address for a in second] == [1, 0, 2]
        assert second[1].at_s > first[0].at_s + 0.01  # no closing before every opening is acknowledged
        assert [(d.opening, d.fan, d.closing, d.feed) for d in done] == [
            (Write.DONE, Write.DONE, Write.NONE, Write.DONE),
            (Write.NONE, Write.DONE, Write.DONE, Write.DONE),
        ]
        await chain.close()

    run(scene())


@pytest.mark.parametrize(
    ("reply", "opening"),
    [
        (lambda a: a.frame(bytes((a.function | 0x80, 4))), Write.REFUSED),
        (lambda a: None, Write.UNKNOWN),
        (lambda a: a.frame(b"\6\0\0\0\7"), Write.UNKNOWN),
        (lambda a: a.frame(bytes((a.function | 0x80, 11))), Write.UNKNOWN),
        (lambda a: "close", Write.UNKNOWN),
    ],
)
def test_A7_no_closing_goes_out_after_an_opening_that_was_not_acknowledged(reply, opening):
    async def scene():
        place = banks(count=2)
        memory = Memory({PLACES[0]: lambda a: reply(a) if a.function == 6 else good()(a), PLACES[1]: good()})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.4)
        done = await chain.write(orders(UnitOrders(lower=True), UnitOrders(raise_to=1)), now() + 0.4)
        assert (done[0].opening, done[1].closing) == (opening, Write.NOT_SENT)
        assert not [a for a in memory.asked[PLACES[1]] if a.function == 6]
        await chain.close()

    run(scene())


def test_closings_past_the_deadline_are_discarded_and_an_urgent_order_closes_nothing():
    async def scene():
        place = banks(count=1)
        memory = Memory({PLACES[0]: after(0.1, good())})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.4)
        late = await chain.write(orders(UnitOrders(keep=0, raise_to=1, lower=True, fan=True)), now() + 0.15)
        assert (late[0].opening, late[0].closing) == (Write.DONE, Write.NOT_SENT)
        urgent = await chain.write(orders(UnitOrders(keep=0, raise_to=1, lower=True), urgent=True), now() + 1.0)
        assert (urgent[0].opening, urgent[0].closing) == (Write.DONE, Write.NOT_SENT)
        await asyncio.sleep(1.0)
        assert all(a.count == 0 for a in memory.asked[PLACES[0]] if a.function == 6 and a.address == 0)
        await chain.close()

    run(scene())


def test_a_mute_units_repeated_openings_hold_nobody_up_and_block_no_closing():
    async def scene():
        place = banks(count=2)
        memory = Memory({PLACES[0]: lambda a: None, PLACES[1]: good()})
        chain = Chain(place, connect=memory.connect)
        for _ in range(10):
            began = now()
            await chain.read(began + 0.4)
            done = await chain.write(orders(UnitOrders(lower=True), UnitOrders(raise_to=1)), began + 0.9)
            assert now() - began < 0.4 + 0.16  # not a whole time-out: its ping is given up for the write
            assert done[1].closing is Write.DONE
            assert done[0].opening in (Write.UNKNOWN, Write.NOT_SENT)
            await asyncio.sleep(max(0.0, began + 1.0 - now()))
        assert 1 <= sum(a.function == 6 for a in memory.asked[PLACES[0]]) <= 6
        await chain.close()

    run(scene())


def test_a_ping_in_flight_is_given_up_for_a_write_and_the_first_silence_ends_a_mute_units_writes():
    async def scene():
        place = banks(coil_bank(), 1)
        memory = Memory({PLACES[0]: lambda a: None})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.4)
        await asyncio.sleep(10.0)
        await chain.read(now() + 0.4)
        began = now()
        done = await chain.write(orders(UnitOrders(lower=True, fan=True, feed=True)), began + 0.9)
        assert (done[0].opening, done[0].fan, done[0].closing) == (Write.UNKNOWN, Write.NOT_SENT, Write.NONE)
        assert now() - began == pytest.approx(0.15)
        assert [a.function for a in memory.asked[PLACES[0]]] == [2, 2, 5]
        await chain.close()

    run(scene())


def test_closings_stop_at_the_first_that_is_refused_and_openings_do_not():
    async def scene():
        place = banks(coil_bank(), 1)

        def refusing(asked):
            return asked.frame(bytes((0x85, 4))) if asked.pdu[:3] == b"\x05\0\x01" else good({16: 1})(asked)

        memory = Memory({PLACES[0]: refusing})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.4)
        memory.asked[PLACES[0]].clear()
        closed = await chain.write(orders(UnitOrders(raise_to=0b1111)), now() + 0.4)
        opened = await chain.write(orders(UnitOrders(lower=True), urgent=True), now() + 0.4)
        assert (closed[0].closing, opened[0].opening) == (Write.REFUSED, Write.REFUSED)
        assert [(a.address, a.count) for a in memory.asked[PLACES[0]]] == [
            (0, 0xFF00),
            (1, 0xFF00),
            (0, 0),
            (1, 0),
            (2, 0),
            (3, 0),
        ]
        await chain.close()

    run(scene())


def test_a_block_quiets_the_lines_and_closes_together():
    async def scene():
        shaky = {"mute": False}
        scripts = {
            PLACES[0]: after(0.02, good()),
            PLACES[1]: after(0.02, good()),
            GATE: lambda a: None if shaky["mute"] and a.unit_id == 2 else (0.02, good()(a)),
        }
        place = site(
            unit(mask_bank(), PLACES[0], name="bank 1"),
            unit(mask_bank(), PLACES[1], name="bank 2"),
            unit(mask_bank(), GATE, 1, "bank 3"),
            unit(mask_bank(), GATE, 2, "bank 4"),
        )
        memory = Memory(scripts)
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.4)
        shaky["mute"] = True
        await chain.read(now() + 2.0)
        await asyncio.sleep(0.3)
        await chain.read(now() + 0.4)  # now a ping of bank 4 takes the gateway's line
        began = now()
        closing = [UnitOrders(raise_to=1)] * 3
        done = await chain.write(orders(*closing, UnitOrders(silent=True), block=True), began + 0.4)
        sent = [next(a.at_s for a in memory.asked[p] if a.function == 6) for p in (PLACES[0], PLACES[1], GATE)]
        assert [d.closing for d in done] == [Write.DONE] * 3 + [Write.NONE]
        assert max(sent) == min(sent) <= began + 0.021
        assert chain.last_block_spread_s == pytest.approx(0.0, abs=1e-6)
        await chain.close()

    run(scene())


def test_a_block_waits_for_the_silence_of_a_line_that_has_just_opened_and_for_nothing_where_all_are_free():
    async def scene():
        slow = mask_bank()
        slow = replace(slow, registers=replace(slow.registers, gap_s=0.03))
        place = site(
            unit(slow, PLACES[0], name="bank 1"),
            unit(mask_bank(), PLACES[1], name="bank 2"),
            unit(mask_bank(), PLACES[2], name="bank 3"),
        )
        memory = Memory({p: good({3: 0b0011}) for p in PLACES[:3]})
        chain = Chain(place, connect=memory.connect)
        for opens, waits_s in ((True, 0.03), (False, 0.0)):
            await chain.read(now() + 0.4)
            await asyncio.sleep(0.1)
            for asked in memory.asked.values():
                asked.clear()
            began = now()
            first = UnitOrders(keep=0b0001, lower=opens, raise_to=0b0101)
            done = await chain.write(orders(first, *[UnitOrders(raise_to=1)] * 2, block=True), began + 0.4)
            assert [d.closing for d in done] == [Write.DONE] * 3
            sent = [memory.asked[p][-1].at_s - began for p in PLACES[:3]]
            assert sent == pytest.approx([waits_s] * 3)
            assert len(memory.asked[PLACES[0]]) == 1 + opens
        await chain.close()

    run(scene())


def test_the_spread_of_a_block_behind_a_gateway_is_measured_and_not_assumed():
    async def scene():
        place = behind_a_gateway(3)
        memory = Memory({GATE: after(0.02, good())})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.4)
        await chain.write(orders(*[UnitOrders(raise_to=1)] * 3, block=True), now() + 0.4)
        assert chain.last_block_spread_s == pytest.approx(0.04)
        await chain.close()

    run(scene())


def test_nothing_to_write_sends_nothing():
    async def scene():
        place = banks(coil_bank(), 1)
        memory = Memory({PLACES[0]: good({16: 1})})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.4)
        count = len(memory.asked[PLACES[0]])
        assert await chain.write(orders(UnitOrders(fan=True)), now() + 0.4) == (NO_WRITES,)
        assert len(memory.asked[PLACES[0]]) == count
        await chain.close()

    run(scene())


def test_a_set_point_that_cannot_be_written_is_told_and_holds_back_every_closing():
    async def scene():
        points = (
            Point("stages_order", H, 0, Kind.INT16, scale_from="power_sf", write_function=6),
            Point("power_sf", H, 1, Kind.INT16),
            Point("stages_closed", H, 2, Kind.UINT16),
        )
        place = site(
            unit(mask_bank(registers=RegisterMap(points)), PLACES[0], name="bank 1"),
            unit(mask_bank(), PLACES[1], name="bank 2"),
        )
        memory = Memory({PLACES[0]: good({1: 0x8000}), PLACES[1]: good()})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.4)
        done = await chain.write(orders(UnitOrders(lower=True), UnitOrders(raise_to=1)), now() + 0.4)
        assert (done[0].opening, done[1].closing) == (Write.NOT_SENT, Write.NOT_SENT)
        assert "power_sf is not known" in chain.faults["bank 1"]
        await chain.close()

    run(scene())


def test_a_write_that_is_cancelled_leaves_the_chain_usable():
    async def scene():
        place = behind_a_gateway(2)
        memory = Memory({GATE: after(0.1, good())})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 1.0)
        for block in (False, True):
            writing = asyncio.create_task(
                chain.write(orders(UnitOrders(raise_to=1), UnitOrders(raise_to=1), block=block), now() + 1.0)
            )
            await asyncio.sleep(0.05)
            writing.cancel()
            await asyncio.gather(writing, return_exceptions=True)
        done = await chain.write(orders(*[UnitOrders(lower=True)] * 2, urgent=True), now() + 1.0)
        assert [d.opening for d in done] == [Write.DONE] * 2
        assert [u.outcome for u in readings(place, await chain.read(now() + 1.0))[0]] == [Outcome.OK] * 2
        await chain.close()

    run(scene())


def test_a_write_waits_no_time_out_for_the_ping_of_a_silent_unit_beside_it_and_never_past_its_deadline():
    async def scene():
        mute: set[int] = set()
        memory = Memory({GATE: lambda a: None if a.unit_id in mute else (0.02, good()(a))})
        chain = Chain(behind_a_gateway(), connect=memory.connect)
        await chain.read(now() + 0.4)
        mute.add(2)
        await chain.read(now() + 2.0)
        for patience_s, ended in ((0.4, Write.DONE), (0.1, Write.NOT_SENT)):
            await asyncio.sleep(5.0)
            await chain.read(now() + 0.4)  # now a ping of bank 2 takes the gateway's line
            began = now()
            lower = UnitOrders(lower=True)
            done = await chain.write(orders(lower, UnitOrders(silent=True), lower), began + patience_s)
            assert now() - began <= min(patience_s, 0.15 + 2 * 0.02) + 1e-6
            assert [d.opening for d in done] == [ended, Write.NONE, ended]
        mute.clear()
        for _ in range(20):  # it was not forgotten: once it answers it takes part again, whatever else is written
            sweep = await chain.read(now() + 0.2)
            await chain.write(orders(lower, UnitOrders(silent=True), lower), now() + 0.2)
            await asyncio.sleep(0.5)
        assert chain.readings(sweep)[0][1].outcome is Outcome.OK
        await chain.close()

    run(scene())
