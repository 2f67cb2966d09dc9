"""First contact, against the simulator and scripted devices, in virtual time. It writes nothing, ever."""

import asyncio
import struct
from dataclasses import replace

import pytest

from benchctl.core.reading import Outcome
from benchctl.core.registers import Kind, Order, Point, Space
from benchctl.core.site import Endpoint
from benchctl.field.contact import meet
from benchctl.field.look import try_register
from benchctl.files import read_site
from simulator.bench import Bench
from simulator.cable import Memory as Cables
from simulator.warp import WarpLoop, run
from tests.field.made import H, meter, profile, site, unit
from tests.field.scripted import Memory, good

PLACE = Endpoint("192.0.2.1", 502)
OTHER = Endpoint("192.0.2.2", 502)


def met(place, scripts):
    """What first contact finds; and every request that it sent."""
    memory = Memory(scripts)
    found = run(meet(place, connect=memory.connect))
    return found, [a for asked in memory.asked.values() for a in asked]


def test_the_shipped_site_is_met_without_a_warning():
    loop = WarpLoop()
    place, _ = read_site("northquay")
    found = run(meet(place, connect=Cables(Bench(place), loop).connect), loop)
    assert [m.name for m in found] == [d.name for d in place.units] + [d.name for d in place.instruments]
    assert all(m.reached and m.identity_ok and m.warnings == () and m.absent == () for m in found)
    assert [m.rated_kw for m in found[:4]] == [150.0, 150.0, 120.0, 80.0]
    assert [m.watchdog_s for m in found[:4]] == [15.0, 15.0, 12.0, 20.0]
    assert all(m.load_on is False and m.faults == () and m.serial for m in found[:4])
    assert all(m.latency_s is not None and 0.01 < m.latency_s < 0.2 for m in found)


def test_the_sixty_hertz_site_of_two_gateways_is_met_too():
    loop = WarpLoop()
    place, _ = read_site("alder-ridge")
    found = run(meet(place, connect=Cables(Bench(place), loop).connect), loop)
    assert all(m.reached and m.identity_ok for m in found)


SAYS = (
    Point("rated_kw", H, 0, Kind.UINT16, once=True),
    Point("rated_v", H, 1, Kind.UINT16, once=True),
    Point("watchdog_s", H, 2, Kind.UINT16, once=True),
    Point("remote", H, 3, Kind.BIT, bit=0),
    Point("emergency_stop", H, 3, Kind.BIT, bit=1),
    Point("known_value", H, 5, Kind.UINT16, expect=77, once=True),
    Point("serial", H, 6, Kind.TEXT, length=2, once=True),
)


def test_what_does_not_agree_is_told_and_nothing_is_written():
    place = site(replace(unit(profile(SAYS), PLACE), serial="B-01"))
    high, low = struct.unpack(">2H", b"A-09")
    found, asked = met(place, {PLACE: good({0: 100, 1: 480, 3: 0b10, 5: 78, 6: high, 7: low})})
    told = "\n".join(found[0].warnings)
    for part in (
        "known value",
        "serial is A-09, the site file says B-01",
        "rated 480 V, its profile says 400 V",
        "rated 100 kW",
        "its own panel",
        "emergency stop",
    ):
        assert part in told
    assert {a.function for a in asked} == {3}


def test_load_that_is_on_already_is_told():
    points = (Point("stages_order", H, 0, Kind.UINT16, write_function=6), Point("stages_closed", H, 1, Kind.UINT16))
    place, _ = read_site("northquay")
    bank = unit(replace(place.units[2].profile, registers=profile(points).registers, faults=()), PLACE)
    found, _ = met(site(bank), {PLACE: good({0: 3, 1: 3})})
    assert found[0].load_on
    assert any("load is on already" in w for w in found[0].warnings)


def test_a_measurement_that_stands_still_is_told():
    points = (Point("volts_a", H, 0, Kind.UINT16), Point("refresh_count", H, 1, Kind.UINT16))
    place = site(instruments=(meter(*points, endpoint=PLACE),))
    found, _ = met(place, {PLACE: good({0: 230, 1: 5})})
    assert found[0].fresh is False
    assert "frozen" in found[0].warnings[0]


def test_what_cannot_be_is_told():
    place = site(instruments=(meter(Point("power_factor", H, 0, Kind.UINT16, scale=1e-4), endpoint=PLACE),))
    found, _ = met(place, {PLACE: good({0: 12000})})
    assert found[0].suspect == ("power_factor",)
    assert "power_factor reads as something that cannot be" in found[0].warnings


def test_who_is_not_there_is_told_and_delays_the_others_once():
    place = site(unit(profile(SAYS), PLACE), unit(profile(SAYS), OTHER, name="bank 2"))
    found, _ = met(place, {PLACE: lambda a: None, OTHER: good({5: 77})})
    assert found[0].reached is False
    assert found[0].warnings
    assert found[1].reached
    assert found[1].outcome is Outcome.OK


def look(script, address, space=Space.HOLDING, unit_id=1):
    memory = Memory({PLACE: script})
    return run(try_register(PLACE, unit_id, space, address, connect=memory.connect))


def test_A1_one_look_shows_the_four_orders_and_the_neighbours():
    # stephane/libmodbus#56 and ioBroker.modbus#508: [0x43F0, 0x4000] is 480.5 or, with words swapped, 2.00415
    view = look(good({100: 0x43F0, 101: 0x4000}), 100)
    assert view.here.words == (0x43F0, 0x4000)
    assert view.here.float32 is not None
    assert view.here.float32[Order.ABCD] == 480.5
    assert view.here.float32[Order.CDAB] == pytest.approx(2.00415, rel=1e-5)
    assert (view.here.int16, view.here.uint16) == (0x43F0, 0x43F0)
    assert (view.below.address, view.below.words) == (99, (0, 0x43F0))
    assert (view.above.address, view.above.words) == (101, (0x4000, 0))


def test_C1_signed_and_unsigned_stand_side_by_side():
    here = look(good({10: 0xFFFF, 11: 0xF3E8}), 10).here
    assert here.int32 is not None
    assert here.uint32 is not None
    assert (here.int32[Order.ABCD], here.uint32[Order.ABCD]) == (-3096, 4_294_964_200)


def test_a_lone_register_is_read_where_the_next_one_does_not_exist():
    view = look(lambda a: good({7: 9})(a) if a.address + a.count <= 8 else a.frame(bytes((0x83, 2))), 7)
    assert (view.here.words, view.here.float32) == ((9,), None)
    assert view.above.fault == "the device has no such address"


@pytest.mark.parametrize(("address", "missing"), [(0, "below"), (0xFFFF, "above")])
def test_the_ends_of_the_address_space_have_no_neighbour(address, missing):
    view = look(good(), address)
    assert getattr(view, missing).fault == "no such address in Modbus"
    assert view.here.words


def test_a_coil_is_one_bit():
    assert look(good({4: 1}), 4, Space.COIL).here.words == (1,)


def test_silence_and_exceptions_are_told_plainly():
    assert look(lambda a: None, 4).here.fault == "no answer in time"
    assert not look(lambda a: None, 4).answered
    refused = look(lambda a: a.frame(bytes((0x83, 11))), 4)
    assert refused.here.fault == "the unit behind the gateway does not answer"
    assert refused.answered


def test_an_impossible_address_is_refused():
    with pytest.raises(ValueError, match="outside 0 to 65535"):
        asyncio.run(try_register(PLACE, 1, Space.HOLDING, 65536))
