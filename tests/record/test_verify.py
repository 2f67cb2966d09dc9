"""Whatever is altered in a record is found, and where. SHA-256 is hashlib's; the chain is computed again by hand."""

# ruff: noqa: S608 - table and column names are this room's own

import hashlib
import json
import math
import shutil
import sqlite3
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.files.shelf import SourceFile
from benchctl.record import verify as verify_module
from benchctl.record.fault import RecordFault
from benchctl.record.recorder import Recorder
from benchctl.record.schema import COLUMNS, TABLES, canonical, statements
from benchctl.record.seal import read_seal, seal_path
from benchctl.record.verify import verify
from tests.record.bench import SETTINGS, frames

ROWS = {"meta": 8, "file": 2, "settings": 1, "noun": 24, "scan": 28, "state": 3, "event": 6, "gap": 1, "end": 1}


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """A closed record with something in every table."""
    path = tmp_path_factory.mktemp("run") / "a.run"
    recorder = Recorder(
        path,
        SETTINGS,
        {},
        [
            SourceFile.of("site", "trial", "trial.yaml", "µ: 1\n"),
            SourceFile.of("program", "steps", "steps.yaml", "title: x\n"),
        ],
    )
    made = frames(30)
    for frame in made[:12] + made[14:]:
        recorder.write(frame)
    assert recorder.close("done", {"energy_kwh": 1.5})
    return path


@pytest.fixture(scope="module")
def desk(run, tmp_path_factory):
    """A copy to alter, without its seal and triggers, and how to put it back."""
    path = tmp_path_factory.mktemp("desk") / "b.run"
    shutil.copy(run, path)
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA synchronous=OFF")
    for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        db.execute(f'DROP TRIGGER "{name}"')
    yield path, db
    db.close()


def test_an_untouched_record_is_intact_and_sealed(run):
    found = verify(run)
    assert found.intact
    assert found.sealed
    assert found.notes == ()
    assert found.rows == sum(ROWS.values())


def test_the_seal_is_the_hash_that_common_tools_give(run):
    seal = read_seal(run)
    assert seal is not None
    assert seal.hash == hashlib.sha256(run.read_bytes()).hexdigest()
    assert seal.size_bytes == run.stat().st_size


def test_the_chain_is_what_its_description_says(run):
    # By hand from the description in the schema, with nothing of the project but the rows themselves.
    def by_hand(value):
        match value:
            case None:
                return b"n"
            case float():
                return b"r" + struct.pack(">d", value)
            case int():
                return b"i" + str(value).encode() + b";"
            case str():
                return b"t" + str(len(value.encode())).encode() + b";" + value.encode()
        return b"b" + str(len(value)).encode() + b";" + value

    db = sqlite3.connect(run)
    head = hashlib.sha256(b"benchctl record 2 meta").digest()
    for *row, h in db.execute("SELECT * FROM meta ORDER BY n"):
        head = hashlib.sha256(head + b"".join(map(by_hand, row))).digest()
        assert head == h
    scan_head = hashlib.sha256(b"benchctl record 2 scan" + head).digest()
    for *row, h in db.execute("SELECT * FROM scan ORDER BY n"):
        scan_head = hashlib.sha256(scan_head + b"".join(map(by_hand, row))).digest()
        assert scan_head == h
    (heads,) = db.execute('SELECT heads FROM "end"').fetchone()
    assert json.loads(heads)["scan"] == scan_head.hex()
    db.close()


@given(
    st.lists(
        st.none()
        | st.integers(-(1 << 63), (1 << 63) - 1)
        | st.text(max_size=6)
        | st.binary(max_size=6)
        | st.floats(allow_nan=False),
        max_size=4,
    ),
    st.lists(
        st.none()
        | st.integers(-(1 << 63), (1 << 63) - 1)
        | st.text(max_size=6)
        | st.binary(max_size=6)
        | st.floats(allow_nan=False),
        max_size=4,
    ),
)
@settings(max_examples=200, deadline=None)
def test_different_rows_have_different_canonical_bytes(one, other):
    assert (canonical(one) == canonical(other)) == (repr(one) == repr(other))


def altered(value, at, bit):
    """The value with one bit of one byte turned over; a NULL becomes a zero."""
    if value is None:
        return 0
    if isinstance(value, float):
        data = bytearray(struct.pack(">d", value))
        data[at % 8] ^= 1 << bit
        new = struct.unpack(">d", data)[0]
        return value + 1.0 if math.isnan(new) or new == value else new
    if isinstance(value, int):
        return value ^ 1 << (8 * at + bit) % 63
    data = bytearray(value.encode() if isinstance(value, str) else value)
    if not data:
        return "x" if isinstance(value, str) else b"x"
    data[at % len(data)] ^= 1 << (bit % 7 if isinstance(value, str) else bit)
    return data.decode("utf-8", "surrogateescape") if isinstance(value, str) else bytes(data)


