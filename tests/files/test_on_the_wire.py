"""Shipped register maps as a stranger reads them: the simulated unit, scanned with pysunspec2 over loopback.

pysunspec2 has its own Modbus client and the model files that the SunSpec Alliance publishes.
"""

import asyncio
from typing import Any

import pytest

from benchctl.files import names, read_site
from simulator.bench import Bench
from simulator.server import Server

sunspec = pytest.importorskip("sunspec2.modbus.client", reason="pysunspec2 is not installed")


def scan(unit_id: int, host: str, port: int, model: int) -> dict[str, Any]:
    """Scaled values of a model, and the identity of model 1."""
    device = sunspec.SunSpecModbusClientDeviceTCP(slave_id=unit_id, ipaddr=host, ipport=port, timeout=5)
    try:
        device.scan()
        block, common = device.models[model][0], device.common[0]
        found = {name: point.cvalue for name, point in block.points.items()}
        return found | {"Md": common.Md.value, "models": [k for k in device.models if isinstance(k, int)]}
    finally:
        device.disconnect()


async def test_the_set_point_unit_is_a_sunspec_device_with_models_1_and_203():
    site, _ = read_site("northquay")
    unit = site.units[3]
    bench = Bench(site)
    bench.advance(5.0)
    server = Server(bench, lambda: 5.0, dead_time=False)
    places = await server.start(ports="ephemeral")
    try:
        found = await asyncio.to_thread(scan, unit.unit_id, *places[unit.endpoint], 203)
    finally:
        await server.stop()
    assert found["models"] == [1, 203]
    assert (found["ID"], found["L"], found["Md"]) == (203, 105, "setpoint-80")
    assert found["PhVphAB"] == pytest.approx(400, rel=0.01)
    assert found["PhVphA"] == pytest.approx(400 / 3**0.5, rel=0.01)
    assert found["Hz"] == pytest.approx(50, rel=0.01)
    assert found["W"] == 0


@pytest.mark.parametrize("name", names("site"))
def test_every_device_of_a_shipped_site_can_be_simulated(name):
    site, _ = read_site(name)
    bench = Bench(site)
    bench.advance(2.0)
    assert len(bench.truth()["units"]) == len(site.units)
