"""The YAML subset. Scalars: core schema of YAML 1.2 (yaml.org/spec/1.2.2, 10.3); what is refused is our own rule."""

import time
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.files import FileFault, Flaw
from benchctl.files.tree import DEEPEST, parse, plain


def resolved(written) -> Any:
    """The value of a key with that written after it."""
    table: Any = plain(parse(f"a: {written}", "f.yaml"))
    return table["a"]


def flaws(text):
    with pytest.raises(FileFault) as fault:
        parse(text, "f.yaml")
    return str(fault.value).splitlines()


@pytest.mark.parametrize(
    ("written", "value"),
    [
        # YAML 1.1 readers make False, 90, 8, '1e3' and a date of the first five; 1.2 does not.
        ("no", "no"),
        ("1:30", "1:30"),
        ("010", "010"),
        ("1e3", 1000.0),
        ("2027-03-31", "2027-03-31"),
        ("on", "on"),
        ("true", True),
        ("FALSE", False),
        ("True", True),
        ("tRUE", "tRUE"),
        ("0x1F", 31),
        ("0o17", 15),
        ("-12", -12),
        ("+7", 7),
        ("1.5", 1.5),
        (".5", 0.5),
        ("5.", 5.0),
        ("1_000", "1_000"),
        ("12e", "12e"),
        ("'5'", "5"),
        ('"no"', "no"),
        ("0", 0),
        ("127.0.0.1:15021", "127.0.0.1:15021"),
        ("75 %", "75 %"),
        (".inf", float("inf")),
        ("9" * 50, "9" * 50),
    ],
)
def test_scalars_are_what_they_look_like(written, value):
    found = resolved(written)
    assert found == value
    assert isinstance(found, type(value))


@pytest.mark.parametrize("written", ["1.10", "4711", "0x1F", "1e3"])
def test_a_number_remembers_how_it_was_written(written):
    assert resolved(written).written == written


@pytest.mark.parametrize(
    ("text", "place", "told"),
    [
        ("a: 1\nb: 2\na: 3\n", "3:1", "key 'a' is here twice (first at 1:1)"),
        ("a:\n  b: 1\n  b: 2\n", "3:3", "key 'b' is here twice (first at 2:3)"),
        ("{a: 1, a: 2}\n", "1:8", "key 'a' is here twice"),
        ("a: &x 1\n", "1:4", "anchors and aliases"),
        ("a: 1\nb: *x\n", "2:4", "anchors and aliases"),
        ("a: !!str 1\n", "1:4", "tags such as"),
        ("a: !python/object 1\n", "1:4", "tags such as"),
        ("a:\t1\n", "1:3", "a tab"),
        ("a: 1\n\tb: 2\n", "2:1", "a tab"),
        ("a: 'x\ty'\n", "1:6", "a tab"),
        ("a: 1\n---\nb: 2\n", "2:1", "a second document"),
        ("%YAML 1.1\n---\na: 1\n", "1:1", "directives"),
        ("? [1]\n: 2\n", "1:3", "no key"),
        ("a:\n", "1:1", "nothing is written after 'a'"),
        ("a: {b: }\n", "1:5", "after 'b'"),
        ("a: ~\n", "1:1", "nothing is written"),
        ("", "1:1", "the file is empty"),
        ("# only this\n", "1:1", "the file is empty"),
        ("a: b: c\n", "1:5", "not readable as YAML"),
        ("a: \x00\n", "1:4", "U+0000"),
        ("a: 1\nb: \x1b[31m\n", "2:4", "U+001B"),
        ("a: 1\r\nb: 2\r\na: 3\r\n", "3:1", "twice"),
        ("a: \ud800\n", "1:4", "U+D800"),
    ],
)
def test_what_is_refused_is_told_with_its_place(text, place, told):
    first = flaws(text)[0]
    assert first.startswith(f"f.yaml:{place}: ")
    assert told in first


def test_every_doubled_key_is_told_at_once_with_line_and_caret():
    assert flaws("a: 1\na: 2\nb:\n  c: 1\n  c: 2\n") == [
        "f.yaml:2:1: key 'a' is here twice (first at 1:1)",
        "    a: 2",
        "    ^",
        "f.yaml:5:3: key 'c' is here twice (first at 4:3)",
        "      c: 2",
        "      ^",
    ]


def test_nesting_has_a_bottom():
    assert plain(parse("[" * DEEPEST + "]" * DEEPEST, "f.yaml"))
    assert "nest" in flaws("[" * 100_000)[0]
    assert flaws("[" * 500)[0] == f"f.yaml:1:{DEEPEST + 1}: nested deeper than {DEEPEST} levels"
    assert "deeper" in flaws("".join(f"{' ' * i}a:\n" for i in range(200)))[0]


def test_a_large_file_takes_bounded_time():
    text = "".join(f"k{i}: {{a: [1, 2, 3], b: 'text {i}'}}\n" for i in range(8_000))[: 1 << 20]
    began = time.process_time()
    parse(text.rpartition("\n")[0], "f.yaml")
    assert time.process_time() - began < 30.0  # a wide bound: it is there for quadratic growth only


TEXTS = st.one_of(st.text(), st.text(alphabet="a:- \n{}[],'\"#&*!|>%@`?~01.\t\r\ufeff\u2028é"))


@settings(max_examples=400, deadline=None)
@given(TEXTS)
def test_no_text_raises_anything_but_a_file_fault(text):
    found: tuple[Flaw, ...] = ()
    try:
        plain(parse(text, "f.yaml"))
    except FileFault as fault:
        found = fault.flaws
    assert all(flaw.line >= 1 and flaw.column >= 1 and str(flaw).startswith("f.yaml:") for flaw in found)
