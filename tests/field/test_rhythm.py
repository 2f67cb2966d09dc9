"""What is not read in every scan: the echo of our own orders, and what does not change. In virtual time."""

import asyncio

import pytest

from benchctl.core.orders import UnitOrders, Write
from benchctl.core.reading import Outcome
from benchctl.core.registers import Kind, Point, RegisterMap
from benchctl.core.site import Instrument, Unit
from benchctl.field.answer import Got
from benchctl.field.chain import Chain
from benchctl.field.device import ECHO_EVERY_S
from benchctl.field.points import echo_points, plan_device, unit_points
from benchctl.field.sweep import decoder_of, readings
from benchctl.files import read_site
from simulator.warp import run
from tests.field.made import H, coil_bank, mask_bank, profile, setpoint_bank, site, unit
from tests.field.scenes import PLACES, after, banks, now, orders
from tests.field.scripted import Memory, good

PERIOD_S = 0.5
READS_COILS, READS_DISCRETE, WRITES_COIL = 1, 2, 5


def coils_asked(asked):
    return [a.at_s for a in asked if a.function == READS_COILS]


def separate(orders_, feedback):
    """A device whose contacts are not its coils; both may be changed under way."""

    def script(asked):
        return good(feedback if asked.function == READS_DISCRETE else orders_)(asked)

    return script


def test_order_coils_are_read_every_two_seconds_and_feedback_in_every_scan():
    async def scene():
        memory = Memory({PLACES[0]: good({16: 1})})
        place = banks(coil_bank(), 1)
        chain = Chain(place, connect=memory.connect)
        outcomes = []
        for scan in range(21):
            sweep = await chain.read(now() + 0.3)
            outcomes.append(readings(place, sweep)[0][0].outcome)
            assert await chain.write(orders(UnitOrders(fan=True)), now() + 0.4)
            await asyncio.sleep((scan + 1) * PERIOD_S - now())
        asked = memory.asked[PLACES[0]]
        each = [a for a in asked if a.function == READS_DISCRETE]
        assert set(outcomes) == {Outcome.OK}
        assert len(each) == 21
        assert coils_asked(asked)[::2] == pytest.approx([0.0, 2.0, 4.0, 6.0, 8.0, 10.0])  # two blocks: stages and fan
        # between two looks at its order the fan is not ordered again and again
        assert not [a for a in asked if a.function == WRITES_COIL]
        await chain.close()

    run(scene())


def test_after_a_write_the_order_coils_are_read_in_the_next_scan():
    async def scene():
        memory = Memory({PLACES[0]: good({16: 1})})
        place = banks(coil_bank(), 1)
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.3)
        await asyncio.sleep(PERIOD_S)
        await chain.write(orders(UnitOrders(raise_to=1)), now() + 0.4)
        memory.asked[PLACES[0]].clear()
        sweep = await chain.read(now() + 0.3)
        assert coils_asked(memory.asked[PLACES[0]])
        assert readings(place, sweep)[0][0].load_order == 1
        await chain.close()

    run(scene())


@pytest.mark.parametrize("coils_answer", [True, False])
def test_a_closing_that_does_not_read_back_yet_is_taken_back_whatever_was_known_of_the_coils(coils_answer):
    async def scene():
        coils = {16: 1}
        answering = {"coils": True}
        device = separate(coils, {})  # its contactors never follow

        def script(asked):
            return None if asked.function == READS_COILS and not answering["coils"] else device(asked)

        memory = Memory({PLACES[0]: script})
        place = banks(coil_bank(), 1)
        chain = Chain(place, connect=memory.connect)
        await chain.read(now() + 0.3)
        await chain.write(orders(UnitOrders(raise_to=0b10)), now() + 0.2)
        await asyncio.sleep(0.2)
        assert coils[1] == 1
        answering["coils"] = coils_answer
        await chain.read(now() + 0.3)
        done = await chain.write(orders(UnitOrders(keep=0, lower=True)), now() + 0.2)
        assert done[0].opening is Write.DONE
        assert coils[1] == 0
        await chain.close()

    run(scene())


def test_a_coil_that_somebody_else_clears_is_seen_within_the_rhythm():
    async def scene():
        coils = {16: 1}
        memory = Memory({PLACES[0]: separate(coils, {})})
        place = banks(coil_bank(), 1)
        chain = Chain(place, connect=memory.connect)
        begun = None
        for scan in range(20):
            await chain.read(now() + 0.3)
            await chain.write(orders(UnitOrders(fan=True)), now() + 0.4)
            if scan == 9:
                coils[16] = 0
                begun = now()
            if begun is not None and coils[16]:
                break
            await asyncio.sleep((scan + 1) * PERIOD_S - now())
        assert now() - begun <= ECHO_EVERY_S + PERIOD_S
        await chain.close()

    run(scene())


