"""Is a record as it was written? The seal, SQLite's own check, the chains, the numbering, the files' hashes."""

import hashlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from benchctl.files.bounded import from_json
from benchctl.record.fault import RecordFault
from benchctl.record.forms import Form, connect
from benchctl.record.schema import first_link, link, selection, statements
from benchctl.record.seal import Seal, broken, file_hash, read_seal

SHOWN = 20  # findings told of each table


@dataclass(frozen=True, slots=True)
class Verification:
    """What was found. altered: texts with the place; notes: what could not be shown."""

    sealed: bool
    altered: tuple[str, ...]
    notes: tuple[str, ...]
    rows: int

    @property
    def intact(self) -> bool:
        """True when nothing speaks against the record."""
        return not self.altered


def verify(path: Path) -> Verification:
    """Check a record as a whole. Raises RecordFault when it cannot be opened at all."""
    altered, notes = [], []
    sealed = False
    try:
        seal = read_seal(path)
    except RecordFault as fault:
        altered.append(str(fault))
        seal = None
    else:
        sealed = seal is not None
    if seal is not None:
        altered.extend(_sealed(path, seal))
        if not seal.check:
            notes.append("its seal is of an earlier form: another time in the seal itself would not be noticed")
        if seal.file != path.name:
            notes.append(f"it was sealed under the name {seal.file}")
    elif not altered:
        notes.append("no seal: the run was interrupted, is being written, or the seal was lost")
    try:
        db, form = connect(path, "surrogateescape")
    except RecordFault as fault:
        if not altered:
            raise
        return Verification(sealed, (*altered, str(fault)), tuple(notes), 0)
    try:
        heads, rows = _chains(db, form, altered)
        altered.extend(_structure(db, form))
        altered.extend(_numbers(db, form))
        altered.extend(_files(db))
        ends = _end(db, heads)
    except sqlite3.Error as fault:
        altered.append(f"SQLite finds the file damaged: {fault}")
        return Verification(sealed, tuple(altered), tuple(notes), 0)
    finally:
        db.close()
    if ends is None:
        notes.append("no end: rows cut off at the end of the record would not be noticed")
    else:
        altered.extend(ends)
    return Verification(sealed, tuple(altered), tuple(notes), rows)


def _sealed(path: Path, seal: Seal) -> Iterator[str]:
    """What contradicts the seal."""
    try:
        if path.is_file() and (why := broken(path, seal, file_hash(path))):
            yield why
    except OSError as fault:
        raise RecordFault(f"{path}: cannot be read: {fault.strerror}") from None


def _structure(db: sqlite3.Connection, form: Form) -> Iterator[str]:
    """SQLite's own check, and the tables and triggers as they must be."""
    for (told,) in db.execute("PRAGMA integrity_check(20)"):
        if told != "ok":
            yield f"SQLite: {told}"
    for table, n, missing, _ in db.execute("PRAGMA foreign_key_check"):
        yield f"{table} {n}: a row of {missing} that it refers to is missing"
    found = {sql for (sql,) in db.execute("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL")}
    wanted = tuple(statements(form.tables))
    for expected in wanted:
        if expected not in found:
            yield f"missing or changed in the file's structure: {expected.split('(')[0].split(' BEGIN ')[0]}"
    if extra := found - set(wanted):
        yield f"not of a record's structure: {', '.join(sorted(extra))[:200]}"


def _chains(db: sqlite3.Connection, form: Form, altered: list[str]) -> tuple[dict[str, bytes], int]:
    """Walk every table's chain; returns their heads and the number of rows."""
    heads: dict[str, bytes] = {}
    count = 0
    for table, columns in form.columns.items():  # meta first: the others hang on its head
        head = first_link(table, heads.get("meta", b""), form.schema)
        findings = 0
        for *values, found in db.execute(f"{selection(table, ', '.join((*columns, 'h')))} ORDER BY n"):
            count += 1
            if link(head, values) != found and (findings := findings + 1) <= SHOWN:
                altered.append(f"{table} {values[0]}: does not follow from the row before: altered, or rows removed")
            head = found
        heads[table] = head
    return heads, count


def _numbers(db: sqlite3.Connection, form: Form) -> Iterator[str]:
    """Rows are numbered without holes, scans except for the gaps that are told."""
    for table in form.tables.keys() - {"scan", "state"}:
        low, high, count = db.execute(f'SELECT min(n), max(n), count(*) FROM "{table}"').fetchone()  # noqa: S608
        if count and (low != 1 or high != count):
            yield f"{table}: {count} rows numbered {low} to {high}"
    told: dict[int, int] = dict(db.execute("SELECT first_scan, last_scan FROM gap").fetchall())
    before = None
    for (n,) in db.execute("SELECT n FROM scan ORDER BY n"):
        if before is not None and n != before + 1 and told.get(before + 1) != n - 1:
            yield f"scans {before + 1} to {n - 1} are missing without a word"
        before = n


def _files(db: sqlite3.Connection) -> Iterator[str]:
    for path, text, stated in db.execute("SELECT path, text, sha256 FROM file ORDER BY n"):
        if hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest() != stated:
            yield f"file {path}: its text does not fit its hash"


def _end(db: sqlite3.Connection, heads: dict[str, bytes]) -> list[str] | None:
    """What contradicts the heads that the end has kept; None when there is no end."""
    row = db.execute('SELECT heads FROM "end" ORDER BY n DESC').fetchone()
    if row is None:
        return None
    try:
        kept = from_json(row[0])
        return [
            f"{table}: the last row is not the one at the end of the run: rows removed or added"
            for table, head in heads.items()
            if table != "end" and kept.get(table) != head.hex()
        ]
    except (ValueError, AttributeError):
        return ["end: the heads of the chains cannot be read"]
