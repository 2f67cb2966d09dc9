"""Rows of a register map. Patterns of missing values: SunSpec information model (not-implemented values)."""

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.core.registers import Kind, Order, Space, Span
from benchctl.files.rows import wire_words
from tests.files.paper import changed, flaws, marked, read

METER = """title: m
role: meter
link:
  addresses: {base}
  order: {order}
  missing: {{int16: [0x8000], uint16: [0xFFFF], uint32: [0xFFFFFFFF], int32: [0x80000000], float32: [0x7FC00000]}}
  readable: [{span}]
points:
  power_kw: {{at: {at}, type: int32, unit: W, range: [-2000, 2000]}}
{rows}
"""


def meter(rows="", base="zero based", order="ABCD", at="input 10", span="input 0-30"):
    return METER.format(rows=rows, base=base, order=order, at=at, span=span)


@pytest.mark.parametrize(
    ("base", "at", "span"),
    [
        ("zero based", "input 10", "input 0-30"),
        ("one based", "input 11", "input 1-31"),
        ("modicon 40001", "30011", "input 1-31"),
        ("modicon 40001", "300011", "input 1-31"),
    ],
)
def test_addresses_of_every_base_become_zero_based(base, at, span):
    registers = read("instrument", meter(base=base, at=at, span=span)).registers
    assert (registers.points[0].space, registers.points[0].address) == (Space.INPUT, 10)
    assert registers.readable == (Span(Space.INPUT, 0, 30),)


@pytest.mark.parametrize(
    ("order", "words"), [("ABCD", (0x8000, 0)), ("CDAB", (0, 0x8000)), ("BADC", (0x0080, 0)), ("DCBA", (0, 0x0080))]
)
def test_a2_missing_patterns_become_the_words_on_the_wire(order, words):
    point = read("instrument", meter(order=order)).registers.point("power_kw")
    assert point.missing == (words,)
    assert point.order is Order(order)


@given(st.integers(0, 2**64 - 1), st.sampled_from([Kind.UINT16, Kind.UINT32, Kind.UINT64]), st.sampled_from(Order))
def test_wire_words_agree_with_struct(value, kind, order):
    """Against Python's struct: CDAB reverses the registers, BADC the bytes in each, DCBA all bytes (little endian)."""
    value &= (1 << 16 * kind.words) - 1
    big = value.to_bytes(2 * kind.words, "big")
    words = struct.unpack(f">{kind.words}H", big)
    swapped = struct.unpack(f"<{kind.words}H", big) if kind.words > 1 else words
    expected = {Order.ABCD: words, Order.CDAB: words[::-1], Order.BADC: swapped, Order.DCBA: swapped[::-1]}[order]
    assert wire_words(value, kind, order) == expected


def test_a2_a_point_can_have_no_missing_pattern_where_its_type_has_one():
    """A counter may legitimately be 65535."""
    registers = read(
        "instrument",
        meter("  refresh_count: {at: input 0, type: uint16, missing: []}\n  volts_a: {at: input 1, type: uint16}"),
    ).registers
    assert registers.point("refresh_count").missing == ()
    assert registers.point("volts_a").missing == ((0xFFFF,),)


def test_a_unit_becomes_a_scale_and_moves_the_range_with_it():
    point = read("instrument", meter()).registers.point("power_kw")
    assert (point.scale, point.minimum, point.maximum) == (0.001, -2.0, 2.0)


def test_a_percent_power_factor_is_a_hundredth_only_where_the_profile_says_so():
    registers = read(
        "instrument", meter('  power_factor: {at: input 0, type: int16, scale: 0.01, unit: "%"}')
    ).registers
    assert registers.point("power_factor").scale == pytest.approx(1e-4)