def test_a_slow_device_is_identified_over_several_scans_and_told_in_one():
    names = ("known_value", "model_id", "rated_kw", "rated_v")
    points = (
        Point("exhaust_c", H, 0, Kind.INT16),
        *(Point(n, H, 90 + 10 * i, Kind.UINT16, expect=i, once=True) for i, n in enumerate(names)),
    )
    held = {90 + 10 * i: i for i in range(4)}

    async def scene():
        memory = Memory({PLACES[0]: after(0.06, good(held))})
        place = site(unit(profile(registers=RegisterMap(points, turnaround_s=0.06)), PLACES[0]))
        chain = Chain(place, connect=memory.connect)
        seen = []
        for scan in range(6):
            sweep = await chain.read(now() + 0.3)
            reading = readings(place, sweep)[0][0]
            seen.append((reading.outcome, reading.identity_ok))
            await asyncio.sleep((scan + 1) * PERIOD_S - now())
        assert {o for o, _ in seen} == {Outcome.OK}
        assert [known for _, known in seen].count(True) == 1
        assert [known for _, known in seen].index(True) <= 2
        assert chain.counts["bank 1"].timeouts == 0
        assert len(memory.asked[PLACES[0]]) == 6 + len(names)
        await chain.close()

    run(scene())


def test_what_proves_an_order_is_never_read_seldom():
    for made in (coil_bank(), mask_bank(), setpoint_bank()):
        plan = plan_device(made.registers, unit_points(made), echo_points(made))
        proofs = [s.feedback for s in made.stages if s.feedback] + [
            p for p in (made.registers.point("stages_closed"), made.registers.point("setpoint_in_force_kw")) if p
        ]
        assert proofs
        assert all(plan.place(p)[0] in plan.always for p in proofs)
    lone = setpoint_bank(registers=RegisterMap((Point("setpoint_kw", H, 0, Kind.UINT16),)))
    assert echo_points(lone) == ()  # nothing else tells what is in force


@pytest.mark.parametrize(("name", "each", "always"), [("northquay", 11, 9), ("alder-ridge", 11, 11)])
def test_the_shipped_sites_ask_for_so_many_blocks_a_scan(name, each, always):
    place, _ = read_site(name)
    devices: list[Unit | Instrument] = [*place.units, *place.instruments]
    plans = [decoder_of(d).plan for d in devices]
    assert (sum(p.each for p in plans), sum(len(p.always) for p in plans)) == (each, always)


def test_a_cut_that_comes_between_two_scans_ends_the_next_one_before_anything_is_asked():
    async def scene():
        memory = Memory({PLACES[0]: after(0.05, good())})
        place = banks(count=1)
        chain = Chain(place, connect=memory.connect)
        cut = asyncio.Event()
        assert not (await chain.read(now() + 0.3, cut)).cut_short
        count = len(memory.asked[PLACES[0]])
        cut.set()
        sweep = await chain.read(now() + 0.3, cut)
        assert sweep.cut_short
        assert {a.got for a in sweep.units[0]} == {Got.NOT_ASKED}
        assert len(memory.asked[PLACES[0]]) == count
        cut.clear()
        await asyncio.sleep(0.01)
        assert not (await chain.read(now() + 0.3, cut)).cut_short  # the old cut is forgotten
        asyncio.get_running_loop().call_later(0.02, cut.set)  # and a new one is heard
        assert (await chain.read(now() + 0.3, cut)).cut_short
        await chain.close()

    run(scene())


def test_the_same_answers_give_the_same_reading_and_others_another():
    place = banks(count=1)
    memory = {0: 0, 3: 1}

    async def scene():
        chain = Chain(place, connect=Memory({PLACES[0]: good(memory)}).connect)
        await chain.read(now() + 0.3)
        first = readings(place, await chain.read(now() + 0.3))[0][0]
        assert readings(place, await chain.read(now() + 0.3))[0][0] is first
        memory[3] = 3
        assert readings(place, await chain.read(now() + 0.3))[0][0].load == 3
        other = banks(count=1)
        assert readings(other, await chain.read(now() + 0.3))[0][0] is not first
        await chain.close()

    run(scene())
