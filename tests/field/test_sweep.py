"""A sweep as bytes and back; its readings."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.core.registers import Kind, Point
from benchctl.core.site import Site
from benchctl.field.answer import BAD, DOWN, NOT_ASKED, SILENT, Answer, Got
from benchctl.field.sweep import Sweep, decoder_of, pack, readings, unpack
from benchctl.files import read_site
from tests.field.made import H, coil_bank, mask_bank, meter, setpoint_bank, site, unit

SITE = site(
    unit(coil_bank(20)),
    unit(mask_bank()),
    unit(setpoint_bank()),
    instruments=(meter(Point("power_kw", H, 0, Kind.FLOAT32), Point("serial", H, 9, Kind.TEXT, length=3, once=True)),),
)


@st.composite
def answers(draw, block):
    got = draw(st.sampled_from(Got))
    if got is Got.OK:
        words = draw(st.lists(st.integers(0, 0xFFFF), min_size=block.words, max_size=block.words))
        holes = draw(st.sets(st.integers(0, block.count - 1), max_size=3))
        return Answer(got, tuple(words), holes=tuple(sorted(holes)))
    return Answer(got, code=draw(st.integers(1, 255))) if got is Got.EXCEPTION else Answer(got)


@st.composite
def sweeps(draw):
    units, instruments = (
        tuple(tuple(draw(answers(b)) for b in decoder_of(d).plan.blocks) for d in group)
        for group in (SITE.units, SITE.instruments)
    )
    return Sweep(units, instruments, draw(st.booleans()))


def same_answer(place: Site, answer: Answer) -> Sweep:
    """Every block of every device ended the same way."""
    units, instruments = (
        tuple(tuple(answer for _ in decoder_of(d).plan.blocks) for d in group)
        for group in (place.units, place.instruments)
    )
    return Sweep(units, instruments)


@given(sweeps())
def test_a_packed_sweep_comes_back_the_same_and_so_do_its_readings(sweep):
    again = unpack(SITE, pack(sweep))
    assert again == sweep
    assert readings(SITE, again) == readings(SITE, sweep)


@given(st.binary(max_size=60))
def test_bytes_that_are_no_sweep_are_refused_with_a_value_error(data):
    try:
        sweep = unpack(SITE, data)
    except ValueError:
        return
    assert pack(sweep) == data


@pytest.mark.parametrize("change", [lambda b: b[:-1], lambda b: b + b"\0", lambda b: b"\x09" + b[1:], lambda b: b""])
def test_a_sweep_cut_short_or_of_another_format_is_refused(change):
    good = pack(same_answer(SITE, NOT_ASKED))
    with pytest.raises(ValueError, match="sweep"):
        unpack(SITE, change(good))


def test_every_outcome_without_words_takes_one_byte():
    for answer in (NOT_ASKED, SILENT, BAD, DOWN):
        lone = site(unit(setpoint_bank()))
        assert len(pack(Sweep(((answer,),), ()))) == 3
        assert unpack(lone, pack(Sweep(((answer,),), ()))).units == ((answer,),)


@pytest.mark.parametrize("name", ["northquay", "alder-ridge"])
def test_the_shipped_sites_decode_from_silence_without_a_value(name):
    place, _ = read_site(name)
    quiet = same_answer(place, SILENT)
    units, instruments = readings(place, quiet)
    assert all(u.load is None and u.faults_known == 0 and not u.suspect for u in units)
    assert all(i.electrical.power_kw is None for i in instruments)
