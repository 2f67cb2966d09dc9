"""An altered report is noticed: any single bit with the list beside it, the embedded data without it."""

import shutil
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.report.check import EMBEDDED, LINKED, check
from benchctl.report.make import open_run, write
from tests.report.made import on_disk


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    run = on_disk(tmp_path_factory.mktemp("runs"))
    return {path.suffix: path for path in write(open_run(run), tmp_path_factory.mktemp("out")).files}


@pytest.fixture(scope="module")
def bare(tmp_path_factory):
    """A folder without a list of hashes."""
    return tmp_path_factory.mktemp("bare")


def flipped(path, folder, place: int, bit: int):
    data = bytearray(path.read_bytes())
    data[place % len(data)] ^= 1 << bit
    other = folder / path.name
    other.write_bytes(data)
    return other


@pytest.mark.parametrize("kind", [".pdf", ".html", ".csv"])
def test_what_was_made_is_unaltered(made, kind):
    assert check(made[kind]).intact


@pytest.mark.parametrize("kind", [".pdf", ".html", ".csv"])
def test_a_single_flipped_bit_anywhere_is_noticed_by_the_list_beside_it(made, kind, tmp_path):
    shutil.copy(made[".sha256"], tmp_path)
    size = made[kind].stat().st_size
    for i, place in enumerate([0, size - 1, *range(1, size, max(1, size // 40))]):
        assert not check(flipped(made[kind], tmp_path, place, i % 8)).intact, place


def test_a_flipped_bit_in_what_the_pdf_embeds_is_noticed_without_the_list(made, tmp_path):
    data = made[".pdf"].read_bytes()
    spans = [(m.end(), int(m[1])) for m in EMBEDDED.finditer(data)]
    assert len(spans) == 3
    for begin, length in spans:
        for i, place in enumerate(range(begin + 2, begin + length, max(1, length // 12))):
            assert not check(flipped(made[".pdf"], tmp_path, place, i % 8)).intact, place


@given(st.integers(0, 10**9), st.integers(0, 7))
@settings(max_examples=100, deadline=None)
def test_any_bit_of_what_the_page_embeds_is_noticed_without_the_list(made, bare, place, bit):
    data = made[".html"].read_bytes()
    spans = [m.span(1) for m in LINKED.finditer(data.decode("latin-1"))]
    assert len(spans) == 2
    places = [p for begin, end in spans for p in (*range(begin, begin + 8), *range(end - 8, end))]
    for at in (range(*spans[place % 2])[place % (spans[place % 2][1] - spans[place % 2][0])], places[place % 32]):
        assert not check(flipped(made[".html"], bare, at, bit)).intact, at


@given(st.integers(0, 10**9), st.integers(0, 7))
@settings(max_examples=100, deadline=None)
def test_any_bit_of_what_the_pdf_embeds_is_noticed_without_the_list(made, bare, place, bit):
    data = made[".pdf"].read_bytes()
    spans = [(m.end(), int(m[1])) for m in EMBEDDED.finditer(data)]
    begin, length = spans[place % 3]
    for at in (begin + place % length, begin + place % 8, begin + length - 1 - place % 8):
        other = flipped(made[".pdf"], bare, at, bit)
        # A deflated file has some bits that say nothing, between its last block and its check sum (RFC 1951, 3.2.4, and
        # RFC 1950): turned over, every embedded byte is still the one that was embedded.
        assert not check(other).intact or embedded(other.read_bytes()) == embedded(data), at


def embedded(data):
    """What is embedded, unpacked with zlib alone."""
    return [zlib.decompress(data[m.end() : m.end() + int(m[1])]) if m[2] else None for m in EMBEDDED.finditer(data)]


def test_without_the_list_it_is_said_what_could_be_checked(made, tmp_path):
    shutil.copy(made[".pdf"], tmp_path)
    found = check(tmp_path / made[".pdf"].name)
    assert found.intact
    assert found.notes == ("no trial.sha256 beside it: only what is embedded can be checked",)
    shutil.copy(made[".csv"], tmp_path)
    assert not check(tmp_path / made[".csv"].name).intact  # nothing vouches for it


def test_another_file_under_the_name_of_a_report_is_not_taken_for_one(tmp_path):
    for name, data in (("a.pdf", b"%PDF-1.7\nnothing"), ("b.html", b"<html></html>"), ("c.html", b"\xff\xfe")):
        (tmp_path / name).write_bytes(data)
        assert not check(tmp_path / name).intact
