"""The chain without bytes says the same as the chain on the wire would."""

import pytest

from benchctl.core.orders import Orders, UnitOrders, Write
from benchctl.core.reading import Outcome
from benchctl.core.registers import RegisterMap
from benchctl.core.scenario import Fault
from simulator.direct import Direct
from tests.simulator.worlds import bench, profile, setpoint_profile

HERE = "127.0.0.1:15000"


def give(port: Direct, **order):
    (done,) = port.write(Orders((UnitOrders(**order),)))
    return done


def charged(*profiles, **more):
    """A bench with its fan on, at 5 s."""
    world = bench(*profiles, kind="supply", **more)
    port = Direct(world)
    give(port, fan=True)
    world.advance(5.0)
    return world, port


def test_nothing_to_write_writes_nothing():
    _, port = charged()
    done = give(port)
    assert (done.opening, done.fan, done.closing, done.feed) == (Write.NONE,) * 4


def test_closings_and_openings_do_what_orders_mean():
    world, port = charged()
    assert give(port, raise_to=0b0111).closing is Write.DONE
    world.advance(6.0)
    assert port.read()[0][0].load == 0b0111
    assert give(port, keep=0b1101, lower=True).opening is Write.DONE
    world.advance(7.0)
    (unit,), _ = port.read()
    assert (unit.load, unit.load_order) == (0b0101, 0b0101)


def test_a_silent_order_writes_nothing_at_all():
    world, port = charged()
    give(port, raise_to=15, silent=True)
    world.advance(6.0)
    assert port.read()[0][0].load == 0


def test_a_set_point_is_written_down_and_up():
    world, port = charged(setpoint_profile())
    give(port, raise_to=12)
    world.advance(7.0)
    assert port.read()[0][0].load == 12
    give(port, keep=4, lower=True)
    world.advance(9.0)
    assert port.read()[0][0].load == 4


def test_closings_wait_for_openings_that_were_not_acknowledged():
    world = bench(profile(), profile(), faults=(Fault(6.0, "mute", "bank 1"),))
    port = Direct(world)
    port.write(Orders((UnitOrders(fan=True), UnitOrders(fan=True))))
    world.advance(7.0)
    first, second = port.write(Orders((UnitOrders(lower=True), UnitOrders(raise_to=1))))
    assert first.opening is Write.UNKNOWN
    assert second.closing is Write.NOT_SENT


@pytest.mark.parametrize(
    ("name", "on", "value", "outcome", "write"),
    [
        ("mute", "bank 1", None, Outcome.SILENT, Write.UNKNOWN),
        ("busy", "bank 1", 6.0, Outcome.REFUSED, Write.REFUSED),
        ("busy", "bank 1", 11.0, Outcome.GATEWAY, Write.REFUSED),
        ("cut", HERE, None, Outcome.DOWN, Write.NOT_SENT),
        ("refuses writes", "bank 1", 4.0, Outcome.OK, Write.REFUSED),
        ("delay", HERE, 3.0, Outcome.SILENT, Write.UNKNOWN),
        ("loses replies", HERE, 1.0, Outcome.SILENT, Write.UNKNOWN),
        ("restarts", "bank 1", None, Outcome.SILENT, Write.UNKNOWN),
        ("ignores writes", "bank 1", None, Outcome.OK, Write.DONE),
    ],
)
def test_troubles_show_as_outcomes(name, on, value, outcome, write):
    world, port = charged(faults=(Fault(6.0, name, on, value),))
    world.advance(7.0)
    assert port.read()[0][0].outcome is outcome
    assert give(port, fan=False).fan is write  # not what it holds: that would not be written again


def test_a_mute_unit_behind_a_gateway_is_the_gateways_answer():
    world, port = charged(gateway=True, faults=(Fault(6.0, "mute", "bank 1"),))
    world.advance(7.0)
    assert port.read()[0][0].outcome is Outcome.GATEWAY


def test_readings_feed_a_watchdog_that_any_request_feeds():
    world, port = charged()
    give(port, raise_to=15)
    for now in range(6, 60):
        world.advance(float(now))
        port.read()
    assert world.banks[0].elements.closed == 15


def test_what_a_profile_cannot_report_stays_unknown():
    some = RegisterMap(tuple(p for p in profile().registers.points if p.name in ("airflow", "stages_order")))
    _, port = charged(profile(registers=some))
    (unit,), _ = port.read()
    assert unit.airflow is True
    assert (unit.exhaust_c, unit.remote, unit.serial, unit.electrical.power_kw) == (None,) * 4


def test_a_map_without_points_reports_everything():
    _, port = charged(profile(registers=RegisterMap(())))
    (unit,), _ = port.read()
    assert unit.airflow
    assert unit.remote
    assert unit.exhaust_c == pytest.approx(20.0)
    assert unit.power_reading


def test_a_trip_sets_the_fault_bit_of_its_meaning():
    world, port = charged(faults=(Fault(6.0, "over-temperature", "bank 1"),))
    world.advance(7.0)
    (unit,), _ = port.read()
    assert (unit.faults, unit.faults_known) == (0b001, 0b111)


def test_the_meter_shows_the_units_load():
    world, port = charged()
    give(port, raise_to=15)
    world.advance(8.0)
    _, meters = port.read()
    assert meters[0].electrical.power_kw == pytest.approx(40.0, rel=0.003)


def test_without_volts_hertz_are_not_known_rather_than_zero():
    world, port = charged(faults=(Fault(6.0, "volts lost at meter", "source meter"),))
    world.advance(10.0)
    _, (source, chain, _) = port.read()
    assert source.electrical.hertz is None
    assert source.electrical.volts_ll == (0.0, 0.0, 0.0)
    assert chain.electrical.hertz == pytest.approx(50.0, abs=0.1)
