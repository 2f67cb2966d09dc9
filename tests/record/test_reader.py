"""Reading never changes a record, needs little memory, and says what is damaged."""

import dataclasses
import sqlite3
import tracemalloc

import pytest

from benchctl.record.fault import RecordFault
from benchctl.record.reader import PAGE, Reader
from benchctl.record.recorder import Recorder
from tests.record.bench import SETTINGS, frames, recorded


def damaged(path, statement):
    """Alter a record behind its triggers."""
    db = sqlite3.connect(path, isolation_level=None)
    for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        db.execute(f'DROP TRIGGER "{name}"')
    db.execute(statement)
    db.close()
    return path


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(RecordFault, match=r"none\.run: no such file"):
        Reader(tmp_path / "none.run")


def test_another_database_is_told(tmp_path):
    db = sqlite3.connect(tmp_path / "x.run")
    db.execute("CREATE TABLE scan(n)")
    db.close()
    with pytest.raises(RecordFault, match=r"x\.run: not a record that can be read: no such table: meta"):
        Reader(tmp_path / "x.run")


def test_a_record_of_a_later_schema_is_told(tmp_path):
    path = damaged(recorded(tmp_path / "a.run", frames(2)), "UPDATE meta SET v = '99' WHERE k = 'schema'")
    with pytest.raises(RecordFault, match="record schema 99, expected 1 or 2"):
        Reader(path)


@pytest.mark.parametrize(
    ("statement", "read", "told"),
    [
        (
            "UPDATE noun SET data = x'789c' WHERE n = (SELECT rest FROM scan WHERE n = 3)",
            lambda r: [s.inputs(SETTINGS.site) for s in r.scans()],
            "scan 3: inputs are damaged",
        ),
        (
            "UPDATE scan SET shape = 'sweep' WHERE n = 3",
            lambda r: [s.inputs(SETTINGS.site) for s in r.scans()],
            "scan 3: inputs are damaged",
        ),
        (
            "UPDATE noun SET data = x'' WHERE n = (SELECT orders FROM scan WHERE n = 2)",
            lambda r: [s.orders() for s in r.scans()],
            "scan 2: orders are damaged",
        ),
        (
            "UPDATE scan SET orders = 1000 WHERE n = 2",
            lambda r: [s.orders() for s in r.scans()],
            "scan 2: orders are damaged: their row is missing",
        ),
        (
            "UPDATE scan SET rest = 1000 WHERE n = 2",
            lambda r: [s.inputs(SETTINGS.site) for s in r.scans()],
            "scan 2: inputs are damaged: their row is missing",
        ),
        ("UPDATE state SET state = x'00' WHERE n = 0", lambda r: r.state(0), "state after scan 0 is damaged"),
        ("UPDATE settings SET nouns = x'00'", lambda r: r.settings, "settings cannot be read"),
        ("UPDATE \"end\" SET totals = '{'", lambda r: r.end, "the end is damaged"),
        ("DROP TABLE event", lambda r: list(r.events()), "table event is damaged: no such table"),
        ("DROP TABLE scan", lambda r: r.scan_count, "table scan is damaged"),
    ],
)
def test_damage_is_told_with_its_place(tmp_path, statement, read, told):
    path = damaged(recorded(tmp_path / "a.run", frames(6)), statement)
    with Reader(path) as reader, pytest.raises(RecordFault) as caught:
        read(reader)
    assert f"a.run: {told}" in str(caught.value)


def test_a_torn_file_is_told_and_not_a_traceback(tmp_path):
    path = recorded(tmp_path / "a.run", frames(300))
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2 // 4096 * 4096])

    def read_all():
        with Reader(path) as reader:
            return list(reader.scans()), list(reader.events()), reader.end

    with pytest.raises(RecordFault, match=r"a\.run"):
        read_all()


def test_reading_changes_nothing(tmp_path):
    path = recorded(tmp_path / "a.run", frames(20))
    before = path.read_bytes()
    with Reader(path) as reader:
        assert len(list(reader.scans())) == 20
        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            reader._db.execute("DELETE FROM meta")
    assert path.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.run", "a.run.seal"]


def test_scans_are_read_in_bounded_memory(tmp_path):
    made = frames(40)
    recorder = Recorder(tmp_path / "a.run", SETTINGS, {}, ())
    for number in range(2000):
        recorder.write(dataclasses.replace(made[number % 40], number=number))
    assert recorder.close("done", {}), recorder.problem
    size = (tmp_path / "a.run").stat().st_size
    with Reader(tmp_path / "a.run") as reader:
        tracemalloc.start()
        assert sum(1 for _ in reader.scans()) == 2000
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert size > 8 * PAGE * 800
    assert peak < size / 2


def test_scans_after_a_number(tmp_path):
    with Reader(recorded(tmp_path / "a.run", frames(10))) as reader:
        assert [s.n for s in reader.scans(6)] == [7, 8, 9]
        assert [e.scan for e in reader.events(5)] == [5]
