
"""The chain in virtual time, over memory: one deadline, silence that delays nobody, orders in their groups."""

import asyncio

import pytest

from benchctl.core.orders import NO_WRITES, Orders, UnitOrders, Write
from benchctl.core.reading import Outcome
from benchctl.core.registers import Kind, Point, RegisterMap, Span
from benchctl.core.site import Endpoint
from benchctl.field.answer import Got
from benchctl.field.chain import Chain
from benchctl.field.sweep import pack, readings, unpack
from benchctl.files import read_site
from simulator.bench import Bench
from simulator.cable import Memory as Cables
from simulator.warp import WarpLoop, run
from tests.field.made import H, coil_bank, mask_bank, meter, profile, site, unit
from tests.field.scripted import Memory, good

PLACES = [Endpoint("192.0.2.1", 500 + i) for i in range(4)]
GATE = Endpoint("192.0.2.9", 502, gateway=True)


def after(delay_s, script):
    """The script's replies, later."""
    return lambda asked: (delay_s, reply) if isinstance(reply := script(asked), bytes) else reply


def banks(made=None, count=3, places=PLACES):
    return site(*(unit(made or mask_bank(), places[i], name=f"bank {i + 1}") for i in range(count)))


def behind_a_gateway(count=3, made=None):
    return site(*(unit(made or mask_bank(), GATE, i + 1, f"bank {i + 1}") for i in range(count)))


def now():
    return asyncio.get_running_loop().time()


def orders(*given, **more):
    return Orders(tuple(given), **more)


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


def test_openings_fans_closings_and_feed_go_out_in_this_order():
    async def scene():
        place = banks(count=2)
        memory = Memory({p: after(0.01, good({3: 0b0011})) for p in PLACES[:2]})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.4)
        for asked in memory.asked.values():
            asked.clear()
        done = await chain.write(orders(
            UnitOrders(keep=0b0001, lower=True, fan=True, feed=True),
            UnitOrders(keep=0b0011, raise_to=0b0111, fan=True, feed=True)), now() + 0.4)
        first, second = memory.asked[PLACES[0]], memory.asked[PLACES[1]]
        assert [a.address for a in first] == [0, 1, 2]
        assert [a.address for a in second] == [1, 0, 2]
        assert second[1].at_s > first[0].at_s + 0.01  # no closing before every opening is acknowledged
        assert [(d.opening, d.fan, d.closing, d.feed) for d in done] == [
            (Write.DONE, Write.DONE, Write.NONE, Write.DONE), (Write.NONE, Write.DONE, Write.DONE, Write.DONE)]
        await chain.close()

    run(scene())


@pytest.mark.parametrize(("reply", "opening"), [
    (lambda a: a.frame(bytes((a.function | 0x80, 4))), Write.REFUSED), (lambda a: None, Write.UNKNOWN),
    (lambda a: a.frame(b"\6\0\0\0\7"), Write.UNKNOWN),
    (lambda a: a.frame(bytes((a.function | 0x80, 11))), Write.UNKNOWN),
    (lambda a: "close", Write.UNKNOWN),
])
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
        assert [a.function for a in memory.asked[PLACES[0]]] == [1, 1, 5]
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
            (0, 0xFF00), (1, 0xFF00), (0, 0), (1, 0), (2, 0), (3, 0)]
        await chain.close()

    run(scene())


def test_a_block_quiets_the_lines_and_closes_together():
    async def scene():
        shaky = {"mute": False}
        scripts = {PLACES[0]: after(0.02, good()), PLACES[1]: after(0.02, good()),
                   GATE: lambda a: None if shaky["mute"] and a.unit_id == 2 else (0.02, good()(a))}
        place = site(unit(mask_bank(), PLACES[0], name="bank 1"), unit(mask_bank(), PLACES[1], name="bank 2"),
                     unit(mask_bank(), GATE, 1, "bank 3"), unit(mask_bank(), GATE, 2, "bank 4"))
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
        points = (Point("stages_order", H, 0, Kind.INT16, scale_from="power_sf", write_function=6),
                  Point("power_sf", H, 1, Kind.INT16), Point("stages_closed", H, 2, Kind.UINT16))
        place = site(unit(mask_bank(registers=RegisterMap(points)), PLACES[0], name="bank 1"),
                     unit(mask_bank(), PLACES[1], name="bank 2"))
        memory = Memory({PLACES[0]: good({1: 0x8000}), PLACES[1]: good()})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.4)
        done = await chain.write(orders(UnitOrders(lower=True), UnitOrders(raise_to=1)), now() + 0.4)
        assert (done[0].opening, done[1].closing) == (Write.NOT_SENT, Write.NOT_SENT)
        assert "power_sf is not known" in chain.faults["bank 1"]
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


