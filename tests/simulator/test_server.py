"""The simulator on real sockets, read by strangers: pymodbus, pyModbusTCP, pysunspec2, and mbpoll where installed."""

import asyncio
import contextlib
import subprocess
import time

import pytest
from pymodbus.client import AsyncModbusTcpClient
from pyModbusTCP.client import ModbusClient
from sunspec2.modbus import client as sunspec

from benchctl.core.registers import Kind, Point, RegisterMap, Space, Span
from benchctl.core.scenario import Fault
from simulator.bench import Bench
from simulator.server import Server
from tests.needs import needs
from tests.simulator.client import Bare
from tests.simulator.worlds import bench, loaded, profile


@contextlib.asynccontextmanager
async def served(world: Bench):
    """The world served on ephemeral loopback ports, from its present time on at ten times real time."""
    begun, first = time.monotonic(), world.now_s
    server = Server(world, lambda: first + 10.0 * (time.monotonic() - begun), dead_time=False)
    places = await server.start(host_override="127.0.0.1", ports="ephemeral")
    try:
        yield {u.name: places[u.endpoint] for u in world.site.units} | {
            x.name: places[x.endpoint] for x in world.site.instruments
        }
    finally:
        await server.stop()


async def test_pymodbus_reads_and_writes_a_served_unit():
    async with served(bench(kind="supply")) as places:
        host, port = places["bank 1"]
        client = AsyncModbusTcpClient(host, port=port, timeout=2, retries=0)
        assert await client.connect()
        try:
            assert not (await client.write_register(1, 1, device_id=1)).isError()
            await asyncio.sleep(0.3)
            await client.write_register(0, 0b1010, device_id=1)
            await asyncio.sleep(0.2)
            words = (await client.read_input_registers(0, count=4, device_id=1)).registers
            assert words[0] == 0b1010
            assert words[1] & 0b11 == 0b11
            refused = await client.read_input_registers(15, count=5, device_id=1)
            assert refused.exception_code == 2
            power = (await client.read_input_registers(20, count=2, device_id=1)).registers
            kw = client.convert_from_registers(power, client.DATATYPE.FLOAT32, word_order="little")
            assert kw == pytest.approx(28.0, rel=0.01)
        finally:
            client.close()


async def test_pymodbustcp_reads_a_served_meter():
    async with served(loaded(bench(kind="supply"))) as places:
        host, port = places["chain meter"]
        await asyncio.sleep(0.2)

        def read():
            client = ModbusClient(host=host, port=port, unit_id=1, timeout=2.0, auto_open=True)
            try:
                return client.read_input_registers(0, 28)
            finally:
                client.close()

        words = await asyncio.to_thread(read)
        assert len(words) == 28
        assert words[0] == 0x4220 or words[0] == 0x421F  # 40.0 and just below it in IEEE 754 single precision


def sunspec_map() -> RegisterMap:
    """Models 1 and 203 at base 40000, by the offsets of the SunSpec information models (open specification)."""
    base, model = 40000, 40070
    known = [
        Point("known_value", Space.HOLDING, base, Kind.UINT16, expect=0x5375),
        Point("known_value", Space.HOLDING, base + 1, Kind.UINT16, expect=0x6E53),
        Point("known_value", Space.HOLDING, base + 2, Kind.UINT16, expect=1.0),
        Point("known_value", Space.HOLDING, base + 3, Kind.UINT16, expect=66.0),
        Point("known_value", Space.HOLDING, model, Kind.UINT16, expect=203.0),
        Point("known_value", Space.HOLDING, model + 1, Kind.UINT16, expect=105.0),
        Point("known_value", Space.HOLDING, model + 107, Kind.UINT16, expect=0xFFFF),
        Point("serial", Space.HOLDING, base + 2 + 50, Kind.TEXT, length=16),
    ]

    def scaled(name, offset, factor, scale=1.0):
        return Point(name, Space.HOLDING, model + offset, Kind.INT16, scale=scale, scale_from=factor)

    rows = [
        ("amps_a", 3, "amps_sf", 1.0),
        ("amps_b", 4, "amps_sf", 1.0),
        ("amps_c", 5, "amps_sf", 1.0),
        ("volts_a", 8, "volts_sf", 1.0),
        ("volts_ab", 12, "volts_sf", 1.0),
        ("hertz", 16, "hertz_sf", 1.0),
        ("power_kw", 18, "power_sf", 0.001),
        ("power_a_kw", 19, "power_sf", 0.001),
        ("reactive_kvar", 28, "var_sf", 0.001),
        ("power_factor", 33, "pf_sf", 0.01),
    ]
    factors = [("amps_sf", 6), ("volts_sf", 15), ("hertz_sf", 17), ("power_sf", 22), ("var_sf", 32), ("pf_sf", 37)]
    points = [
        *known,
        *(scaled(*r) for r in rows),
        *(Point(n, Space.HOLDING, model + o, Kind.INT16) for n, o in factors),
    ]
    return RegisterMap(tuple(points), (Span(Space.HOLDING, base, model + 107),))


