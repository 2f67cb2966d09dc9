"""A full disk stops the record and not the run; what is lost by it is told."""

import types

from benchctl.core.inputs import Recorder as Health
from benchctl.record import recorder as recorder_module
from benchctl.record.reader import Reader
from benchctl.record.recorder import Recorder
from benchctl.record.verify import verify
from tests.record.bench import SETTINGS, SITE, frames


def fill(recorder, rows):
    """Let the record grow by a few pages only, as if the disk were full."""
    db = recorder._book._db
    pages = db.execute("PRAGMA page_count").fetchone()[0]
    db.execute(f"PRAGMA max_page_count={pages + rows}")


def test_a_full_disk_stops_the_record_not_the_run_and_space_brings_it_back(tmp_path, monkeypatch):
    now_s = [0.0]
    monkeypatch.setattr(recorder_module, "time", types.SimpleNamespace(monotonic=lambda: now_s[0]))
    made = frames(60)
    recorder = Recorder(tmp_path / "a.run", SETTINGS, {}, ())
    recorder._together = 1
    fill(recorder, 4)
    tried, store = [], recorder._book.store

    def counted(*args):
        tried.append(args)
        return store(*args)

    monkeypatch.setattr(recorder._book, "store", counted)
    for frame in made[:40]:
        recorder.write(frame)
    last = recorder.last_number
    assert last is not None
    assert 0 < last < 39
    assert recorder.health.value == "failed"
    assert recorder.problem == f"recording stopped after scan {last}: database or disk is full"
    assert len(tried) == last + 2  # one attempt failed, and no other before its time
    with Reader(tmp_path / "a.run") as reader:
        assert [s.n for s in reader.scans()] == list(range(last + 1))
    fill(recorder, 10_000)
    now_s[0] += 5.0
    for frame in made[40:]:
        recorder.write(frame)
    assert recorder.health is Health.OK
    assert recorder.close("done", {}), recorder.problem
    with Reader(tmp_path / "a.run") as reader:
        assert [s.n for s in reader.scans()] == list(range(60))
        assert [s.orders() for s in reader.scans()] == [f.decision.orders for f in made]
        assert [s.inputs(SITE) for s in reader.scans()] == [f.inputs for f in made]
        assert reader.gaps == ()
    assert verify(tmp_path / "a.run").intact


def test_what_memory_cannot_hold_while_the_disk_is_full_is_told_as_a_gap(tmp_path, monkeypatch):
    monkeypatch.setattr(recorder_module, "KEPT", 10)
    made = frames(60)
    recorder = Recorder(tmp_path / "a.run", SETTINGS, {}, ())
    recorder._together = 1
    fill(recorder, 4)
    for frame in made:
        recorder.write(frame)
    last = recorder.last_number
    assert last is not None
    fill(recorder, 10_000)
    assert recorder.close("done", {}), recorder.problem
    with Reader(tmp_path / "a.run") as reader:
        (gap,) = reader.gaps
        assert (gap.first_scan, gap.last_scan) == (last + 1, 49)
        assert f"recording stopped after scan {last}" in gap.text
        assert [s.n for s in reader.scans()][-10:] == list(range(50, 60))


def test_an_end_that_does_not_fit_is_told_and_the_record_stays_readable(tmp_path):
    recorder = Recorder(tmp_path / "a.run", SETTINGS, {}, ())
    for frame in frames(20):
        recorder.write(frame)
    recorder.flush()
    fill(recorder, 0)
    assert not recorder.close("done", {"text": "x" * 100_000})
    assert "full" in recorder.problem
    with Reader(tmp_path / "a.run") as reader:
        assert reader.condition == "interrupted"
        assert reader.scan_count == 20
    assert verify(tmp_path / "a.run").intact
