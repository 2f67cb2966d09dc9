"""Decoding. Inputs and expected values: public issue reports about Modbus meters (named at each test), SunSpec.

SunSpec information model: "not implemented" patterns and scale factors. IEEE 754: floats.
"""

import math
import struct
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.client import AsyncModbusTcpClient

from benchctl.core.reading import Outcome
from benchctl.core.registers import Kind, Order, Point, RegisterMap
from benchctl.field.answer import DOWN, NOT_ASKED, SILENT, Answer, Got
from benchctl.field.decode import basis, decode_instrument, decode_unit
from benchctl.field.decoder import decode, instrument_decoder
from benchctl.field.scalars import reader, straight, text, to_words
from tests.field.made import PLATE, C, D, H, coil_bank, fault_bits, mask_bank, meter, ok, profile, setpoint_bank, unit

NOMINAL = basis(PLATE, 20.0)
FLOAT = Kind.FLOAT32


def value(kind: Kind, words: tuple[int, ...], name: str = "power_kw", **more):
    """One value through the whole decoder: (value or None, suspects)."""
    shape = RegisterMap((Point(name, H, 0, kind, **more),))
    found = decode(instrument_decoder(shape), (ok(*words),))
    return found.values.get(name), found.suspect


@pytest.mark.parametrize(
    ("words", "order", "expected"),
    [
        ((0x43F0, 0x4000), Order.ABCD, 480.5),
        ((0x43F0, 0x4000), Order.CDAB, 2.00415),
        ((0x43F0, 0x4000), Order.BADC, -2.41e29),
        ((0x43F0, 0x4000), Order.DCBA, 5.96e-39),
        ((0x077A, 0x429B), Order.CDAB, 77.514603),
        ((0x077A, 0x429B), Order.ABCD, 1.88e-34),
    ],
)
def test_A1_the_four_byte_orders_of_a_float(words, order, expected):
    # influxdata/telegraf#8855, stephane/libmodbus#56: the same words in four orders
    # the reports give two or three figures of the absurd values
    assert reader(FLOAT, order)(words) == pytest.approx(expected, rel=1e-5 if 1 < abs(expected) < 1e6 else 3e-3)


def test_A1_a_map_that_is_off_by_one_is_a_suspicion_and_never_zero():
    # ioBroker.modbus#508: halves of two values glued together
    words = (0x4367, 0xB333, 0x42C6, 0x999A)
    assert value(FLOAT, words[:2], "volts_a")[0] == pytest.approx(231.7, abs=1e-4)
    assert value(FLOAT, words[2:], "amps_a")[0] == pytest.approx(99.3, abs=1e-5)
    assert value(FLOAT, words[1:3], "amps_a") == (None, ["amps_a"])
    straddled = struct.unpack(">4H", struct.pack(">ff", 400.0, 100.0))[1:3]
    assert value(FLOAT, straddled, "volts_a") == (None, ["volts_a"])


def test_A1_minus_zero_is_never_shown():
    found, suspect = value(FLOAT, (0x8000, 0x0000))
    assert found == 0.0
    assert math.copysign(1.0, found) == 1.0
    assert suspect == []


@pytest.mark.parametrize(
    ("kind", "words", "missing", "scale", "suspects"),
    [
        (Kind.INT16, (0x8000,), ((0x8000,),), 0.1, 0),
        (Kind.UINT16, (0xFFFF,), ((0xFFFF,),), 0.1, 0),
        (Kind.UINT32, (0xFFFF, 0xFFFF), ((0xFFFF, 0xFFFF),), 1.0, 0),
        (Kind.INT32, (0x8000, 0x0000), ((0x8000, 0x0000),), 1.0, 0),
        (FLOAT, (0x7FC0, 0x0000), (), 1.0, 0),
        (FLOAT, (0x7FBF, 0xFF80), (), 1.0, 0),
        (FLOAT, (0xFFC0, 0x0000), (), 1.0, 0),
        (FLOAT, (0x7F80, 0x0000), (), 1.0, 1),
        (FLOAT, (0xFF7F, 0xFFFF), (), 1.0, 1),
    ],
)
def test_A2_patterns_for_no_value_are_caught_before_scaling(kind, words, missing, scale, suspects):
    # sunspec/pysunspec#74 and #100, fronius_modbus#70: sentinels scaled into readings
    found, suspect = value(kind, words, missing=missing, scale=scale)
    assert found is None
    assert len(suspect) == suspects


