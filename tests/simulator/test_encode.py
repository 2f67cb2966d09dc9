"""Encoding against the struct module's view of IEEE 754 and two's complement, and published register words."""

import math
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.registers import Kind, Order, Point, Space
from simulator.encode import decode, encoder, power_of_ten


def words_of(point: Point, value, power_of_ten: int = 0) -> tuple[int, ...]:
    """What stands in the point's registers."""
    raw = encoder(point, power_of_ten)(value)
    return struct.unpack(f">{len(raw) // 2}H", raw)


def point(kind: Kind, order: Order = Order.ABCD, **more) -> Point:
    return Point("power_kw", Space.INPUT, 0, kind, order, **more)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (480.0, (0x43F0, 0x0000)),
        (60.0, (0x4270, 0x0000)),
        (3.1415927, (0x4049, 0x0FDB)),
    ],
)
def test_float_words_are_those_of_ieee_754(value, words):
    """Words from the published examples of 32-bit floats in registers, high word first; CDAB is them swapped."""
    assert words_of(point(Kind.FLOAT32), value) == words
    assert words_of(point(Kind.FLOAT32, Order.CDAB), value) == words[::-1]


@pytest.mark.parametrize(
    ("order", "words"),
    [
        (Order.ABCD, (0x0102, 0x0304)),
        (Order.CDAB, (0x0304, 0x0102)),
        (Order.BADC, (0x0201, 0x0403)),
        (Order.DCBA, (0x0403, 0x0201)),
    ],
)
def test_each_order_puts_the_bytes_where_its_name_says(order, words):
    assert words_of(point(Kind.UINT32, order), float(0x01020304)) == words


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (Kind.INT16, (0x8000,)),
        (Kind.UINT16, (0xFFFF,)),
        (Kind.INT32, (0x8000, 0)),
        (Kind.UINT32, (0xFFFF, 0xFFFF)),
        (Kind.FLOAT32, (0x7FC0, 0)),
    ],
)
def test_what_is_not_known_is_the_usual_pattern_of_its_type(kind, words):
    """The patterns of the SunSpec information model for points that are not implemented."""
    assert words_of(point(kind), None) == words


def test_a_map_may_name_its_own_missing_pattern():
    assert words_of(point(Kind.INT16, missing=((0x7FFF,),)), None) == (0x7FFF,)


INTEGERS = [k for k in Kind if k.value.startswith(("int", "uint"))]


@settings(deadline=None, max_examples=50)
@given(
    st.sampled_from(INTEGERS),
    st.sampled_from(list(Order)),
    st.integers(0, 2**14),
    st.sampled_from([1.0, 0.1, 0.5]),
    st.sampled_from([0.0, 40.0]),
)
def test_what_is_encoded_decodes_to_itself(kind, order, steps, scale, offset):
    p = point(kind, order, scale=scale, offset=offset)
    value = steps * scale + offset
    assert decode(p, words_of(p, value)) == pytest.approx(value, abs=scale / 2)


@settings(deadline=None, max_examples=50)
@given(st.sampled_from([Kind.FLOAT32, Kind.FLOAT64]), st.sampled_from(list(Order)), st.floats(-1e6, 1e6))
def test_floats_decode_to_themselves(kind, order, value):
    p = point(kind, order)
    assert decode(p, words_of(p, value)) == pytest.approx(value, rel=1e-6, abs=1e-30)


@settings(deadline=None, max_examples=50)
@given(st.floats(-1e12, 1e12))
def test_what_does_not_fit_stays_at_the_end_of_its_type(value):
    (word,) = words_of(point(Kind.INT16), value)
    (signed,) = struct.unpack(">h", struct.pack(">H", word))
    assert signed == max(-32768, min(32767, round(value)))


def test_not_a_number_is_no_order():
    assert decode(point(Kind.FLOAT32), (0x7FC0, 0)) is None


def test_text_is_two_characters_a_register_and_padded():
    assert words_of(Point("serial", Space.INPUT, 0, Kind.TEXT, length=3), "ABCDE") == (0x4142, 0x4344, 0x4500)


@settings(deadline=None, max_examples=50)
@given(st.sampled_from(INTEGERS), st.floats(1e-3, 1e9))
def test_a_scale_factor_lets_the_largest_value_fit(kind, largest):
    p = point(kind)
    factor = power_of_ten(p, largest)
    back = decode(p, words_of(p, largest, factor))
    assert back is not None
    assert back * 10.0**factor == pytest.approx(largest, rel=0.001, abs=1e-3) or math.isclose(largest, 0, abs_tol=1e-6)
