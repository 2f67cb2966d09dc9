"""A run that was left behind is closed as interrupted, once, and only when it is intact. With killed processes too."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from filelock import FileLock

from benchctl.record import recover
from benchctl.record.book import lock_path
from benchctl.record.fault import RecordFault
from benchctl.record.reader import Reader
from benchctl.record.recorder import Recorder
from benchctl.record.recover import close_all_interrupted, close_interrupted
from benchctl.record.seal import seal_path, write_seal
from benchctl.record.verify import verify
from tests.record.bench import SETTINGS, frames, recorded


@pytest.fixture
def left_behind(tmp_path):
    """A run whose recorder has let go without an end."""
    recorder = Recorder(tmp_path / "a.run", SETTINGS, {}, ())
    made = frames(30)
    for frame in made:
        recorder.write(frame)
    recorder.flush()
    recorder._book.close()
    (tmp_path / "a.run.reserve").write_bytes(b"x")
    return tmp_path / "a.run"


def test_it_gets_an_end_of_its_last_scan_and_a_seal(left_behind):
    assert close_interrupted(left_behind)
    found = verify(left_behind)
    assert found.intact
    assert found.sealed
    assert found.notes == ()
    with Reader(left_behind) as reader:
        assert reader.end is not None
        assert reader.end.outcome == "interrupted"
        assert reader.end.wall_ns == list(reader.scans())[-1].wall_ns
    assert sorted(p.name for p in left_behind.parent.iterdir()) == ["a.run", "a.run.seal"]


def test_it_is_done_once(left_behind):
    assert close_interrupted(left_behind)
    assert not close_interrupted(left_behind)


def test_a_closed_run_is_left_alone(tmp_path):
    path = recorded(tmp_path / "a.run", frames(3))
    before = path.read_bytes()
    assert not close_interrupted(path)
    assert path.read_bytes() == before


def test_a_run_that_is_being_written_is_left_alone(tmp_path):
    recorder = Recorder(tmp_path / "a.run", SETTINGS, {}, ())
    assert not close_interrupted(tmp_path / "a.run")
    assert recorder.close("done", {}), recorder.problem


def test_an_altered_run_is_not_sealed(left_behind):
    db = sqlite3.connect(left_behind, isolation_level=None)
    db.execute("DROP TRIGGER scan_update")
    db.execute("UPDATE scan SET target_kw = 400.0 WHERE n = 7")
    db.close()
    with pytest.raises(RecordFault, match=r"a\.run: not closed, for it is altered: scan 7"):
        close_interrupted(left_behind)
    assert not (left_behind.parent / "a.run.seal").exists()


# -- a folder of runs

# Records a number of scans as a live run does, tells it, and waits to be killed.
WRITER = """
import sys, time
from dataclasses import replace
from pathlib import Path
from benchctl.record.live import LiveRecorder
from tests.record.bench import SETTINGS, SITE, frames
path, site, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
recorder = LiveRecorder(path, replace(SETTINGS, site=replace(SITE, name=site)), {}, (), reserve_bytes=4096)
made = frames(count)
for frame in made:
    recorder.write(frame)
end = time.monotonic() + 20
while made and recorder.last_number != made[-1].number:
    assert time.monotonic() < end, recorder.problem
    time.sleep(0.01)