CELLS = [(table, column) for table in TABLES for column in (*COLUMNS[table], "h")]


@given(st.sampled_from(CELLS), st.integers(0, 10**6), st.integers(0, 10**6), st.integers(0, 7))
@settings(max_examples=250, deadline=None)
def test_a_bit_turned_over_in_any_column_of_any_table_is_found_and_placed(desk, cell, which, at, bit):
    path, db = desk
    table, column = cell
    n = db.execute(f'SELECT n FROM "{table}" ORDER BY n').fetchall()[which % ROWS[table]][0]
    before, kind = db.execute(f'SELECT {column}, typeof({column}) FROM "{table}" WHERE n = ?', (n,)).fetchone()
    after = altered(before, at, bit)
    db.execute("BEGIN")
    if isinstance(after, str) and not after.isascii():
        db.execute(
            f'UPDATE "{table}" SET {column} = CAST(? AS TEXT) WHERE n = ?',
            (after.encode("utf-8", "surrogateescape"), n),
        )
    else:
        try:
            db.execute(f'UPDATE "{table}" SET {column} = ? WHERE n = ?', (after, n))
        except sqlite3.IntegrityError:  # the type, a key taken already: SQLite itself refuses this one
            db.execute("ROLLBACK")
            return
    db.execute("COMMIT")
    try:
        if (table, column) in (("meta", "k"), ("meta", "v")):
            try:
                found = verify(path).altered
            except RecordFault as fault:  # the schema number itself
                found = (str(fault),)
        else:
            found = verify(path).altered
    finally:
        moved = after if column == "n" else n
        db.execute(f'UPDATE "{table}" SET {column} = ? WHERE n = ?', (before, moved))
    placed = [text for text in found if "structure" not in text]
    assert placed, (table, column, n, before, after, kind)
    if column not in ("n", "h") and table != "meta":
        assert any(text.startswith(f"{table} {n}:") for text in placed)


def unwound(path):
    """What is found in the desk's copy beyond its missing triggers."""
    return [text for text in verify(path).altered if "structure" not in text]


def test_the_desk_is_as_it_was(desk):
    path, _ = desk
    assert unwound(path) == []
    assert sum("structure" in text for text in verify(path).altered) == 3 * len(TABLES)


def test_a_removed_scan_is_found(desk):
    path, db = desk
    row = db.execute("SELECT * FROM scan WHERE n = 5").fetchone()
    db.execute("DELETE FROM scan WHERE n = 5")
    found = unwound(path)
    db.execute(f"INSERT INTO scan VALUES({', '.join('?' * len(row))})", row)
    assert any(text.startswith("scan 6: does not follow") for text in found)
    assert "scans 5 to 5 are missing without a word" in found
    assert unwound(path) == []


def test_a_row_of_nouns_that_a_scan_refers_to_and_is_not_there_is_found(desk):
    path, db = desk
    row = db.execute("SELECT * FROM noun WHERE n = (SELECT orders FROM scan WHERE n = 5)").fetchone()
    db.execute("DELETE FROM noun WHERE n = ?", row[:1])
    found = unwound(path)
    db.execute("INSERT INTO noun VALUES(?, ?, ?, ?)", row)
    assert "scan 5: a row of noun that it refers to is missing" in found
    assert unwound(path) == []


def test_rows_cut_off_at_the_end_are_found_by_the_heads_that_the_end_keeps(desk):
    path, db = desk
    row = db.execute("SELECT * FROM scan ORDER BY n DESC").fetchone()
    db.execute("DELETE FROM scan WHERE n = ?", row[:1])
    found = unwound(path)
    db.execute(f"INSERT INTO scan VALUES({', '.join('?' * len(row))})", row)
    assert any(text.startswith("scan: the last row is not the one at the end") for text in found)


def test_scans_of_another_run_do_not_fit(desk, tmp_path):
    path, db = desk
    other = Recorder(tmp_path / "c.run", SETTINGS, {}, ())
    for frame in frames(30):
        other.write(frame)
    assert other.close("done", {})
    rows = sqlite3.connect(tmp_path / "c.run").execute("SELECT * FROM scan WHERE n < 12").fetchall()
    own = db.execute("SELECT * FROM scan WHERE n < 12").fetchall()
    put = f"INSERT OR REPLACE INTO scan VALUES({', '.join('?' * len(own[0]))})"
    db.executemany(put, rows)
    found = unwound(path)
    db.executemany(put, own)
    assert any(text.startswith("scan 0: does not follow") for text in found)


