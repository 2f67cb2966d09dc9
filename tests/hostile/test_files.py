"""Hostile files of every kind: bounded time and memory, one line a flaw with its place, nothing that a screen obeys.

What random damage does to the files that people write stands in tests/files/test_hostile.py; here are the known tricks.
"""

import os
import sqlite3
import time
import tracemalloc
import zlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.capture.made import read_recording
from benchctl.capture.store import CaptureFault, load
from benchctl.files import FileFault, names, read_mapping, read_program, read_site
from benchctl.files.bounded import LARGEST_NOUN, from_json, inflated
from benchctl.record.export import COMMA, POINT, cell
from benchctl.record.fault import RecordFault
from benchctl.record.reader import Reader
from benchctl.record.seal import read_seal, seal_path
from benchctl.record.verify import verify
from tests.files.paper import read, text_of

KINDS = ("site", "unit", "instrument", "program", "scenario", "ruleset", "mapping", "broker")
# Clears the screen, turns the direction of writing, ends the line; written as YAML's own escapes, so the file is text.
TRICK = '"\\e[2J\\u202e\\u2066\\r\\nx\\u0085\\0"'
SAMPLE = next((Path(__file__).parents[1] / "record" / "samples").glob("schema2-first/*.run"))
DEEP = "[" * 100_000
MOST_S, MOST_BYTES = 10.0, 64 << 20


def harmless(told: str) -> bool:
    """One line a flaw, with nothing that is not printed: lines of a fault are flaw, source, caret."""
    return all(line.isprintable() for line in told.split("\n"))


def fault_of(what, kinds=(FileFault, RecordFault, CaptureFault)) -> str:
    """What is told of a file that cannot be used, in bounded time and memory; empty where it can."""
    began = time.process_time()
    tracemalloc.start()
    try:
        what()
        told = ""
    except kinds as fault:
        told = str(fault)
    finally:
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert time.process_time() - began < MOST_S
    assert most < MOST_BYTES
    assert harmless(told), repr(told)
    return told


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "text",
    [
        f"{TRICK}: 1\n{TRICK}: 2\n",
        f"{TRICK}: 1\n",
        f"{TRICK}:\n",
        f"title: {TRICK}\n",
        "a: !<tag:%1b%5b2J%e2%80%ae> 1\n",
        "a: !%1b%0ax 1\n",
        "a: &a [x, x]\nb: &b [*a, *a]\nc: &c [*b, *b]\nd: [*c, *c]\n",
        "a: !!python/object/apply:os.system ['touch /tmp/never']\n",
        DEEP,
        "{a: " * 50_000,
        f"title: {'9' * 100_000}\n",
        "title: x\0y\n",
        "title: \ud800\n",
        "title: \u202eabc\n",
        f"? {DEEP[:500]}\n",
        "<<: {a: 1}\n",
        "\ufeff\ufeffa: 1\n",
    ],
)
def test_a_trick_is_told_in_one_harmless_line_with_its_place(kind, text):
    told = fault_of(lambda: read(kind, text))
    assert told.startswith("x.yaml:")


@pytest.mark.parametrize("kind", ["site", "program", "ruleset"])
def test_no_name_that_a_screen_would_obey_gets_in(kind):
    name = {"site": "northquay", "program": "ladder", "ruleset": "empty"}[kind]
    text = text_of(kind, name)
    title = next(line for line in text.splitlines() if line.startswith("title:"))
    assert "cannot be printed" in fault_of(lambda: read(kind, text.replace(title, f"title: {TRICK}")))


@pytest.mark.parametrize("name", ["a\x1b[2Jb", "a\0b", "a\nb", "\u202ea", "a\udcff", "../" * 300 + "x", "x" * 5000, ""])
def test_a_name_of_a_file_is_looked_up_and_told_harmlessly(name):
    assert "no such program" in fault_of(lambda: read_program(name))


def test_a_file_with_a_hostile_name_is_told_harmlessly(tmp_path):
    path = tmp_path / "x\x1b[2J\ny.yaml"
    path.write_text("a: 1\n")
    assert "x?[2J?y.yaml:1:1" in fault_of(lambda: read_program(str(path)))