async def test_pysunspec2_finds_and_reads_a_unit_with_a_sunspec_map():
    unit = profile(registers=sunspec_map(), faults=())
    async with served(loaded(bench(unit, kind="supply"))) as places:
        host, port = places["bank 1"]
        await asyncio.sleep(0.2)

        def scan():
            device = sunspec.SunSpecModbusClientDeviceTCP(slave_id=1, ipaddr=host, ipport=port, timeout=2)
            try:
                device.scan()
                meter = device.models[203][0]
                return (
                    device.models[1][0].SN.value,
                    meter.W.cvalue,
                    meter.PhVphA.cvalue,
                    meter.Hz.cvalue,
                    meter.AphA.cvalue,
                )
            finally:
                device.close()

        serial, watts, volts, hertz, amps = await asyncio.to_thread(scan)
    assert serial == "SIM00001"
    assert watts == pytest.approx(40000.0, rel=0.01)
    assert volts == pytest.approx(400 / 3**0.5, rel=0.01)
    assert hertz == pytest.approx(50.0, abs=0.1)
    assert amps == pytest.approx(57.74, rel=0.01)  # 40 kW / (sqrt(3) 400 V)


@needs("mbpoll")
async def test_mbpoll_reads_a_served_unit():
    """mbpoll is a command line client on libmodbus; it counts registers from 1."""
    async with served(loaded(bench(kind="supply"))) as places:
        host, port = places["bank 1"]
        command = ["mbpoll", "-m", "tcp", "-p", str(port), "-a", "1", "-t", "3", "-r", "1", "-c", "4", "-1", host]
        done = await asyncio.to_thread(subprocess.run, command, capture_output=True, text=True, timeout=10, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "[1]: \t15" in done.stdout


async def test_several_units_stand_behind_one_gateway_port():
    async with served(bench(profile(), profile(), profile(), gateway=True)) as places:
        assert len({places[f"bank {i}"] for i in (1, 2, 3)}) == 1
        host, port = places["bank 1"]
        loop = asyncio.get_running_loop()
        transport, bare = await loop.create_connection(Bare, host, port)
        for unit, first in ((1, 4), (2, 4), (3, 4), (4, 0x84)):
            assert (await bare.ask(bytes.fromhex("04 0000 0001"), unit, 5.0))[0] == first
        transport.close()


async def test_garbage_ends_the_connection_and_the_next_one_is_served():
    async with served(bench()) as places:
        loop = asyncio.get_running_loop()
        transport, bare = await loop.create_connection(Bare, *places["bank 1"])
        transport.write(b"GET / HTTP/1.1\r\n\r\n")
        for _ in range(100):
            if bare.lost:
                break
            await asyncio.sleep(0.02)
        assert bare.lost
        transport, bare = await loop.create_connection(Bare, *places["bank 1"])
        assert (await bare.ask(bytes.fromhex("04 0000 0001")))[0] == 4
        transport.close()


async def test_a_cut_cable_breaks_a_socket_without_anybody_asking():
    world = bench(faults=(Fault(1.0, "cut", "127.0.0.1:15000"),))
    async with served(world) as places:
        _, bare = await asyncio.get_running_loop().create_connection(Bare, *places["bank 1"])
        for _ in range(100):
            if bare.lost:
                break
            await asyncio.sleep(0.02)
        assert bare.lost


async def test_a_port_that_is_taken_is_an_error_and_leaves_nothing_listening():
    async with served(bench()) as places:
        world = bench()
        ends = {places["bank 1"]}
        taken = next(iter(ends))
        from dataclasses import replace

        unit = world.site.units[0]
        site = replace(world.site, units=(replace(unit, endpoint=replace(unit.endpoint, port=taken[1])),))
        second = Server(Bench(site), lambda: 0.0)
        with pytest.raises(OSError, match="in use"):
            await second.start(ports="site")
        assert second._listening == []