def test_A2_a_counter_may_be_65535():
    assert value(Kind.UINT16, (0xFFFF,), "refresh_count")[0] == 65535


def test_A2_a_scale_factor_that_is_not_implemented_makes_its_value_not_valid():
    shape = RegisterMap(
        (Point("power_kw", H, 0, Kind.INT16, scale_from="power_sf"), Point("power_sf", H, 1, Kind.INT16))
    )
    found = decode(instrument_decoder(shape), (ok(235, 0x8000),))
    assert (found.values, found.suspect) == ({}, [])


def test_A2_one_missing_phase_leaves_the_others():
    points = [Point(f"power_{p}_kw", H, i, Kind.INT16, scale=0.1, missing=((0x8000,),)) for i, p in enumerate("abc")]
    reading = decode_instrument(meter(*points), (ok(230, 0x8000, 231),))
    assert reading.electrical.phase_kw == (23.0, None, 23.1)
    assert reading.electrical.power_kw is None


def test_A2_a_real_meter_dump_of_sunspec_model_103():
    # register dump in the tests of the public crate "sunspec" (docs.rs)
    points = [
        *(
            Point(f"volts_{p}", H, i, Kind.UINT16, scale_from="volts_sf", missing=((0xFFFF,),))
            for i, p in enumerate(("ab", "bc", "ca", "a", "b", "c"))
        ),
        Point("volts_sf", H, 6, Kind.INT16),
        Point("hertz", H, 7, Kind.UINT16, scale_from="hertz_sf"),
        Point("hertz_sf", H, 8, Kind.INT16),
        Point("coolant_c", H, 9, Kind.INT16, missing=((0x8000,),)),
        Point("energy_kwh", H, 10, Kind.UINT32),
    ]
    reading = decode_instrument(
        meter(*points), (ok(3965, 3953, 3963, 2288, 2284, 2285, 0xFFFF, 4998, 0xFFFE, 0x8000, 60, 8980),), NOMINAL
    )
    e = reading.electrical
    assert e.volts_ll == (396.5, 395.3, 396.3)
    assert e.volts_ln == (228.8, 228.4, 228.5)
    assert (e.hertz, reading.coolant_c, e.energy_kwh) == (49.98, None, 3_941_140.0)
    assert reading.suspect == ()


@pytest.mark.parametrize(("raw", "factor", "expected"), [(2771, -1, 277.1), (5998, -2, 59.98), (4999, 2, 499_900.0)])
def test_scale_factors_give_the_nearest_double(raw, factor, expected):
    # the SunSpec rule: a value is its raw number times ten to the scale factor
    shape = RegisterMap(
        (Point("energy_kwh", H, 0, Kind.INT16, scale_from="energy_sf"), Point("energy_sf", H, 1, Kind.INT16))
    )
    assert decode(instrument_decoder(shape), (ok(raw, factor & 0xFFFF),)).values == {"energy_kwh": expected}


def test_C1_a_signed_value_is_signed_and_the_unsigned_reading_is_refused_by_its_range():
    # zigbee2mqtt#31909, solaredge-modbus-hass#19: 429 496 420 W was reported
    words = (0xFFFF, 0xF3E8)
    assert value(Kind.INT32, words, scale=0.0001)[0] == pytest.approx(-0.3096, abs=1e-12)
    limit = 1.2 * PLATE.power_kw
    assert value(Kind.UINT32, words, scale=0.0001, minimum=-limit, maximum=limit) == (None, ["power_kw"])
    assert value(Kind.UINT32, words, scale=0.0001) == (None, ["power_kw"])


def test_power_far_above_the_nameplate_is_refused_where_a_profile_gives_no_range():
    points = (Point("power_kw", H, 0, Kind.UINT16),)
    assert decode_instrument(meter(*points), (ok(1499),), NOMINAL).electrical.power_kw == 1499.0
    refused = decode_instrument(meter(*points), (ok(1501),), NOMINAL)
    assert (refused.electrical.power_kw, refused.suspect) == (None, ("power_kw",))