print("recorded", flush=True)
input()
"""
posix = pytest.mark.skipif(os.name != "posix", reason="kill -9 is POSIX")


@contextmanager
def writer(path: Path, site: str = "trial", count: int = 30) -> Iterator[subprocess.Popen[str]]:
    """A process that records a run."""
    process = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), site, str(count)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    )
    assert process.stdin
    assert process.stdout
    try:
        assert process.stdout.readline() == "recorded\n"
        yield process
    finally:
        process.kill()
        process.wait()
        process.stdin.close()
        process.stdout.close()


def kill(process: subprocess.Popen[str]) -> None:
    process.send_signal(signal.SIGKILL)
    process.wait()


@posix
def test_a_killed_process_leaves_a_run_that_is_closed_whole_with_its_last_second_told(tmp_path):
    path = tmp_path / "trial-steps.run"
    with writer(path) as process:
        assert close_all_interrupted(tmp_path, "trial") == []  # it is being written
        kill(process)
        assert close_all_interrupted(tmp_path, "trial") == [
            # bench.START_S and 29 scans of half a second on, in this computer's zone
            (path, f"trial-steps: a run that was interrupted after {told(path)}; closed and sealed now")
        ]
    found = verify(path)
    assert (found.intact, found.sealed, found.notes) == (True, True, ())
    with Reader(path) as reader:
        assert reader.scan_count == 30
        assert reader.end is not None
        assert reader.end.outcome == "interrupted"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["trial-steps.run", "trial-steps.run.seal"]
    assert close_all_interrupted(tmp_path, "trial") == []


def told(path: Path) -> str:
    """The time of the last scan, asked of the C library."""
    with Reader(path) as reader:
        last_s = reader.last_wall_ns // 1_000_000_000
    return time.strftime("%Y-%m-%d %H:%M:%S %z", time.localtime(last_s))


@posix
def test_runs_of_other_sites_are_closed_too_and_their_site_is_told(tmp_path):
    with writer(tmp_path / "a.run", "north") as one, writer(tmp_path / "b.run", "south", count=0) as other:
        kill(one)
        kill(other)
    found = {path.name: words for path, words in close_all_interrupted(tmp_path, "trial")}
    assert found["a.run"].startswith("a: a run of site north that was interrupted after 20")
    assert found["b.run"] == (
        "b: a run of site south that was interrupted before anything was recorded; closed and sealed now"
    )
    assert verify(tmp_path / "b.run").intact


def test_what_cannot_be_closed_is_told_and_keeps_nothing_else_from_being_closed(tmp_path, left_behind):
    for name in ("b.run", "e.run"):
        (tmp_path / name).write_bytes(left_behind.read_bytes())
    db = sqlite3.connect(tmp_path / "b.run", isolation_level=None)
    db.execute("DROP TRIGGER scan_update")
    db.execute("UPDATE scan SET target_kw = 400.0 WHERE n = 7")
    db.close()
    (tmp_path / "c.run").write_bytes(b"no record")
    (tmp_path / "d.run").touch()
    recorded(tmp_path / "closed.run", frames(3))
    before = (tmp_path / "b.run").read_bytes()
    found = {path.name: words for path, words in close_all_interrupted(tmp_path, "trial")}
    assert sorted(found) == ["a.run", "b.run", "c.run", "d.run", "e.run"]
    assert found["a.run"].startswith("a: a rehearsal that was interrupted after ")
    assert "b.run: not closed, for it is altered: scan 7" in found["b.run"]
    assert "c.run: not a record" in found["c.run"]
    assert "d.run: not a record" in found["d.run"]
    assert found["e.run"].endswith("closed and sealed now")
    assert (tmp_path / "b.run").read_bytes() == before


def test_a_run_that_is_just_being_started_is_passed_over(tmp_path):
    path = tmp_path / "a.run"
    path.touch()
    with FileLock(lock_path(path)):
        assert close_all_interrupted(tmp_path, "trial") == []


def test_a_folder_that_is_not_there_has_nothing_to_close(tmp_path):
    assert close_all_interrupted(tmp_path / "none", "trial") == []


def test_a_run_that_another_process_closes_meanwhile_is_left_to_it(left_behind, monkeypatch):
    asked = []

    def has_end(path: Path) -> bool:
        asked.append(path)
        if len(asked) > 1:
            write_seal(path)
        return len(asked) > 1

    monkeypatch.setattr(recover, "_has_end", has_end)
    before = left_behind.read_bytes()
    assert not close_interrupted(left_behind)
    assert left_behind.read_bytes() == before


def test_what_is_left_of_a_record_that_was_never_made_is_removed_without_a_word(tmp_path):
    for name in ("a.run.making", "a.run.lock", "b.run.making"):
        (tmp_path / name).write_bytes(b"half")
    with FileLock(lock_path(tmp_path / "b.run")):
        assert close_all_interrupted(tmp_path, "trial") == []
        assert sorted(p.name for p in tmp_path.iterdir()) == ["b.run.lock", "b.run.making"]  # that one is being made


def test_a_run_whose_writer_died_between_its_end_and_its_seal_is_sealed(tmp_path):
    path = recorded(tmp_path / "a.run", frames(3))
    seal_path(path).unlink()
    lock_path(path).touch()  # what kill -9 leaves
    ((found, words),) = close_all_interrupted(tmp_path, "trial")
    assert found == path
    assert words.endswith("and was not sealed; sealed now")
    assert verify(path).sealed
    with Reader(path) as reader:
        assert reader.end is not None
        assert reader.end.outcome == "done"
    assert close_all_interrupted(tmp_path, "trial") == []


def test_a_run_whose_seal_was_taken_away_is_not_sealed_anew(tmp_path):
    path = recorded(tmp_path / "a.run", frames(3))
    seal_path(path).unlink()
    assert close_all_interrupted(tmp_path, "trial") == []
    assert not seal_path(path).exists()


def test_the_reserve_is_given_up_first_for_the_disk_may_be_full(left_behind, monkeypatch):
    seen = []
    monkeypatch.setattr(recover, "_end", lambda path: seen.append(path.with_name("a.run.reserve").exists()))
    close_interrupted(left_behind)
    assert seen == [False]


def test_a_lock_that_cannot_be_had_is_told_in_a_line(left_behind):
    lock_path(left_behind).unlink(missing_ok=True)
    lock_path(left_behind).mkdir()
    with pytest.raises(RecordFault, match=r"a\.run: cannot be closed: "):
        close_interrupted(left_behind)
