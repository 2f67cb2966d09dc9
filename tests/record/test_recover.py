"""A run that was left behind is closed as interrupted, once, and only when it is intact."""

import sqlite3

import pytest

from benchctl.record.fault import RecordFault
from benchctl.record.reader import Reader
from benchctl.record.recorder import Recorder
from benchctl.record.recover import close_interrupted
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