PF = {"scale": 1e-4}


@pytest.mark.parametrize(
    ("word", "more", "expected"),
    [
        (9998, PF, 0.9998),
        (64670, PF, -0.0866),
        (0xFFF0, {"scale": 0.0001}, -0.0016),
        (12000, PF, None),
        (-9691 & 0xFFFF, {"scale": 0.0001}, -0.9691),
    ],
)
def test_C3_power_factor_is_signed_and_never_beyond_one(word, more, expected):
    # givenergy-modbus#246, sunspec/models#219, mbmd#72 (percent style: the profile says so by its scale)
    points = (Point("power_factor", H, 0, Kind.INT16, **more), Point("amps_a", H, 1, Kind.UINT16))
    reading = decode_instrument(meter(*points), (ok(word, 100),), NOMINAL)
    if expected is None:
        assert (reading.electrical.power_factor, reading.suspect) == (None, ("power_factor",))
    else:
        assert reading.electrical.power_factor == pytest.approx(expected, abs=1e-12)


def test_C3_without_current_there_is_no_power_factor():
    # a public set's log reads 0.998848 with all currents at 0
    points = (
        Point("power_factor", H, 0, FLOAT),
        *(Point(f"amps_{p}", H, 2 + i, Kind.UINT16) for i, p in enumerate("abc")),
    )
    reading = decode_instrument(meter(*points), (ok(*to_words(FLOAT, Order.ABCD, 0.998848), 0, 0, 0),), NOMINAL)
    assert reading.electrical.power_factor is None
    assert reading.suspect == ()


@pytest.mark.parametrize(
    ("volts", "hertz", "expected", "suspect"),
    [
        (3, 5000, None, ()),
        (3, 0, None, ()),
        (238, 0, None, ("hertz",)),
        (231, 41900, None, ("hertz",)),
        (231, 50000, None, ("hertz",)),
        (231, 4990, 49.9, ()),
    ],
)
def test_C7_hertz_mean_something_only_where_there_are_volts(volts, hertz, expected, suspect):
    # openmotics/frontend#21, homeassistant-solax-modbus#1797, RpiSolArk notes, Sungrow#34
    points = (Point("volts_a", H, 0, Kind.UINT16), Point("hertz", H, 1, Kind.UINT16, scale=0.01))
    reading = decode_instrument(meter(*points), (ok(volts, hertz),), NOMINAL)
    assert (reading.electrical.hertz, reading.suspect) == (expected, suspect)


def test_the_ratio_of_transformers_is_applied_only_where_the_meter_does_not():
    points = (
        Point("amps_a", H, 0, Kind.UINT16),
        Point("power_kw", H, 1, Kind.UINT16, scale=0.001),
        Point("volts_a", H, 2, Kind.UINT16),
    )
    plain = meter(*points, ct_primary_a=1000.0, ct_secondary_a=5.0)
    ours = meter(*points, ct_primary_a=1000.0, ct_secondary_a=5.0, ct_applied=False)
    answers = (ok(3, 690, 230),)
    assert decode_instrument(plain, answers).electrical.amps[0] == 3.0
    e = decode_instrument(ours, answers).electrical
    assert (e.amps[0], e.volts_ln[0]) == (600.0, 230.0)
    assert e.power_kw == pytest.approx(138.0)


def test_stage_feedback_becomes_a_load_only_when_every_stage_is_known():
    bank = unit(coil_bank(4))
    # blocks: coils 0-3, coil 16, discrete inputs 0-3, registers 0-1
    assert decode_unit(bank, (ok(0b0110), ok(1), ok(0b0100), ok(215, 7))).load == 0b0100
    reading = decode_unit(bank, (ok(0b0110), ok(1), Answer(Got.OK, (0b0100,), holes=(3,)), ok(215, 7)))
    assert (reading.load, reading.load_order, reading.exhaust_c, reading.outcome) == (None, 0b0110, 21.5, Outcome.PART)


def test_masks_and_set_points_become_loads():
    assert decode_unit(unit(mask_bank()), (ok(0b1010, 1), ok(0b1000))).load == 0b1000
    reading = decode_unit(unit(setpoint_bank()), (ok(400, 360),))
    assert (reading.load_order, reading.load) == (10, 9)
    assert decode_unit(unit(setpoint_bank()), (ok(0, 2),)).load == 1


