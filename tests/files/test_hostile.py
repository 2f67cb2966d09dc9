"""Whatever stands in a file, only FileFault is raised, in bounded time: random texts, damaged shipped files."""

import time
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.files import KINDS, DiskShelf, FileFault, names
from tests.files.paper import read, text_of

WORDS = st.sampled_from(
    [
        "title",
        "segments",
        "ramp",
        "hold",
        "to",
        "over",
        "for",
        "50 %",
        "60 s",
        "-1",
        ".nan",
        "1:30",
        "units",
        "points",
        "at",
        "holding 1",
        "type",
        "text",
        "missing",
        "0x8000",
        "[",
        "]",
        "{",
        "}",
        ": ",
        ", ",
        "\n",
        "\n  ",
        "\n    - ",
        "- ",
        "null",
        "true",
        "&a",
        "*a",
        "!!x",
        "'",
        '"',
        "|",
        ">",
        "#",
        "9" * 400,
        "1e999",
        "\t",
        "🜲",
        "known",
        "expect",
        "stages",
    ]
)


def only_faults(kind, text):
    began = time.process_time()
    with suppress(FileFault):
        read(kind, text)
    assert time.process_time() - began < 10.0


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(KINDS), st.one_of(st.text(), st.lists(WORDS, max_size=40).map("".join)))
def test_no_text_whatever_raises_anything_else(kind, text):
    only_faults(kind, text)


LIVE = [(kind, name) for kind in KINDS for name in names(kind)]


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(LIVE), st.data())
def test_no_damage_to_a_shipped_file_raises_anything_else(which, data):
    text = text_of(*which)
    first = data.draw(st.integers(0, len(text)))
    cut = data.draw(st.integers(0, 30))
    only_faults(which[0], text[:first] + data.draw(WORDS) + text[first + cut :])


SCALARS = st.sampled_from(
    [
        "0",
        "-1",
        "1e308",
        ".inf",
        ".nan",
        "true",
        "x",
        "[]",
        "{}",
        "[1]",
        "{a: b}",
        "''",
        "65536",
        "1 s",
        "50 %",
        "10 kW",
        "holding 0",
        "input 1.5",
        "0x10000000000000000",
        "9" * 39,
    ]
)


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(LIVE), st.data())
def test_no_value_in_place_of_another_raises_anything_else(which, data):
    lines = text_of(*which).splitlines()
    spots = [i for i, line in enumerate(lines) if ": " in line and not line.startswith("#")]
    spot = data.draw(st.sampled_from(spots))
    parts = lines[spot].split(": ")
    at = data.draw(st.integers(1, len(parts) - 1))
    old = parts[at]
    end = min((old.find(c) for c in ",}" if c in old), default=len(old))
    parts[at] = data.draw(SCALARS) + old[end:]
    lines[spot] = ": ".join(parts)
    only_faults(which[0], "\n".join(lines))


@pytest.mark.parametrize(("kind", "name"), LIVE)
def test_every_shipped_file_loads(kind, name):
    file = DiskShelf().open(kind, name)
    assert read(kind, file.text)