def test_links_devices_and_pipes_are_no_files_that_hang(tmp_path):
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "endless").symlink_to("/dev/zero")
    for name in ("loop", "pipe", "endless"):
        assert "no such program" in fault_of(lambda name=name: read_program(str(tmp_path / name)))


def test_what_a_profile_is_named_shows_no_more_of_another_file_than_its_first_line(tmp_path):
    secret = tmp_path / "secret"
    secret.write_text("".join(f"line {i} of a secret\n" for i in range(100)))
    site = tmp_path / "site.yaml"
    site.write_text(text_of("site", "northquay").replace("profile: coil-150", f"profile: {secret}", 1))
    assert "line 9 " not in fault_of(lambda: read_site(str(site)))


# -- recordings of others

STAMP = "01/03/2026,10:00:05.0\n"
CFG = "yard,recorder,1999\n{n},{n}A,0D\n{channels}50\n1\n{rate}\n" + 2 * STAMP + "{form}\n1\n"


def comtrade(folder: Path, rate="1000,3", form="ASCII", channels=1, name="V a", data=b"1,0,1\n2,1000,2\n3,2000,3\n"):
    rows = "".join(f"{k},{name},A,x,V,1,0,0,-9,9,1,1,P\n" for k in range(1, channels + 1))
    (folder / "r.dat").write_bytes(data)
    path = folder / "r.cfg"
    path.write_text(CFG.format(n=channels, channels=rows, rate=rate, form=form))
    return path


@pytest.mark.parametrize("form", ["ASCII", "BINARY", "BINARY32", "FLOAT32"])
def test_a_recording_that_announces_more_than_there_is_takes_no_memory_for_it(form, tmp_path):
    path = comtrade(tmp_path, rate="1000,99000000", form=form)
    assert "announced" in fault_of(lambda: read_recording(path, None))


def test_a_file_of_headers_takes_no_longer_than_its_length(tmp_path):
    path = tmp_path / "r.cff"
    path.write_bytes(b"--- file type: CFG ---\n" * 30_000)
    assert fault_of(lambda: read_recording(path, None))