def test_fault_bits_tell_which_of_them_were_read():
    faults = fault_bits(
        Point("a", H, 0, Kind.BIT, bit=0), Point("b", H, 0, Kind.BIT, bit=5), Point("c", D, 3, Kind.BIT, inverted=True)
    )
    bank = unit(profile(faults=faults))
    reading = decode_unit(bank, (ok(0), ok(0b100000)))
    assert (reading.faults, reading.faults_known) == (0b110, 0b111)
    reading = decode_unit(bank, (SILENT, ok(1)))
    assert (reading.faults, reading.faults_known) == (0b001, 0b011)


def test_identity_is_right_wrong_or_not_read():
    points = (
        Point("exhaust_c", H, 0, Kind.INT16),
        Point("known_value", H, 10, Kind.UINT16, expect=65535, once=True, missing=((0xFFFF,),)),
        Point("model_id", H, 20, Kind.TEXT, length=2, expect="LB-2", once=True),
    )
    bank = unit(profile(points))
    model = struct.unpack(">2H", b"LB-2")
    assert decode_unit(bank, (ok(1), ok(0xFFFF), ok(*model))).identity_ok is True
    assert decode_unit(bank, (ok(1), ok(0xFFFE), ok(*model))).identity_ok is False
    assert decode_unit(bank, (ok(1), ok(0xFFFF), ok(0, 0))).identity_ok is False
    assert decode_unit(bank, (ok(1), NOT_ASKED, NOT_ASKED)).identity_ok is None
    assert decode_unit(bank, (ok(1), ok(0xFFFF), NOT_ASKED)).identity_ok is None


@pytest.mark.parametrize(
    ("answers", "expected"),
    [
        ((ok(1), ok(1)), Outcome.OK),
        ((ok(1), SILENT), Outcome.PART),
        ((SILENT, NOT_ASKED), Outcome.SILENT),
        ((DOWN, NOT_ASKED), Outcome.DOWN),
        ((NOT_ASKED, NOT_ASKED), Outcome.NOT_ASKED),
        ((Answer(Got.EXCEPTION, code=2), Answer(Got.BAD)), Outcome.REFUSED),
        ((Answer(Got.EXCEPTION, code=11), NOT_ASKED), Outcome.GATEWAY),
    ],
)
def test_outcomes_of_a_device(answers, expected):
    bank = unit(profile((Point("inlet_c", H, 0, Kind.INT16), Point("exhaust_c", C, 0, Kind.BIT))))
    assert decode_unit(bank, tuple(reversed(answers)) if answers[0].words else answers).outcome is expected


KINDS = [k for k in Kind if k not in (Kind.BIT, Kind.TEXT)]


@given(st.sampled_from(KINDS), st.sampled_from(list(Order)), st.binary(min_size=8, max_size=8))
def test_what_is_written_is_read_again_in_every_kind_and_order(kind, order, data):
    words = struct.unpack(f">{kind.words}H", data[: 2 * kind.words])
    number = reader(kind, order)(words)
    if not math.isnan(number):  # not-a-number has many patterns
        assert to_words(kind, order, number) == words
    assert straight(straight(words, order), order) == words


@given(st.sampled_from(KINDS), st.booleans(), st.binary(min_size=8, max_size=8))
def test_numbers_agree_with_pymodbus_converters(kind, low_first, data):
    words = struct.unpack(f">{kind.words}H", data[: 2 * kind.words])
    theirs: Any = AsyncModbusTcpClient.convert_from_registers(
        list(words), AsyncModbusTcpClient.DATATYPE[kind.name], word_order="little" if low_first else "big"
    )
    ours = reader(kind, Order.CDAB if low_first else Order.ABCD)(words)
    assert ours == theirs or (math.isnan(ours) and math.isnan(theirs))


def test_text_ends_at_the_first_nul_and_swaps_bytes_where_the_device_does():
    assert text((0x4142, 0x4300), Order.ABCD) == "AB" + "C"
    assert text((0x4241, 0x0043), Order.BADC) == "ABC"
    assert text((0, 0x4142), Order.ABCD) is None