def test_a_known_value_keeps_the_kind_of_its_point():
    registers = read(
        "instrument",
        meter(
            "  model_id: {at: input 0, type: uint16, expect: 0xD5A8}\n"
            "  firmware: {at: input 1, type: text, length: 2, expect: 1.10}"
        ),
    ).registers
    assert registers.point("model_id").expect == 54696.0
    assert registers.point("firmware").expect == "1.10"
    assert registers.point("model_id").once


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("  volts_a: {at: ¶inptu 3, type: uint16}", "'inptu 3' is no address"),
        ("  volts_a: {at: ¶input 70000, type: uint16}", "addresses run from 0 to 65535"),
        ("  volts_a: {at: ¶input 65535, type: float32}", "ends after the last address"),
        ("  volts_a: {at: ¶input 3}", "say its type"),
        ("  volts_a: {at: input 3, type: ¶uint17}", "found 'uint17', expected one of: bit, uint16"),
        ("  volts_a: {at: input 3, type: uint16, ¶inverted: true}", "only a single bit can be inverted"),
        (
            "  volts_a: {at: ¶input 11, type: uint16}",
            "volts_a shares a register with power_kw: is an address off by one?",
        ),
        ("  ¶volts_x: {at: input 3, type: uint16}", "'volts_x' is no quantity of a meter, did you mean"),
        ("  ¶exhaust_c: {at: input 3, type: int16}", "'exhaust_c' is no quantity of a meter"),
        ("  volts_a: {at: input 3, type: uint16, unit: ¶A}", "found 'A', but volts_a is in: V"),
        ("  volts_a: {at: input 3, type: uint16, scale: ¶0}", "found '0', expected more than 0"),
        ("  volts_a: {at: input 3, type: uint16, scale: ¶.inf}", "expected a finite number"),
        ("  volts_a: {at: input 3, type: uint16, range: ¶[9, 1]}", "the lower end comes first"),
        ("  volts_a: {at: input 3, type: uint16, missing: [¶0x10000]}", "0x10000 does not fit a uint16"),
        ("  volts_a: {at: input 3, type: int16, scale_from: ¶volts_fs}", "'volts_fs' is no scale factor here"),
        ("  serial: ¶{at: input 3, type: text}", "a text needs its length"),
        ("  model_id: {at: input 3, type: uint16, expect: ¶abc}", "expected a number"),
        ("  ¶volts_a: {at: holding 3, type: uint16, write: 6}", "an instrument is never written to"),
        ("  volts_a: {at: input 3, type: uint16, write: ¶6}", "it can only be read"),
        ("  volts_a: {at: input 3, type: uint16, ¶scael: 2}", "unknown key 'scael', did you mean 'scale'?"),
        ("  volts_a: ¶{type: uint16}", "key 'at' is missing here"),
        ("  volts_a: ¶7", "found '7', expected a mapping of keys and values"),
    ],
)
def test_a_wrong_row_is_told_with_its_place(row, told):
    text, place = marked(meter(row))
    found = flaws("instrument", text)
    assert len(found) == 1
    assert found[0].startswith(place), found
    assert told in found[0]


@pytest.mark.parametrize("at", ["40006.16", "10006.1"])
def test_only_registers_have_bits(at):
    text, place = marked(
        changed("instrument", "set-panel", "set_running: {at: 40006.0}", f"set_running: {{at: ¶{at}}}")
    )
    assert flaws("instrument", text) == [f"{place}'{at}': only registers have bits, 0 to 15"]


def test_a_wrong_range_to_read_across_is_told():
    text, place = marked(meter(span="¶input 9-3"))
    assert flaws("instrument", text) == [f"{place}'input 9-3': the first address comes first, both within 0 to 65535"]


def test_a_negative_scale_is_a_word_of_its_own():
    registers = read(
        "instrument", meter("  power_a_kw: {at: input 0, type: int16, scale: 0.1, negative: true}")
    ).registers
    assert registers.point("power_a_kw").scale == -0.1


def test_polarity_and_bit_survive():
    profile = read(
        "unit", changed("unit", "mask-120", "remote: {at: holding 12.2, inverted: true}", "remote: {at: holding 12.15}")
    )
    assert (profile.registers.point("remote").bit, profile.registers.point("remote").inverted) == (15, False)