@pytest.mark.parametrize(
    "change",
    [
        {"name": "V\x1b[2J\u202e a"},
        {"rate": "1000," + "9" * 5000},
        {"rate": "1e300,3"},
        {"rate": "1e-300,3"},
        {"data": b"1,0,\0\n2,1000,2\n3,2000,3\n"},
        {"data": b"9" * 5000 + b",0,1\n2,1000,2\n"},
        {"data": b"1,0,nan\n2,1000,inf\n3,2000,1e400\n"},
        {"data": b"\xff\xfe\x1b[2J" * 100},
        {"data": b""},
        {"form": "BINARY", "data": b"\0" * 7},
        {"channels": 3999},
    ],
)
def test_a_hostile_recording_is_read_or_told_harmlessly(change, tmp_path):
    path = comtrade(tmp_path, **change)
    fault_of(lambda: read_recording(path, None))


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_no_damage_to_a_recording_raises_anything_but_its_fault(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("damaged")
    path = comtrade(folder, form=data.draw(st.sampled_from(["ASCII", "BINARY", "FLOAT32"])))
    which = data.draw(st.sampled_from([path, folder / "r.dat"]))
    whole = which.read_bytes()
    at = data.draw(st.integers(0, len(whole)))
    new = data.draw(
        st.one_of(st.binary(max_size=12), st.sampled_from([b"\x1a", b"9" * 40, b"-", b",", b"\n", b"nan", b"1e400"]))
    )
    which.write_bytes(whole[:at] + new + whole[at + data.draw(st.integers(0, 12)) :])
    fault_of(lambda: read_recording(path, None))


ROWS = st.lists(
    st.one_of(
        st.text(max_size=20), st.sampled_from(["=cmd|x", "1,2,3", '"', "\0", "1e400,nan,-", "\x1b[2J,1,1", "9" * 400])
    ),
    max_size=8,
)


@settings(max_examples=50, deadline=None)
@given(st.sampled_from(names("mapping")), ROWS)
def test_no_table_raises_anything_but_its_fault(tmp_path_factory, mapping, rows):
    path = tmp_path_factory.mktemp("table") / "t.csv"
    path.write_text("\n".join(rows), encoding="utf-8", errors="replace")
    fault_of(lambda: read_recording(path, read_mapping(mapping)[0]))


# -- records, and what lies beside them


def tampered(folder: Path, *statements: str) -> Path:
    """A copy of a record, changed by whoever has a database tool."""
    path = folder / "t.run"
    path.write_bytes(SAMPLE.read_bytes())
    db = sqlite3.connect(path)
    db.execute("PRAGMA writable_schema = ON")
    db.execute("DELETE FROM sqlite_master WHERE type = 'trigger'")
    db.commit()
    db.close()
    db = sqlite3.connect(path)
    for statement in statements:
        db.execute(statement)
    db.commit()
    db.close()
    return path


def everything(path: Path) -> None:
    with Reader(path) as reader:
        site = reader.settings.site
        for scan in reader.scans():
            scan.inputs(site)
            scan.orders()


ENDLESS = "WITH RECURSIVE c(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM c) SELECT n AS k, n AS v FROM c"


@pytest.mark.parametrize(
    ("statements", "told"),
    [
        (("DROP TABLE meta", f"CREATE VIEW meta AS {ENDLESS}"), "view"),
        ((f"CREATE VIEW other AS {ENDLESS}",), "view"),
        (("CREATE VIRTUAL TABLE more USING fts5(x)",), "virtual table"),
        (("CREATE TABLE more(a, b GENERATED ALWAYS AS (zeroblob(1000000000)))",), "worked out"),
    ],
)
def test_a_record_that_would_run_something_when_it_is_read_is_none(statements, told, tmp_path):
    path = tampered(tmp_path, *statements)
    assert told in fault_of(lambda: everything(path), RecordFault)
    assert told in fault_of(lambda: verify(path), RecordFault)


@pytest.mark.parametrize("text", [DEEP.encode(), b"[" + b" " * (LARGEST_NOUN + 1) + b"]", b"\xff", b"9" * 5000])
def test_no_stream_in_a_record_goes_too_deep_or_grows_too_large(text, tmp_path):
    path = tampered(tmp_path)
    db = sqlite3.connect(path)
    db.execute("UPDATE noun SET data = ?", (zlib.compress(text),))
    db.commit()
    db.close()
    assert "damaged" in fault_of(lambda: everything(path), RecordFault)


def test_what_is_inflated_and_parsed_has_a_bottom_and_an_end():
    assert inflated(zlib.compress(b"x" * 1000)) == b"x" * 1000
    for bad in (zlib.compress(b"\0" * (LARGEST_NOUN + 1)), zlib.compress(b"x" * 1000)[:-5]):
        with pytest.raises((ValueError, zlib.error)):
            inflated(bad)
    assert from_json('{"a": [1]}') == {"a": [1]}
    with pytest.raises(ValueError, match="too deep"):
        from_json(DEEP)


@pytest.mark.parametrize("text", [DEEP, '{"a":' * 50_000, "", "null", "[]", '{"file": 1}', "\0", "9" * 5000])
def test_a_hostile_seal_or_capture_is_told(text, tmp_path):
    path = tmp_path / "t.run"
    seal_path(path).write_text(text)
    (tmp_path / "c.json").write_text(text)
    assert fault_of(lambda: read_seal(path), RecordFault)
    assert fault_of(lambda: load(tmp_path / "c.json"), CaptureFault)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, SAMPLE.stat().st_size - 1), st.binary(min_size=1, max_size=400))
def test_no_damage_to_a_record_raises_anything_but_its_fault(tmp_path_factory, at, new):
    path = tmp_path_factory.mktemp("record") / "t.run"
    whole = SAMPLE.read_bytes()
    path.write_bytes(whole[:at] + new + whole[at + len(new) :])
    fault_of(lambda: everything(path), RecordFault)


# -- out of a file into another program


@given(st.text(), st.sampled_from([POINT, COMMA]))
def test_no_text_becomes_a_formula_or_another_cell(text, flavour):
    written = cell(text, flavour)
    inner = written[1:-1].replace('""', '"') if written.startswith('"') else written
    assert not inner.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
    if not written.startswith('"'):
        assert flavour.separator not in written
        assert "\n" not in written