def test_any_byte_turned_over_in_the_closed_file_breaks_the_seal(run, tmp_path):
    copy = tmp_path / "a.run"
    data = run.read_bytes()
    shutil.copy(seal_path(run), seal_path(copy))
    for at in range(100, len(data), len(data) // 12):
        copy.write_bytes(data[:at] + bytes([data[at] ^ 4]) + data[at + 1 :])
        try:
            found = verify(copy).altered
        except RecordFault as fault:
            found = (str(fault),)
        assert found
    copy.write_bytes(data + b"x")
    assert any("size" in text for text in verify(copy).altered)


@given(st.integers(0, 10**6), st.integers(0, 7))
@settings(max_examples=200, deadline=None)
def test_any_bit_turned_over_anywhere_in_the_closed_file_is_noticed(run, spare, place, bit):
    copy, data = spare, bytearray(run.read_bytes())
    data[place % len(data)] ^= 1 << bit
    copy.write_bytes(data)
    shutil.copy(seal_path(run), seal_path(copy))
    assert told_of(copy)


@given(st.integers(0, 10**6), st.integers(0, 7))
@settings(max_examples=300, deadline=None)
def test_any_bit_turned_over_in_the_seal_is_noticed(run, spare, place, bit):
    seal = bytearray(seal_path(run).read_bytes())
    seal[place % len(seal)] ^= 1 << bit
    shutil.copy(run, spare)
    seal_path(spare).write_bytes(seal)
    assert told_of(spare)


@pytest.fixture(scope="module")
def spare(tmp_path_factory):
    return tmp_path_factory.mktemp("spare") / "a.run"


def told_of(path):
    """What speaks against a record."""
    try:
        return verify(path).altered
    except RecordFault as fault:
        return (str(fault),)


def test_a_seal_of_before_it_had_a_check_of_its_own_holds_and_says_what_it_does_not_show(run, spare):
    shutil.copy(run, spare)
    told = json.loads(seal_path(run).read_text())
    del told["check"]
    seal_path(spare).write_text(json.dumps(told, indent=2) + "\n")
    found = verify(spare)
    assert (found.altered, found.sealed) == ((), True)
    assert any("earlier form" in note for note in found.notes)


def test_another_name_than_the_sealed_one_is_told_and_no_alteration(run, tmp_path):
    shutil.copy(run, tmp_path / "b.run")
    shutil.copy(seal_path(run), tmp_path / "b.run.seal")
    found = verify(tmp_path / "b.run")
    assert found.altered == ()
    assert found.notes == ("it was sealed under the name a.run",)


def test_rows_that_lie_in_a_log_beside_a_sealed_record_are_not_taken_for_its_own(run, tmp_path):
    copy = tmp_path / "a.run"
    shutil.copy(run, copy)
    shutil.copy(seal_path(run), seal_path(copy))
    for ending in ("-wal", "-journal"):
        log = copy.with_name(copy.name + ending)
        log.write_bytes(b"something")
        assert any(f"a.run{ending} beside it" in text for text in told_of(copy))
        log.unlink(missing_ok=True)


def test_a_record_that_cannot_be_read_is_told_with_its_path(run, monkeypatch):
    def refused(path):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(verify_module, "file_hash", refused)
    with pytest.raises(RecordFault, match=r"a\.run: cannot be read: Permission denied"):
        verify(run)


def test_a_seal_that_is_no_seal_is_told(run, tmp_path):
    copy = tmp_path / "a.run"
    shutil.copy(run, copy)
    seal_path(copy).write_text('{"hash": "0"}')
    assert any("not a seal" in text for text in verify(copy).altered)


def test_a_missing_trigger_is_told(run, tmp_path):
    copy = tmp_path / "a.run"
    shutil.copy(run, copy)
    db = sqlite3.connect(copy)
    db.execute('DROP TRIGGER "scan_delete"')
    db.commit()
    db.close()
    assert any("scan_delete" in text for text in verify(copy).altered)
    assert len(list(statements())) == 4 * len(TABLES)


@pytest.mark.parametrize("data", [b"", b"SQLite format 3\0", b"hello" * 500])
def test_a_file_that_is_no_record_is_told_without_a_traceback(tmp_path, data):
    path = tmp_path / "x.run"
    path.write_bytes(data)
    with pytest.raises(RecordFault, match=r"x\.run: not a record"):
        verify(path)
