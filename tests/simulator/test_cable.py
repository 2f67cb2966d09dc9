"""A whole chain in memory, in virtual time: bytes in, bytes out."""

import asyncio
import hashlib
from dataclasses import replace

import pytest

from benchctl.core.registers import Kind, Point, RegisterMap, Space
from benchctl.core.scenario import Fault
from simulator.cable import Memory
from simulator.warp import WarpLoop, run
from tests.simulator.client import Bare, connected
from tests.simulator.worlds import MAP, bench, profile

READ = bytes.fromhex("04 0000 0008")
FAN_ON, CLOSE_ALL, OPEN_ALL = (bytes.fromhex(x) for x in ("06 0001 0001", "06 0000 000F", "06 0000 0000"))
HERE = "127.0.0.1:15000"


def told(coroutine_of, *profiles, dead_time=True, **more):
    """Run `coroutine_of(memory, world)` on a bench in memory."""
    loop = WarpLoop()

    async def main():
        world = bench(*profiles, **more)
        return await coroutine_of(Memory(world, loop, dead_time), world)

    return run(main(), loop)


def test_a_unit_is_loaded_and_read_back_by_bytes_alone():
    async def main(memory, world):
        unit = await connected(memory, world.site.units[0].endpoint)
        assert await unit.ask(FAN_ON) == FAN_ON
        await asyncio.sleep(4.0)
        assert await unit.ask(CLOSE_ALL) == CLOSE_ALL
        await asyncio.sleep(1.0)
        reply = await unit.ask(READ)
        power = await unit.ask(bytes.fromhex("04 0014 0009"))
        return reply, power, world.truth()["load_kw"]

    reply, power, load_kw = told(main)
    words = [reply[2 + 2 * i] << 8 | reply[3 + 2 * i] for i in range(8)]
    assert words[0] == 0b1111
    assert words[1] == 0b10111  # fan on, airflow, remote, fan supply; no emergency stop
    assert words[3] == 200  # 20.0 °C at the inlet
    assert load_kw == pytest.approx(40.0, rel=0.01)
    assert len(power) == 20


def test_a_reply_takes_the_devices_dead_time():
    async def main(memory, world):
        unit = await connected(memory, world.site.units[0].endpoint)
        await unit.ask(READ)
        return asyncio.get_running_loop().time()

    assert told(main) == pytest.approx(0.02, abs=1e-6)
    assert told(main, dead_time=False) == pytest.approx(0.0, abs=1e-6)


def test_a_gateway_serves_one_request_at_a_time_and_several_units():
    async def main(memory, world):
        loop = asyncio.get_running_loop()
        clients = [await connected(memory, u.endpoint) for u in world.site.units]
        begun, ends = loop.time(), []

        async def ask(client, unit):
            await client.ask(READ, unit)
            ends.append(round(loop.time() - begun, 4))

        await asyncio.gather(*(ask(c, i + 1) for i, c in enumerate(clients)))
        return ends

    assert told(main, profile(), profile(), profile(), gateway=True) == [0.02, 0.04, 0.06]
    assert told(main, replace(profile()), gateway=False) == [0.02]


def test_a_gateway_answers_for_a_unit_that_is_not_there_or_mute():
    async def main(memory, world):
        gate = await connected(memory, world.site.units[0].endpoint)
        missing = await gate.ask(READ, 77)
        await asyncio.sleep(20.0)
        return missing, await gate.ask(READ, 1), await gate.ask(READ, 2)

    missing, mute, other = told(main, profile(), profile(), gateway=True, faults=(Fault(5.0, "mute", "bank 1"),))
    assert missing == mute == bytes([0x84, 11])
    assert other[0] == 4


def test_without_a_gateway_an_unknown_unit_is_silence():
    async def main(memory, world):
        unit = await connected(memory, world.site.units[0].endpoint)
        with pytest.raises(TimeoutError):
            await unit.ask(READ, 9)
        return await unit.ask(READ)

    assert told(main)[0] == 4


