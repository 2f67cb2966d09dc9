"""Some devices out of packed sweeps: the same as the whole unpacked, whatever the sweeps hold."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.field.glimpse import Glimpse
from benchctl.field.sweep import pack, unpack
from benchctl.files import read_site
from tests.field.test_sweep import SITE, sweeps


@given(st.lists(sweeps(), min_size=1, max_size=4))
def test_a_glimpse_finds_what_unpacking_finds(several):
    glimpse = Glimpse(SITE, [0])
    for sweep in (*several, *several):
        assert glimpse.of(pack(sweep)) == (unpack(SITE, pack(sweep)).instruments[0],)


@given(sweeps())
def test_what_is_said_again_is_the_same_object(sweep):
    glimpse = Glimpse(SITE, [0])
    (first,) = glimpse.of(pack(sweep))
    (again,) = glimpse.of(pack(sweep))
    assert all(a is b for a, b in zip(first, again, strict=True))


def test_several_instruments_come_in_the_order_that_was_asked():
    place, _ = read_site("northquay")
    with pytest.raises(ValueError, match="not a packed sweep"):
        Glimpse(place, [1, 0]).of(b"")


@given(sweeps(), st.binary(min_size=1, max_size=9))
def test_bytes_too_many_or_too_few_are_refused(sweep, more):
    data = pack(sweep)
    with pytest.raises(ValueError, match="sweep"):
        Glimpse(SITE, [0]).of(data + more)
    with pytest.raises(ValueError, match="sweep"):
        Glimpse(SITE, [0]).of(data[:-1])
