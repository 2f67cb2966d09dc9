"""The live recorder never waits, tells what it drops, and lives through a full disk."""

import ctypes
import os
import sqlite3
import threading
import time

import pytest

from benchctl.core.inputs import Recorder as Health
from benchctl.record.fault import RecordFault
from benchctl.record.live import LiveRecorder
from benchctl.record.reader import Reader
from benchctl.record.verify import verify
from tests.record.bench import SETTINGS, frames

PATIENCE = 20_000  # times half a millisecond, at least


def wait_for(what):
    """Wait until something is true of a thread's work; bounded."""
    for _ in range(PATIENCE):
        if what():
            return
        time.sleep(0.0005)
    pytest.fail("the thread did not get there")


def test_each_scan_is_durable_on_its_own(tmp_path):
    recorder = LiveRecorder(tmp_path / "a.run", SETTINGS, {}, (), reserve_bytes=4096)
    assert recorder._book._db.execute("PRAGMA synchronous").fetchone() == (2,)  # 2 = FULL, by SQLite's documentation
    with Reader(tmp_path / "a.run") as reader:
        for frame in frames(12):
            recorder.write(frame)
            wait_for(lambda number=frame.number: recorder.last_number == number)
            assert reader.scan_count == frame.number + 1
        assert reader.meta["kind"] == "live"
    assert recorder.health is Health.OK
    assert recorder.close("done", {}), recorder.problem
    assert verify(tmp_path / "a.run").intact
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.run", "a.run.seal"]


def test_a_slow_disk_never_holds_up_the_caller_and_what_is_dropped_is_told(tmp_path, monkeypatch):
    recorder = LiveRecorder(tmp_path / "a.run", SETTINGS, {}, (), reserve_bytes=0, queue_length=8)
    gate, writing, store = threading.Event(), threading.Event(), recorder._book.store

    def slow(*args):
        writing.set()
        assert gate.wait(60)
        return store(*args)

    monkeypatch.setattr(recorder._book, "store", slow)
    made = frames(40)
    recorder.write(made[0])
    assert writing.wait(10)
    for frame in made[1:]:
        recorder.write(frame)  # would never come back here if it waited: the gate is shut
    assert recorder.dropped == 31
    assert recorder.health is Health.BEHIND
    assert recorder.problem == "the disk is too slow: 31 scans not recorded, the last 39"
    gate.set()
    wait_for(lambda: recorder.last_number == 8)
    assert recorder.close("done", {}), recorder.problem
    with Reader(tmp_path / "a.run") as reader:
        assert [s.n for s in reader.scans()] == list(range(9))
        assert [(g.first_scan, g.last_scan) for g in reader.gaps] == [(9, 39)]
    assert verify(tmp_path / "a.run").intact


def test_health_comes_back_when_the_disk_keeps_up_again(tmp_path, monkeypatch):
    recorder = LiveRecorder(tmp_path / "a.run", SETTINGS, {}, (), reserve_bytes=0, queue_length=4)
    gate, store = threading.Event(), recorder._book.store
    monkeypatch.setattr(recorder._book, "store", lambda *args: store(*args) if gate.wait(60) else [])
    made = frames(20)
    for frame in made[:19]:
        recorder.write(frame)
    assert recorder.health.value == "behind"
    gate.set()
    wait_for(lambda: recorder.health is Health.OK)
    recorder.write(made[19])
    assert recorder.close("done", {}), recorder.problem
    with Reader(tmp_path / "a.run") as reader:
        numbers = [s.n for s in reader.scans()]
        (gap,) = reader.gaps
    assert numbers[-1] == 19
    assert set(range(gap.first_scan, gap.last_scan + 1)) == set(range(20)) - set(numbers)


def test_a_reserve_that_does_not_fit_refuses_the_run(tmp_path, monkeypatch):
    def full(descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RecordFault, match=r"reserve of 4 MB: No space left on device"):
        LiveRecorder(tmp_path / "a.run", SETTINGS, {}, (), reserve_bytes=4 << 20)
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_costs_the_reserve_and_the_end_is_still_recorded(tmp_path, monkeypatch):
    recorder = LiveRecorder(tmp_path / "a.run", SETTINGS, {}, (), reserve_bytes=4096)
    db, spend = recorder._book._db, recorder._spend
    db.execute(f"PRAGMA max_page_count={db.execute('PRAGMA page_count').fetchone()[0] + 4}")

    def spend_and_find_room(fault: sqlite3.Error) -> None:
        spend(fault)
        db.execute("PRAGMA max_page_count=100000")

    monkeypatch.setattr(recorder, "_spend", spend_and_find_room)
    assert (tmp_path / "a.run.reserve").stat().st_size == 4096
    for frame in frames(60):
        recorder.write(frame)
    assert recorder.close("unloaded: the record failed", {}), recorder.problem
    assert recorder.health is Health.FAILED
    assert "recording goes into the reserve after scan" in recorder.problem
    with Reader(tmp_path / "a.run") as reader:
        assert [s.n for s in reader.scans()] == list(range(60))
        assert reader.end is not None
        assert reader.end.outcome == "unloaded: the record failed"
    assert verify(tmp_path / "a.run").intact


@pytest.fixture
def small_disk(tmp_path):
    """A real file system of 1 MB; only where we may mount one."""
    place = tmp_path / "small"
    place.mkdir()
    try:
        libc = ctypes.CDLL(None, use_errno=True)
        mounted = libc.mount(b"tmpfs", str(place).encode(), b"tmpfs", 0, b"size=1m") == 0
    except (OSError, AttributeError):
        mounted = False
    if not mounted:
        pytest.skip("a file system cannot be mounted here")
    yield place
    libc.umount2(str(place).encode(), 2)


def test_F5_on_a_file_system_of_1_mb_the_last_scans_and_the_end_are_readable(small_disk):
    # Case: data folder on a 1 MB file system; told within one scan; the last whole scan is readable; the end says so.
    path = small_disk / "a.run"
    recorder = LiveRecorder(path, SETTINGS, {}, (), reserve_bytes=200_000)
    made = frames(1000)
    told_at = None
    for frame in made:
        recorder.write(frame)
        wait_for(recorder._queue.empty)
        if recorder.health is Health.FAILED and told_at is None:
            told_at = frame.number, recorder.last_number
    assert told_at is not None
    assert told_at[1] is not None
    assert told_at[0] - told_at[1] <= 2
    assert not (small_disk / "a.run.reserve").exists()
    sealed = recorder.close("unloaded", {})
    with Reader(path) as reader:
        numbers = [s.n for s in reader.scans()]
        assert numbers == list(range(len(numbers)))
        assert len(numbers) > told_at[1]
        assert reader.condition == ("closed" if reader.end else "interrupted")
        assert (sealed and reader.end is not None) or recorder.problem  # without a seal it is not complete, and says so
    found = verify(path)
    assert found.intact, found.altered