@pytest.mark.parametrize("cut", [1, 5, 7, 12, 13, 30])
def test_split_merged_and_pipelined_frames_are_answered_one_by_one(cut):
    async def main(memory, world):
        unit = await connected(memory, world.site.units[0].endpoint)
        stream = b"".join(bytes([0, tid, 0, 0, 0, 6, 1]) + READ for tid in range(5))
        for k in range(0, len(stream), cut):
            unit.transport.write(stream[k : k + cut])
            await asyncio.sleep(0.001)
        await asyncio.sleep(1.0)
        return bytes(unit.bytes)

    got = told(main)
    size = 7 + 2 + 16
    assert [got[i * size + 1] for i in range(5)] == [0, 1, 2, 3, 4]
    assert len(got) == 5 * size


@pytest.mark.parametrize(
    ("request_hex", "code"),
    [
        ("04 000F 0005", 2),
        ("04 0000 0015", 2),
        ("03 0009 0001", 2),
        ("06 0005 0001", 2),
        ("10 0000 0001 02 000F", 1),
        ("06 0000 0010", 3),
        ("01 0000 0001", 2),
        ("04 0000 0000", 3),
        ("04 0000 007E", 3),
        ("08 0000 0000", 1),
    ],
)
def test_a_device_refuses_what_its_map_has_not(request_hex, code):
    """Holes, write-only and read-only registers, a function the map does not name, a value out of range."""

    async def main(memory, world):
        unit = await connected(memory, world.site.units[0].endpoint)
        return await unit.ask(bytes.fromhex(request_hex))

    reply = told(main)
    assert reply == bytes([int(request_hex[:2], 16) | 0x80, code])


@pytest.mark.parametrize(
    ("fault", "value", "read", "write"),
    [
        ("busy", 6.0, b"\x84\x06", b"\x86\x06"),
        ("refuses writes", 4.0, None, b"\x86\x04"),
        ("ignores writes", None, None, FAN_ON),
    ],
)
def test_troubles_of_a_unit_show_on_the_wire(fault, value, read, write):
    async def main(memory, world):
        unit = await connected(memory, world.site.units[0].endpoint)
        await asyncio.sleep(2.0)
        got = await unit.ask(READ), await unit.ask(FAN_ON)
        await asyncio.sleep(5.0)
        return *got, world.banks[0].fan_on

    got_read, got_write, fan_on = told(main, faults=(Fault(1.0, fault, "bank 1", value),))
    assert got_write == write
    assert got_read == read if read else got_read[0] == 4
    assert not fan_on


def test_a_cut_cable_ends_the_connection_and_lets_nobody_in_until_it_is_mended():
    async def main(memory, world):
        endpoint = world.site.units[0].endpoint
        unit = await connected(memory, endpoint)
        await asyncio.sleep(6.0)
        with pytest.raises(ConnectionRefusedError):
            await memory.connect(endpoint, Bare)
        lost = list(unit.lost)
        await asyncio.sleep(10.0)
        again = await connected(memory, endpoint)
        return lost, await again.ask(READ)

    lost, reply = told(main, faults=(Fault(5.0, "cut", HERE, for_s=5.0),))
    assert isinstance(lost[0], ConnectionResetError)
    assert reply[0] == 4


def test_a_refusing_endpoint_keeps_the_connection_it_has():
    async def main(memory, world):
        endpoint = world.site.units[0].endpoint
        unit = await connected(memory, endpoint)
        await asyncio.sleep(6.0)
        with pytest.raises(ConnectionRefusedError):
            await memory.connect(endpoint, Bare)
        return await unit.ask(READ)

    assert told(main, faults=(Fault(5.0, "refuses", HERE),))[0] == 4


def test_an_endpoint_that_is_not_there_refuses():
    async def main(memory, world):
        with pytest.raises(ConnectionRefusedError):
            await memory.connect(replace(world.site.units[0].endpoint, port=1), Bare)

    told(main)


def test_delay_loss_and_damage_of_replies():
    async def main(memory, world):
        unit = await connected(memory, world.site.units[0].endpoint)
        loop = asyncio.get_running_loop()
        begun = loop.time()
        await unit.ask(READ, timeout_s=5.0)
        late = loop.time() - begun
        await asyncio.sleep(10.0 - loop.time())
        with pytest.raises(TimeoutError):
            await unit.ask(READ)
        await asyncio.sleep(20.0 - loop.time())
        unit.bytes.clear()
        unit.transport.write(bytes([0, 7, 0, 0, 0, 6, 1]) + READ)
        await asyncio.sleep(1.0)
        return late, bytes(unit.bytes)

    late, garbled = told(
        main,
        faults=(
            Fault(0.0, "delay", HERE, 2.0, for_s=5.0),
            Fault(9.0, "loses replies", HERE, 1.0, for_s=5.0),
            Fault(19.0, "garbles replies", HERE, 1.0),
        ),
    )
    assert late == pytest.approx(2.02, abs=1e-6)
    clean = bytes([0, 7, 0, 0, 0, 19, 1, 4, 16])
    assert len(garbled) == 25
    assert sum(a != b for a, b in zip(garbled, clean, strict=False)) <= 1


