"""Nouns made quickly are the nouns themselves (the reference is the dataclass's own constructor)."""

from copy import copy
from dataclasses import FrozenInstanceError, fields, replace

import pytest

from benchctl.core.reading import Electrical, InstrumentReading, UnitReading
from simulator.nouns import maker

NOUNS = (Electrical, InstrumentReading, UnitReading)


@pytest.mark.parametrize("noun", NOUNS)
def test_a_noun_made_quickly_is_the_one_that_its_own_constructor_makes(noun):
    values = tuple(float(i) for i in range(len(fields(noun))))
    quick, plain = maker(noun)(*values), noun(*values)
    assert type(quick) is noun
    assert (quick, hash(quick), repr(quick)) == (plain, hash(plain), repr(plain))
    assert copy(quick) == plain
    assert replace(quick) == plain


@pytest.mark.parametrize("noun", NOUNS)
def test_a_noun_made_quickly_is_frozen_and_wants_every_field(noun):
    values = (None,) * len(fields(noun))
    with pytest.raises(FrozenInstanceError):
        setattr(maker(noun)(*values), fields(noun)[0].name, 1)
    with pytest.raises(TypeError):
        maker(noun)(*values[1:])


def test_what_follows_from_an_electrical_follows_from_one_made_quickly_too():
    three = (1.0, 2.0, 6.0)
    quick = maker(Electrical)(three, three, three, three, None, None, None, None, None, None)
    assert quick.total_kw == 9.0
