"""Time on the wire: sums of requests, the computed scan period, drops and blocks; life without this computer."""

from dataclasses import replace

import pytest

from benchctl.core.profile import Fan, FanSupply, SetPoint, Watchdog
from benchctl.core.registers import Kind, Point, RegisterMap, Space
from benchctl.core.site import Endpoint
from benchctl.planning.links import drop_writes, links, scan_period_s, shortest_period_s
from benchctl.planning.stops import stops
from tests.planning.places import meter, profile, registers, site, unit

GATEWAY = Endpoint("127.0.0.1", 15999, gateway=True)


def slow(**changes):
    """A unit that needs 3 reads of 30 ms and 10 ms of silence, and one write for all stages."""
    return profile(10.0, 20.0, registers=registers(3, turnaround_s=0.03, gap_s=0.01), **changes)


def shared(place):
    """All units behind one gateway."""
    return replace(place, units=tuple(replace(u, endpoint=GATEWAY) for u in place.units))


def test_own_sockets_work_side_by_side_and_a_gateway_adds_up():
    # The coils of `slow` lie at 0 and 1 and are read back with one more request: 4 x 40 ms = 0.16 s a unit.
    alone = links(site(*[slow()] * 4))
    assert [link.requests for link in alone] == [4, 4, 4, 4, 1]
    assert [link.scan_s for link in alone[:4]] == pytest.approx([0.16] * 4)
    behind = links(shared(site(*[slow()] * 4)))
    assert behind[0].requests == 16
    assert behind[0].scan_s == pytest.approx(0.64)
    assert behind[0].devices == ("bank 1", "bank 2", "bank 3", "bank 4")


def test_the_scan_period_is_computed_half_a_second_at_best():
    assert scan_period_s(site(*[slow()] * 4)) == 0.5
    assert scan_period_s(shared(site(*[slow()] * 4))) == pytest.approx(0.65)
    assert scan_period_s(site(scan_period_s=2.0)) == 2.0
    assert shortest_period_s(links(shared(site(*[slow()] * 5)))) == pytest.approx(0.8)


def test_feeding_a_watchdog_takes_its_time_in_the_worst_scan():
    fed = links(shared(site(*[slow(watchdog=Watchdog(15.0, "register"))] * 2)))[0]
    assert (fed.requests, fed.feeds) == (8, 2)
    assert fed.scan_s == pytest.approx(10 * 0.04)


def test_a_drop_waits_for_one_poll_and_for_the_units_before():
    # One poll in flight 40 ms, then 1 write of 40 ms for each of 4 units; contactors follow in 2 s.
    link = links(shared(site(*[slow()] * 4)))[0]
    assert link.drop_write_s == pytest.approx(0.04 + 4 * 0.04)
    assert link.off_s == pytest.approx(0.2 + 2.0)
    assert link.block_spread_s == pytest.approx(3 * 0.04)
    own = links(site(*[slow()] * 4))[0]
    assert own.drop_write_s == pytest.approx(0.08)
    assert own.block_spread_s == 0.0


def test_a_set_point_unit_is_off_after_its_own_worst_time():
    kind = profile(
        setpoint=SetPoint(80.0, 4.0, actual=True, drop_s=1.5),
        registers=RegisterMap(
            (Point("setpoint_kw", Space.HOLDING, 0, Kind.UINT16, write_function=16),), turnaround_s=0.06
        ),
    )
    assert links(site(kind))[0].off_s == pytest.approx(0.12 + 1.5)


@pytest.mark.parametrize(
    ("function", "addresses", "count"), [(15, (0, 1, 2, 3), 1), (15, (0, 1, 8, 9), 2), (5, (0, 1, 2), 3)]
)
def test_a_drop_takes_one_request_for_each_run_of_coils_or_each_lone_coil(function, addresses, count):
    orders = [Point("order", Space.COIL, a, Kind.BIT, write_function=function) for a in addresses]
    kind = profile(*[10.0] * len(addresses))
    stages = tuple(replace(s, order=o) for s, o in zip(kind.stages, orders, strict=True))
    assert drop_writes(unit(1, replace(kind, stages=stages))) == count


def test_bits_of_one_register_are_one_write():
    kind = profile(*[10.0] * 6)
    stages = tuple(
        replace(s, order=Point("order", Space.HOLDING, 4, Kind.BIT, bit=i, write_function=16))
        for i, s in enumerate(kind.stages)
    )
    assert drop_writes(unit(1, replace(kind, stages=stages))) == 1


def test_a_mask_register_drops_a_unit_in_one_write():
    mask = Point("stages_order", Space.HOLDING, 7, Kind.UINT16, write_function=6)
    assert drop_writes(unit(1, profile(10.0, 20.0, registers=RegisterMap((mask,))))) == 1


def test_a_link_without_units_has_nothing_to_drop():
    link = links(site(instruments=(meter(),)))[-1]
    assert link.units == 0
    assert link.off_s == 0.0


def test_H7_the_plan_says_of_each_kind_of_unit_what_becomes_of_its_load():
    told = stops(
        site(
            profile(10.0),
            profile(10.0, watchdog=None),
            profile(
                10.0, watchdog=Watchdog(12.0, "register", 4.0, on_return="resumes"), fan=Fan(1.0, FanSupply.SOURCE)
            ),
        )
    )
    assert len(told) == 3
    assert "15 s after the last contact (any request feeds it)" in told[0]
    assert "attended operation only" in told[1]
    assert "every 4 s" in told[2]
    assert "takes its old load up again" in told[2]
    assert "must run until the units are cool" in told[2]
