"""Where files are found. The order is our own; UTF-8 signatures are those that Windows editors write."""

import hashlib
import os

import pytest

from benchctl.files import DiskShelf, FileFault, RecordedShelf, SourceFile, names, read_program
from tests.files.paper import text_of

PROGRAM = "title: t\nsegments:\n  - hold: {for: 1 s}\n"


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_bare_name_finds_the_shipped_file_from_anywhere(home):
    file = DiskShelf().open("program", "ladder")
    assert file.path == "benchctl/configs/programs/ladder.yaml"
    assert file.name == "ladder"
    assert file.text == text_of("program", "ladder")
    assert file.sha256 == hashlib.sha256(file.text.encode()).hexdigest()


def test_the_nearest_file_wins(home):
    def put(path, title):
        (home / path).parent.mkdir(parents=True, exist_ok=True)
        (home / path).write_text(PROGRAM.replace("t\n", f"{title}\n", 1), encoding="utf-8")

    base = SourceFile.of("site", "s", str(home / "place/sites/s.yaml"), "")
    found = []
    for path in ("configs/programs/ladder.yaml", "place/programs/ladder.yaml", "place/sites/ladder.yaml", "ladder"):
        put(path, path)
        found.append(DiskShelf().open("program", "ladder", base).path)
    assert [f.removeprefix(f"{home}/") for f in found] == [
        "configs/programs/ladder.yaml",
        "place/programs/ladder.yaml",
        "place/sites/ladder.yaml",
        "ladder",
    ]


def test_a_path_is_shown_as_it_was_given(home):
    (home / "my.yaml").write_text(PROGRAM + "x: 1\n", encoding="utf-8")
    with pytest.raises(FileFault, match=r"^\./my\.yaml:4:1: unknown key 'x'"):
        read_program("./my.yaml")


@pytest.mark.parametrize(
    "ref", ["../ladder", "a/b", "..", ".", "/nonexistent", "", "x\0y", "n" * 5000, "programs", "configs"]
)
def test_what_is_no_file_is_refused_and_no_name_escapes_its_folder(home, ref):
    (home / "programs").mkdir()
    (home / "ladder.yaml").write_text(PROGRAM, encoding="utf-8")
    with pytest.raises(FileFault, match="no such program"):
        DiskShelf().open("program", ref)


def test_an_unknown_name_lists_near_names_and_places(home):
    with pytest.raises(FileFault) as fault:
        DiskShelf().open("program", "lader")
    assert str(fault.value) == (
        "lader: no such program; looked for lader, configs/programs/lader.yaml, "
        "benchctl/configs/programs/lader.yaml, did you mean 'ladder'?"
    )


def test_a_signature_and_windows_line_ends_are_accepted(home):
    (home / "p.yaml").write_bytes(b"\xef\xbb\xbf" + PROGRAM.replace("\n", "\r\n").encode())
    assert read_program("p.yaml")[0].segments[0].line == 3


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"title: \xff\n", "p.yaml:1:8: byte 0xFF is not UTF-8"),
        (b"title: t\nx: caf\xe9\n", "p.yaml:2:7: byte 0xE9"),
        (b"# " + b"x" * (1 << 20), "p.yaml: larger than 1 MiB"),
        (b"", "p.yaml:1:1: the file is empty"),
    ],
)
def test_what_is_no_text_is_refused(home, data, told):
    (home / "p.yaml").write_bytes(data)
    with pytest.raises(FileFault) as fault:
        read_program("p.yaml")
    assert str(fault.value).startswith(told)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no FIFOs here")
def test_a_pipe_is_no_file(home):
    os.mkfifo(home / "p.yaml")
    with pytest.raises(FileFault, match="no such program"):
        DiskShelf().open("program", "p.yaml")


def test_a_record_serves_what_was_read_then():
    old = SourceFile.of("program", "ladder", "configs/programs/ladder.yaml", PROGRAM)
    assert read_program("ladder", RecordedShelf([old]))[0].title == "t"
    with pytest.raises(FileFault, match="the record has no such program, did you mean 'ladder'"):
        read_program("laddr", RecordedShelf([old]))


def test_shipped_names_are_listed():
    assert names("site") == ["alder-ridge", "millrace", "northquay"]
    assert {"ladder", "long-haul", "blocks", "fine-steps", "operator-walk"} <= set(names("program"))
