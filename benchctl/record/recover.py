"""Closing a run that a crash, a kill or a power cut has left behind: its end says "interrupted", then it is sealed."""

import sqlite3
from contextlib import suppress
from pathlib import Path

from filelock import FileLock, Timeout

from benchctl.record.book import lock_path
from benchctl.record.codec import compact
from benchctl.record.fault import RecordFault
from benchctl.record.reader import Reader
from benchctl.record.schema import TABLES, first_link, insertion, link
from benchctl.record.seal import write_seal
from benchctl.record.verify import verify

OUTCOME = "interrupted"


def close_interrupted(path: Path) -> bool:
    """Close and seal a run without an end. False when it has one, or is being written by a living process.

    Raises RecordFault when the record is altered or cannot be written: such a run is left as it is.
    """
    with Reader(path) as reader:
        if reader.end is not None:
            return False
        last = reader.last_wall_ns
    lock = FileLock(lock_path(path), timeout=0)
    try:
        lock.acquire()
    except Timeout:
        return False
    try:
        found = verify(path)
        if not found.intact:
            raise RecordFault(f"{path}: not closed, for it is altered: {found.altered[0]}")
        _end(path, last)
        write_seal(path)
    except (sqlite3.Error, OSError) as fault:
        raise RecordFault(f"{path}: cannot be closed: {fault}") from None
    finally:
        lock.release()
        with suppress(OSError):
            lock_path(path).unlink(missing_ok=True)
    with suppress(OSError):
        path.with_name(path.name + ".reserve").unlink(missing_ok=True)
    return True


def _end(path: Path, wall_ns: int) -> None:
    """Write the row that was never written, as of the last scan."""
    db = sqlite3.connect(path, isolation_level=None)
    try:
        heads: dict[str, bytes] = {}
        for table in TABLES:  # meta first: the others hang on its head
            row = db.execute(f'SELECT h FROM "{table}" ORDER BY n DESC LIMIT 1').fetchone()  # noqa: S608 - our names
            heads[table] = row[0] if row else first_link(table, heads.get("meta", b""))
        kept = compact({table: head.hex() for table, head in sorted(heads.items()) if table != "end"})
        values = (1, wall_ns, OUTCOME, "{}", kept)
        db.execute(insertion("end"), (*values, link(heads["end"], values)))
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        db.execute("PRAGMA journal_mode=DELETE")
    finally:
        db.close()