def hash_of_a_run(seed):
    async def main(memory, world):
        found = hashlib.sha256()
        clients = [await connected(memory, u.endpoint) for u in world.site.units]
        meter = await connected(memory, world.site.instruments[0].endpoint)
        for client in clients:
            await client.ask(FAN_ON)
        for k in range(120):
            await asyncio.sleep(0.5)
            for client in clients:
                if k % 20 == 10:
                    await client.ask(bytes.fromhex(f"06 0000 00{(k * 7) % 16:02X}"))
                found.update(await client.ask(READ))
            found.update(await meter.ask(bytes.fromhex("04 0000 001C")))
        return found.hexdigest()

    return told(
        main,
        profile(),
        profile(),
        seed=seed,
        site_load_kw=40.0,
        faults=(Fault(20.0, "volts sag", "source", 95.0, for_s=5.0), Fault(30.0, "fan fails", "bank 2")),
    )


def test_the_same_seed_gives_the_same_bytes_and_another_seed_others():
    assert hash_of_a_run(1) == hash_of_a_run(1)
    assert hash_of_a_run(1) != hash_of_a_run(2)


def test_the_watchdog_is_fed_by_requests_on_the_wire_and_drops_the_load_without():
    async def main(memory, world):
        unit = await connected(memory, world.site.units[0].endpoint)
        await unit.ask(FAN_ON)
        await asyncio.sleep(4.0)
        await unit.ask(CLOSE_ALL)
        for _ in range(40):
            await asyncio.sleep(1.0)
            await unit.ask(READ)
        fed = world.banks[0].elements.closed
        await asyncio.sleep(16.0)
        await unit.ask(READ)
        return fed, world.banks[0].elements.closed, world.banks[0].fan_on

    assert told(main) == (0b1111, 0, True)


def test_coils_and_discrete_inputs_of_stages_follow_their_contactors():
    stages = tuple(
        replace(
            s,
            order=Point(s.name, Space.COIL, i, Kind.BIT, write_function=5),
            feedback=Point(s.name, Space.DISCRETE, 16 + i, Kind.BIT, inverted=i == 2),
        )
        for i, s in enumerate(profile().stages)
    )
    points = tuple(p for p in MAP.points if not p.name.startswith("stages"))
    unit_profile = profile(stages=stages, registers=RegisterMap(points, MAP.readable))

    async def main(memory, world):
        unit = await connected(memory, world.site.units[0].endpoint)
        await unit.ask(FAN_ON)
        await asyncio.sleep(4.0)
        for coil in (1, 2):
            await unit.ask(bytes([5, 0, coil, 0xFF, 0]))
        await unit.ask(bytes([5, 0, 1, 0, 0]))
        await asyncio.sleep(1.0)
        return (
            await unit.ask(bytes.fromhex("01 0000 0004")),
            await unit.ask(bytes.fromhex("02 0010 0004")),
            world.banks[0].elements.closed,
        )

    orders, feedback, closed = told(main, unit_profile)
    assert closed == 0b0100
    assert orders == bytes([1, 1, 0b0100])
    assert feedback == bytes([2, 1, 0b0000])


def test_a_request_that_was_answered_before_shows_what_has_changed_since():
    async def main(memory, world):
        unit = await connected(memory, world.site.units[0].endpoint)
        await unit.ask(FAN_ON)
        await asyncio.sleep(4.0)
        seen = [await unit.ask(READ), await unit.ask(READ)]
        await unit.ask(CLOSE_ALL)
        await asyncio.sleep(1.0)
        seen += [await unit.ask(READ)]
        return seen, [await unit.ask(bytes.fromhex("04 000F 0005")) for _ in range(2)]

    (first, again, after), refused = told(main)
    assert first == again
    assert after[2:4] == b"\x00\x0f"
    assert refused == [b"\x84\x02"] * 2
