"""A decoder that remembers finds exactly what a fresh one finds, and keeps what did not change."""

import math
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from benchctl.core.registers import Kind, Order, Point, RegisterMap
from benchctl.core.site import Unit
from benchctl.field.answer import NOT_ASKED, Answer, Got
from benchctl.field.decode import InstrumentDecoder, UnitDecoder, basis
from benchctl.field.decoder import decode, instrument_decoder
from benchctl.field.scalars import PLAUSIBLE, reader, straight
from benchctl.field.sweep import decoder_of
from benchctl.files import read_site
from tests.field.made import PLATE, D, H, coil_bank, fault_bits, mask_bank, meter, ok, setpoint_bank, unit

NOMINAL = basis(PLATE, 20.0)


def shipped(name):
    place, _ = read_site(name)
    return [*place.units, *place.instruments]


EVERY_ORDER = meter(
    *(
        Point(name, H, 4 * i, Kind.FLOAT32, order=order, missing=((0x8000, 0),) if i == 1 else ())
        for i, (name, order) in enumerate(zip(("volts_ab", "volts_bc", "volts_ca", "amps_a"), Order, strict=True))
    ),
    Point("power_kw", H, 20, Kind.INT16, scale=0.001, scale_from="power_sf", missing=((0x8000,),)),
    Point("reactive_kvar", H, 21, Kind.INT16, scale=10.0, scale_from="power_sf"),
    Point("power_sf", H, 22, Kind.INT16),
    Point("apparent_kva", H, 23, Kind.UINT16, offset=-5.0, missing=((0,), (0xFFFF,)), maximum=60_000.0),
    Point("energy_kwh", H, 24, Kind.UINT64, order=Order.BADC),
    Point("hertz", H, 28, Kind.UINT16, scale=0.01, scale_from="hertz_sf"),
    Point("serial", H, 40, Kind.TEXT, length=3, order=Order.BADC, expect="ABC"),
    Point("hertz_sf", H, 60, Kind.INT16, once=True, expect=-1),
    ct_primary_a=20.0,
    ct_secondary_a=5.0,
    ct_applied=False,
)
FAULTS = fault_bits(Point("hot", D, 4, Kind.BIT), Point("door", H, 3, Kind.BIT, bit=2, inverted=True))
DEVICES = [
    *shipped("northquay"),
    *shipped("alder-ridge"),
    EVERY_ORDER,
    unit(coil_bank(20, faults=FAULTS)),
    unit(mask_bank()),
    unit(setpoint_bank()),
]


word = st.one_of(
    st.sampled_from((0, 1, 2, 10, 230, 500, 4000, 0x8000, 0xFFFF, 0x7FC0, 0x43C8, 0xFFFE, 0xFFF5)),
    st.integers(0, 0xFFFF),
)


@st.composite
def scans(draw):
    """A device and its answers in some scans, where much stays as it was and little is new."""
    device = draw(st.sampled_from(DEVICES))
    blocks = decoder_of(device).plan.blocks
    now = [NOT_ASKED] * len(blocks)
    found = []
    for _ in range(draw(st.integers(2, 6))):
        for i in draw(st.sets(st.integers(0, len(blocks) - 1))):
            now[i] = draw(later(now[i], blocks[i]))
        found.append(tuple(now[: draw(st.sampled_from((None, None, None, 1)))]))
    return device, found


@st.composite
def later(draw, before, block):
    """Another answer of a block: silence, an exception, all new words, or a few that differ from those before."""
    got = draw(st.sampled_from((Got.OK, Got.OK, Got.OK, Got.OK, Got.SILENT, Got.NOT_ASKED, Got.EXCEPTION)))
    if got is not Got.OK:
        return Answer(got, code=2 if got is Got.EXCEPTION else 0)
    words = list(before.words) or [draw(word)] * block.words
    for i in draw(st.sets(st.integers(0, block.words - 1), max_size=6)):
        words[i] = draw(word)
    holes = draw(st.sets(st.integers(0, block.count - 1), max_size=2)) if draw(st.integers(0, 9)) == 0 else ()
    return Answer(Got.OK, tuple(words), holes=tuple(sorted(holes)))


