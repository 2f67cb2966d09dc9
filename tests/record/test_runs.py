"""Where runs live and how one is meant by a short name."""

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from benchctl.record.fault import RecordFault
from benchctl.record.runs import find_run, new_run, runs_folder, runs_in

WHEN = datetime(2026, 10, 25, 2, 30, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path):
    for age, name in enumerate(("north-ladder-1", "north-blocks-2", "south-ladder-3")):
        path = tmp_path / f"{name}.run"
        path.touch()
        os.utime(path, (1000 + age, 1000 + age))
    (tmp_path / "north-ladder-1.run.seal").touch()
    return tmp_path


@pytest.mark.parametrize(
    ("given", "variables", "platform", "expected"),
    [
        ("/a", {"BENCHCTL_RUNS": "/b"}, "linux", Path("/a")),
        (None, {"BENCHCTL_RUNS": "/b"}, "linux", Path("/b")),
        (None, {"XDG_DATA_HOME": "/c"}, "linux", Path("/c/benchctl/runs")),
        (None, {"XDG_DATA_HOME": "c"}, "linux", Path.home() / ".local/share/benchctl/runs"),  # XDG: relative = ignored
        (None, {}, "linux", Path.home() / ".local/share/benchctl/runs"),
        (None, {}, "darwin", Path.home() / "Library/Application Support/benchctl/runs"),
        (None, {"LOCALAPPDATA": "/d"}, "win32", Path("/d/benchctl/runs")),
    ],
)
def test_the_folder_is_the_one_given_then_the_variable_then_the_platforms(given, variables, platform, expected):
    assert runs_folder(given, variables, platform) == expected


def test_a_new_run_is_named_after_site_program_and_time_and_never_exists_yet(tmp_path):
    first = new_run(tmp_path, "north quay", "", WHEN)
    assert first.name == "north-quay-by-hand-20261025-023000.run"
    first.touch()
    assert new_run(tmp_path, "north quay", "", WHEN).name == "north-quay-by-hand-20261025-023000-2.run"


def test_a_name_cannot_leave_the_folder(tmp_path):
    assert new_run(tmp_path, "../../x", "a/b", WHEN).parent == tmp_path


def test_runs_are_listed_from_the_oldest(folder):
    assert [run.stem for run in runs_in(folder)] == ["north-ladder-1", "north-blocks-2", "south-ladder-3"]
    assert runs_in(folder / "none") == []


@pytest.mark.parametrize(
    ("ref", "expected"),
    [
        ("north-ladder-1", "north-ladder-1"),
        ("blocks", "north-blocks-2"),
        ("latest", "south-ladder-3"),
        ("-3", "south-ladder-3"),
    ],
)
def test_a_run_is_found_by_name_part_of_it_or_latest(folder, ref, expected):
    assert find_run(ref, folder).stem == expected


def test_a_path_is_taken_as_it_is(folder, tmp_path_factory):
    other = tmp_path_factory.mktemp("other") / "x.run"
    other.touch()
    assert find_run(str(other), folder) == other


@pytest.mark.parametrize(
    ("ref", "told"),
    [
        ("ladder", "means 2 runs: north-ladder-1, south-ladder-3"),
        ("east", "no such run in"),
        ("", "no such run in"),
    ],
)
def test_none_or_several_are_told_by_name(folder, ref, told):
    with pytest.raises(RecordFault, match=told):
        find_run(ref, folder)


def test_latest_of_an_empty_folder_is_told(tmp_path):
    with pytest.raises(RecordFault, match=r"latest there: none"):
        find_run("latest", tmp_path)
