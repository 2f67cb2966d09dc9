"""Orders to requests. Functions and limits: Modbus Application Protocol 1.1b3, 5, 6, 15, 16."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.core.orders import UnitOrders
from benchctl.core.profile import Stage, Watchdog
from benchctl.core.registers import Kind, Order, Point
from benchctl.field.answer import SILENT
from benchctl.field.decode import decode_unit
from benchctl.field.encode import NOTHING, Request, encode
from tests.field.made import C, H, coil_bank, mask_bank, ok, profile, setpoint_bank, unit

COILS = unit(coil_bank(4))
RUNS = unit(coil_bank(4, function=15))
MASK = unit(mask_bank())
SETPOINT = unit(setpoint_bank())


def coils(closed: int, fan: bool = True):
    """Answers of a coil bank."""
    return ok(closed), ok(int(fan)), ok(closed), ok(0, 0)


def test_a_silent_order_writes_nothing():
    assert encode(COILS, UnitOrders(silent=True, lower=True, fan=True, feed=True)) is NOTHING


def test_openings_by_single_coils_name_only_stages_that_may_be_closed():
    assert encode(COILS, UnitOrders(keep=0b0001, lower=True), coils(0b0101)).openings == (Request(5, 2, (0,)),)


def test_openings_to_a_unit_that_was_not_heard_name_every_stage_not_kept():
    every = tuple(Request(5, a, (0,)) for a in range(4))
    assert encode(COILS, UnitOrders(lower=True)).openings == every
    assert encode(COILS, UnitOrders(lower=True), (SILENT,) * 4).openings == every


def test_a_stage_whose_order_is_set_but_does_not_read_back_is_opened_too():
    answers = (ok(0b1000), ok(1), ok(0), ok(0, 0))
    assert encode(COILS, UnitOrders(lower=True), answers).openings == (Request(5, 3, (0,)),)


def test_a_drop_opens_every_stage_whatever_reads_back():
    assert len(encode(COILS, UnitOrders(lower=True), coils(0), all_stages=True).openings) == 4
    assert encode(RUNS, UnitOrders(lower=True), coils(0), all_stages=True).openings == (Request(15, 0, (0, 0, 0, 0)),)


def test_neighbouring_coils_are_written_in_runs_that_touch_no_other_stage():
    assert encode(RUNS, UnitOrders(keep=0b0010, lower=True), coils(0b1111)).openings == (
        Request(15, 0, (0,)),
        Request(15, 2, (0, 0)),
    )
    assert encode(RUNS, UnitOrders(keep=0b0001, raise_to=0b0111), coils(0b0001)).closings == (Request(15, 1, (1, 1)),)


def test_closings_by_coils_name_exactly_the_stages_that_are_to_close():
    assert encode(COILS, UnitOrders(keep=0b0001, raise_to=0b1001), coils(0b0001)).closings == (Request(5, 3, (1,)),)


def test_masks_are_written_whole():
    wanted = UnitOrders(keep=0b0010, raise_to=0b0110, lower=True, fan=True, feed=True)
    writes = encode(MASK, wanted, (ok(0b1010, 0), ok(0b1010)))
    assert (writes.openings, writes.fans, writes.closings, writes.feed) == (
        (Request(6, 0, (0b0010,)),),
        (Request(6, 1, (1,)),),
        (Request(6, 0, (0b0110,)),),
        (Request(6, 2, (1,)),),
    )


def test_set_points_are_written_in_the_units_own_scale():
    assert encode(SETPOINT, UnitOrders(keep=5, lower=True)).openings == (Request(16, 0, (200,)),)
    assert encode(SETPOINT, UnitOrders(keep=5, raise_to=10)).closings == (Request(16, 0, (400,)),)


def test_a_set_point_that_does_not_fit_its_register_is_refused_in_words():
    with pytest.raises(ValueError, match="setpoint_kw: 40000 does not fit a uint16"):
        encode(SETPOINT, UnitOrders(keep=10_000, lower=True))


def test_a_set_point_with_a_scale_factor_needs_it_known():
    points = (
        Point("setpoint_kw", H, 0, Kind.INT16, scale_from="power_sf", write_function=16),
        Point("power_sf", H, 1, Kind.INT16),
    )
    bank = unit(setpoint_bank(registers=profile(points).registers))
    assert encode(bank, UnitOrders(keep=5, lower=True), (ok(0, 0xFFFF),)).openings == (Request(16, 0, (200,)),)
    with pytest.raises(ValueError, match="power_sf is not known"):
        encode(bank, UnitOrders(keep=5, lower=True))


def test_a_float_set_point_keeps_the_word_order_of_the_device():
    points = (Point("setpoint_kw", H, 0, Kind.FLOAT32, Order.CDAB, write_function=16),)
    bank = unit(setpoint_bank(registers=profile(points).registers))
    # 480.0 is 43F0 0000 (IEEE 754), here with the low word first
    assert encode(bank, UnitOrders(keep=120, lower=True)).openings == (Request(16, 0, (0x0000, 0x43F0)),)


def test_memory_that_wears_out_is_written_on_change_only():
    points = (Point("setpoint_kw", H, 0, Kind.UINT16, write_function=6, nonvolatile=True),)
    bank = unit(setpoint_bank(registers=profile(points).registers))
    assert encode(bank, UnitOrders(keep=5, lower=True), (ok(20),)).openings == ()
    assert encode(bank, UnitOrders(keep=5, lower=True), (ok(24),)).openings == (Request(6, 0, (20,)),)


def test_the_fan_is_written_until_its_order_reads_back():
    assert encode(COILS, UnitOrders(fan=True), coils(0, fan=False)).fans == (Request(5, 16, (1,)),)
    assert encode(COILS, UnitOrders(fan=True), coils(0, fan=True)).fans == ()
    assert encode(COILS, UnitOrders(fan=True)).fans == (Request(5, 16, (1,)),)
    assert encode(COILS, UnitOrders(fan=None), coils(0)).fans == ()


def test_a_watchdog_fed_by_any_write_is_fed_by_repeating_the_fan_order_only_when_nothing_else_is_written():
    assert encode(COILS, UnitOrders(fan=True, feed=True), coils(0)).feed == (Request(5, 16, (1,)),)
    writes = encode(COILS, UnitOrders(keep=0, raise_to=1, fan=True, feed=True), coils(0))
    assert (writes.feed, writes.fed) == ((), True)


def test_a_feed_of_a_unit_whose_fan_is_not_ours_closes_nothing():
    for closed in range(16):
        for request in encode(COILS, UnitOrders(keep=closed, feed=True), coils(closed)).feed:
            assert request.values == (0,)


def test_a_watchdog_fed_by_any_request_needs_no_write():
    bank = unit(coil_bank(watchdog=Watchdog(10.0, "any request")))
    writes = encode(bank, UnitOrders(fan=None, feed=True), coils(0))
    assert (bool(writes), writes.fed) == (False, True)


def test_bits_of_a_shared_register_that_are_not_ours_keep_what_was_read():
    stages = tuple(
        Stage(f"s{i}", (1, 1, 1), order=Point(f"s{i}", H, 0, Kind.BIT, bit=i, write_function=6)) for i in range(3)
    )
    bank = unit(profile((Point("fan_order", H, 0, Kind.BIT, bit=8, write_function=6),), stages=stages))
    held = (ok(0b1000_0001_0000_0111),)
    assert encode(bank, UnitOrders(keep=0b001, lower=True), held).openings == (Request(6, 0, (0b1000_0001_0000_0001,)),)
    assert encode(bank, UnitOrders(keep=0b001, lower=True, fan=False), held).openings == (
        Request(6, 0, (0b1000_0000_0000_0001,)),
    )
    # nothing known: what is not ours is 0, but the fan's bit is on unless ordered off
    assert encode(bank, UnitOrders(lower=True)).openings == (Request(6, 0, (0b0000_0001_0000_0000,)),)


@given(st.integers(0, 15), st.integers(0, 15), st.booleans())
def test_openings_only_open_and_closings_only_close(held, keep, runs):
    bank = RUNS if runs else COILS
    keep &= held
    writes = encode(bank, UnitOrders(keep=keep, raise_to=keep | 1, lower=True), coils(held))
    assert all(v == 0 for r in writes.openings for v in r.values)
    assert all(v == 1 for r in writes.closings for v in r.values)
    state = held
    for request in (*writes.openings, *writes.closings):
        for i, v in enumerate(request.values):
            state = state & ~(1 << request.address + i) | v << request.address + i
    assert state == keep | 1


@given(st.integers(0, 20))
def test_a_set_point_reads_back_as_the_load_that_was_ordered(steps):
    (request,) = encode(SETPOINT, UnitOrders(keep=steps, lower=True)).openings
    assert decode_unit(SETPOINT, (ok(request.values[0], request.values[0]),)).load == steps


def test_coils_of_one_unit_may_be_inverted():
    stages = (Stage("s", (1, 1, 1), order=Point("s", C, 0, Kind.BIT, inverted=True, write_function=5)),)
    assert encode(unit(profile(stages=stages)), UnitOrders(lower=True)).openings == (Request(5, 0, (1,)),)
