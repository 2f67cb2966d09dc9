"""Nouns survive the way to JSON and back, whatever they hold."""

import dataclasses
import json
import math
from enum import Enum

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.command import Command
from benchctl.core.decision import Settings
from benchctl.core.inputs import Inputs
from benchctl.core.orders import Orders
from benchctl.core.program import Program
from benchctl.core.scenario import Scenario
from benchctl.core.state import State
from benchctl.files import names, read_program, read_site
from benchctl.record.codec import CodecFault, compact, noun, plain
from tests.record.bench import SETTINGS, frames


class Colour(Enum):
    RED = "r"
    BLUE = 2


@dataclasses.dataclass(frozen=True, slots=True)
class Leaf:
    real: float
    whole: int
    text: str | None
    colour: Colour
    either: float | str | None = None


@dataclasses.dataclass(frozen=True, slots=True)
class Twig:
    leaf: Leaf | None
    names: frozenset[str]
    row: tuple[float | None, bool, Colour]
    many: tuple[tuple[str, int], ...] = ()


@dataclasses.dataclass(slots=True)
class Tree:
    parts: tuple[Leaf | Twig, ...]
    table: dict[tuple[str, int], Leaf]
    anything: tuple[tuple[str, object], ...] = ()


reals = st.floats(allow_nan=False)
finite = st.floats(allow_nan=False, allow_infinity=False)
leaves = st.builds(
    Leaf, reals, st.integers(), st.none() | st.text(), st.sampled_from(Colour), st.none() | st.text() | finite
)
twigs = st.builds(
    Twig,
    st.none() | leaves,
    st.frozensets(st.text()),
    st.tuples(st.none() | reals, st.booleans(), st.sampled_from(Colour)),
    st.lists(st.tuples(st.text(), st.integers())).map(tuple),
)
plains = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text() | finite,
    lambda inner: st.lists(inner, max_size=3).map(tuple),
    max_leaves=4,
)
trees = st.builds(
    Tree,
    st.lists(leaves | twigs, max_size=4).map(tuple),
    st.dictionaries(st.tuples(st.text(), st.integers()), leaves, max_size=3),
    st.lists(st.tuples(st.text(), plains), max_size=3).map(tuple),
)


@given(trees)
@settings(max_examples=150, deadline=None)
def test_every_noun_survives_json_exactly(tree):
    back = noun(Tree, json.loads(compact(plain(tree))))
    assert back == tree
    assert plain(back) == plain(tree)
    assert [type(part) for part in back.parts] == [type(part) for part in tree.parts]


@given(st.floats(allow_nan=False))
def test_every_double_keeps_its_bits(value):
    back = noun(Leaf, json.loads(compact(plain(Leaf(value, 0, None, Colour.RED)))))
    assert (back.real, math.copysign(1.0, back.real)) == (value, math.copysign(1.0, value))


def test_nan_is_refused_with_the_name_of_the_field():
    with pytest.raises(CodecFault, match=r"Twig.leaf: Leaf.real: NaN"):
        plain(Twig(Leaf(math.nan, 0, None, Colour.RED), frozenset(), (None, True, Colour.RED)))


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ({"whole": 1, "text": None, "colour": "r"}, "Leaf.real is missing"),
        ({"real": "x", "whole": 1, "text": None, "colour": "r"}, "Leaf.real: 'x'"),
        ({"real": 1.0, "whole": True, "text": None, "colour": "r"}, "Leaf.whole: True"),
        ({"real": 1.0, "whole": 1, "text": None, "colour": "green"}, "'green': no Colour"),
        ({"real": 1.0, "whole": 1, "text": None, "colour": 2, "size": 3}, "Leaf has no size"),
        ([1], "expected the fields of Leaf"),
    ],
)
def test_damaged_data_are_refused_with_their_place(data, told):
    with pytest.raises(CodecFault) as caught:
        noun(Leaf, data)
    assert told in str(caught.value)


def test_a_field_added_since_takes_its_default():
    data = plain(Leaf(1.0, 2, "x", Colour.BLUE, "y"))
    del data["either"]
    assert noun(Leaf, data) == Leaf(1.0, 2, "x", Colour.BLUE)


@pytest.mark.parametrize("kind", [Command, Settings, Inputs, Orders, Program, Scenario, State])
def test_all_nouns_of_a_record_have_a_form(kind):
    with pytest.raises(CodecFault, match="expected the fields"):
        noun(kind, None)


def test_what_a_run_holds_survives():
    for frame in frames(12):
        for value in (frame.inputs, frame.decision.orders, frame.decision.state):
            assert noun(type(value), json.loads(compact(plain(value)))) == value
    assert noun(Settings, json.loads(compact(plain(SETTINGS)))) == SETTINGS


@pytest.mark.parametrize("name", names("site"))
def test_shipped_sites_with_all_programs_survive(name):
    site, _ = read_site(name)
    for program in names("program"):
        whole = Settings.of(site, read_program(program)[0])
        assert noun(Settings, json.loads(compact(plain(whole)))) == whole