def decoder(device):
    """A decoder without any memory yet."""
    return UnitDecoder(device, NOMINAL) if isinstance(device, Unit) else InstrumentDecoder(device, NOMINAL)


@given(scans())
def test_any_sequence_of_answers_decodes_as_each_alone_does(case):
    device, found = case
    kept = decoder(device)
    for answers in found:
        reading = kept.reading(answers)
        assert repr(reading) == repr(decoder(device).reading(answers))  # nor does 1 for 1.0, or -0.0 for 0.0
        assert kept.reading(tuple(replace(a) for a in answers)) is reading


def test_a_new_temperature_leaves_the_measurement_the_same_object():
    points = (Point("coolant_c", H, 0, Kind.INT16), Point("volts_ab", H, 1, Kind.UINT16))
    kept = InstrumentDecoder(meter(*points))
    first, second = kept.reading((ok(20, 400),)), kept.reading((ok(21, 400),))
    assert (first.coolant_c, second.coolant_c) == (20.0, 21.0)
    assert second.electrical is first.electrical


def test_a_new_scale_factor_scales_values_whose_own_words_stayed():
    points = (
        Point("power_kw", H, 0, Kind.INT16, scale_from="power_sf"),
        Point("power_sf", H, 40, Kind.INT16, once=True),
    )
    kept = InstrumentDecoder(meter(*points))
    factors = (ok(0), ok(0xFFFF), ok(0x8000), NOT_ASKED, ok(2))
    found = [kept.reading((ok(250), factor)).electrical.power_kw for factor in factors]
    assert found == [250.0, 25.0, None, None, 25_000.0]


KINDS = (Kind.INT16, Kind.UINT16, Kind.INT32, Kind.UINT32, Kind.FLOAT32)
LOWEST, HIGHEST, TINY = PLAUSIBLE["degC"]


@given(
    st.sampled_from(KINDS),
    st.sampled_from(tuple(Order)),
    st.sampled_from((1.0, 0.1, 0.001, 10.0, 0.3, -1.0)),
    st.sampled_from((0.0, -40.0, 0.05)),
    st.sampled_from((None, -3, 0, 2)),
    st.sampled_from((None, 0, 200, 0x8000)),
    st.sampled_from(((None, None), (-40.0, 80.0), (0.0, 60.0))),
    st.tuples(word, word),
)
def test_the_table_of_plain_numbers_is_the_rule_cut_short(kind, order, scale, offset, power, pattern, ends, words):
    words = words[: kind.words]
    missing = () if pattern is None else (straight((0, pattern)[-kind.words :], order),)
    value_of = Point(
        "exhaust_c",
        H,
        0,
        kind,
        order,
        scale=scale,
        offset=offset,
        scale_from=None if power is None else "exhaust_sf",
        minimum=ends[0],
        maximum=ends[1],
        missing=missing,
    )
    shape = RegisterMap((value_of, Point("exhaust_sf", H, 5, Kind.INT16)))
    found = decode(instrument_decoder(shape), (ok(*words), ok((power or 0) & 0xFFFF)))
    raw = reader(kind, order)(words)
    value = raw / {0.1: 10.0, 0.001: 1000.0}.get(scale, 1.0) * {10.0: 10.0, 0.3: 0.3, -1.0: -1.0}.get(scale, 1.0)
    if power:
        value = value / 10.0**-power if power < 0 else value * 10.0**power
    value += offset
    expected: float | None
    suspect: list[str]
    low, high = (LOWEST, HIGHEST) if ends[0] is None else (max(LOWEST, ends[0]), min(HIGHEST, ends[1]))
    if words in missing or math.isnan(value):
        expected, suspect = None, []
    elif low <= value <= high and (abs(value) >= TINY or value == 0.0 or kind is not Kind.FLOAT32):
        expected, suspect = value, []
    else:
        expected, suspect = None, ["exhaust_c"]
    assert (repr(found.values.get("exhaust_c")), found.suspect) == (repr(expected), suspect)
