"""The shipped demonstration site: what the client's decoder makes of the simulator's bytes is what is true there.

The two ends were written apart, so that one's mistake in a word order, a scale or a bit shows here.
"""

from struct import pack, unpack

import pytest

from benchctl.core.reading import Electrical, UnitReading
from benchctl.core.registers import Space
from benchctl.field.answer import Answer, Got
from benchctl.field.decode import basis, decode_instrument, decode_unit
from benchctl.field.decoder import instrument_decoder, unit_decoder
from benchctl.files import names, read_site
from simulator.bench import Bench
from simulator.devices import Device, devices
from simulator.direct import Direct

FUNCTION = {Space.COIL: 1, Space.DISCRETE: 2, Space.HOLDING: 3, Space.INPUT: 4}
EXACT = (
    "outcome",
    "load",
    "load_order",
    "remote",
    "fan_on",
    "airflow",
    "fan_supply",
    "emergency_stop",
    "site_needs_set",
    "serial",
    "identity_ok",
    "faults",
    "faults_known",
    "power_reading",
    "suspect",
)


def answers(device: Device, plan) -> tuple[Answer, ...]:
    """Ask a device for every block of a plan."""
    found = []
    for block in plan.blocks:
        reply = device.respond(pack(">BHH", FUNCTION[block.space], block.first, block.count))
        assert reply is not None
        assert reply[0] == FUNCTION[block.space], f"{device.name}: {block} is refused with {reply[1]}"
        body = reply[2:]
        if block.space.bits:
            body += b"\0" * (len(body) % 2)
            found.append(Answer(Got.OK, unpack(f"<{len(body) // 2}H", body)))
        else:
            found.append(Answer(Got.OK, unpack(f">{block.count}H", body)))
    return tuple(found)


def alike(first: Electrical, second: Electrical) -> None:
    """Equal within the coarsest register of the shipped maps; present where the other is."""
    for field in ("volts_ll", "volts_ln", "amps", "phase_kw"):
        for a, b in zip(getattr(first, field), getattr(second, field), strict=True):
            assert (a is None) == (b is None), field
            assert a is None or a == pytest.approx(b, abs=0.51, rel=0.005), field
    for field in ("power_kw", "hertz"):
        a, b = getattr(first, field), getattr(second, field)
        assert (a is None) == (b is None), field
        assert a is None or a == pytest.approx(b, abs=0.6, rel=0.005), field


@pytest.mark.parametrize("name", names("site"))
def test_every_shipped_sites_bytes_decode_to_what_is_true(name):
    site, _ = read_site(name)
    world = Bench(site, seed=3)
    direct, by_name = Direct(world), {d.name: d for d in devices(world)}
    nominal = basis(site.nameplate, site.limits.volts_present_percent)
    for bank in world.banks:
        bank.order_fan(True)
    for now, load in ((6.0, 0), (12.0, 1), (20.0, 3), (40.0, 2), (60.0, 0)):
        for bank in world.banks:
            bank.order_load(load)
        world.advance(now)
        units, instruments = direct.read()
        for unit, reading in zip(site.units, units, strict=True):
            decoded = decode_unit(unit, answers(by_name[unit.name], unit_decoder(unit.profile).plan), nominal)
            for field in EXACT:
                assert getattr(decoded, field) == getattr(reading, field), f"{unit.name}: {field}"
            for a, b in ((decoded.exhaust_c, reading.exhaust_c), (decoded.inlet_c, reading.inlet_c)):
                assert (a is None) == (b is None)
                assert a is None or a == pytest.approx(b, abs=0.6)
            assert isinstance(decoded, UnitReading)
            alike(decoded.electrical, reading.electrical)
        for instrument, seen in zip(site.instruments, instruments, strict=True):
            plan = instrument_decoder(instrument.registers).plan
            told = decode_instrument(instrument, answers(by_name[instrument.name], plan), nominal)
            assert (told.outcome, told.serial, told.suspect) == (seen.outcome, seen.serial, seen.suspect)
            if instrument.role == "meter":
                alike(told.electrical, seen.electrical)
            else:
                assert told.speed_rpm == pytest.approx(seen.speed_rpm, abs=1.0)
                assert told.set_running is seen.set_running