def test_a_write_that_is_cancelled_leaves_the_chain_usable():
    async def scene():
        place = behind_a_gateway(2)
        memory = Memory({GATE: after(0.1, good())})
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 1.0)
        for block in (False, True):
            writing = asyncio.create_task(chain.write(
                orders(UnitOrders(raise_to=1), UnitOrders(raise_to=1), block=block), now() + 1.0))
            await asyncio.sleep(0.05)
            writing.cancel()
            await asyncio.gather(writing, return_exceptions=True)
        done = await chain.write(orders(*[UnitOrders(lower=True)] * 2, urgent=True), now() + 1.0)
        assert [d.opening for d in done] == [Write.DONE] * 2
        assert [u.outcome for u in readings(place, await chain.read(now() + 1.0))[0]] == [Outcome.OK] * 2
        await chain.close()

    run(scene())


# -- A4: single reads of 100, 101, 103, 104 answer 11, 22, 44, 55; 102 answers exception 2 (ioBroker.modbus#581,
# pysolarfocus#61: a device that skips the missing address and slides the rest down)

HELD = {100: 11, 101: 22, 103: 44, 104: 55}


def holed(whole):
    """A device without address 102; `whole` answers a read across it."""
    def script(asked):
        if not asked.address <= 102 < asked.address + asked.count:
            return good(HELD)(asked)
        return whole(asked)

    return script


def five(readable: bool):
    """An instrument whose map says 100 to 104, or leaves 102 out."""
    names = ("volts_a", "volts_b", "volts_c", "amps_a", "amps_b")
    points = [Point(n, H, 100 + i, Kind.UINT16) for i, n in enumerate(names) if readable or i != 2]
    return meter(*points, endpoint=PLACES[0])


def scan_twice(instrument, script):
    async def scene():
        place = site(instruments=(instrument,))
        memory = Memory({PLACES[0]: script})
        chain = Chain(place, connect=memory.connect)
        sweeps = [await chain.read(now() + 2.0) for _ in range(2)]
        counts = len(memory.asked[PLACES[0]])
        await chain.read(now() + 2.0)
        again = memory.asked[PLACES[0]][counts:]
        found = readings(place, sweeps[1])[1][0]
        assert unpack(place, pack(sweeps[1])) == sweeps[1]
        await chain.close()
        return found, chain.absent, [(a.address, a.count) for a in again]

    return run(scene())


def test_A4_X_a_refused_block_falls_back_to_smaller_reads_and_only_the_hole_is_unavailable():
    found, absent, again = scan_twice(five(readable=True), holed(lambda a: a.frame(bytes((0x83, 2)))))
    e = found.electrical
    assert (e.volts_ln, e.amps, found.outcome) == ((11.0, 22.0, None), (44.0, 55.0, None), Outcome.PART)
    assert absent == {"meter": ("holding 102",)}
    assert not [a for a, n in again if a <= 102 < a + n]  # remembered


def test_A4_Y_a_reply_with_too_few_registers_is_refused():
    found, _, _ = scan_twice(five(readable=True), holed(lambda a: a.frame(b"\x03\x08\0\x0b\0\x16\0\x2c\0\x37")))
    assert (found.outcome, found.electrical.amps[0]) == (Outcome.REFUSED, None)


@pytest.mark.parametrize("whole", [lambda a: a.frame(b"\x03\x0a\0\x0b\0\x16\0\x2c\0\x37\0\0")])
def test_A4_Z_no_request_crosses_an_address_that_the_map_leaves_out(whole):
    found, absent, again = scan_twice(five(readable=False), holed(whole))
    e = found.electrical
    assert (e.volts_ln, e.amps, found.outcome) == ((11.0, 22.0, None), (44.0, 55.0, None), Outcome.OK)
    assert (absent, again) == ({}, [(100, 2), (103, 2)])


def test_A4_a_map_that_declares_the_gap_readable_is_read_in_one_request():
    made = five(readable=False)
    shape = RegisterMap(made.registers.points, (Span(H, 100, 104),))
    _, _, again = scan_twice(meter(endpoint=PLACES[0], registers=shape), good(HELD))
    assert again == [(100, 5)]
