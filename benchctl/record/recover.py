"""Closing a run that a crash, a kill or a power cut has left behind: its end says "interrupted", then it is sealed."""

import sqlite3
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from filelock import FileLock, Timeout

from benchctl.record.book import MAKING, lock_path
from benchctl.record.codec import compact
from benchctl.record.fault import RecordFault
from benchctl.record.reader import Reader, being_written
from benchctl.record.runs import runs_in
from benchctl.record.schema import first_link, insertion, link
from benchctl.record.seal import seal_path, write_seal
from benchctl.record.verify import verify

OUTCOME = "interrupted"


def close_all_interrupted(folder: Path, site: str) -> list[tuple[Path, str]]:
    """Close every run of a folder that was left behind, of whatever site; returns each with words for people.

    The words name another site than the one given. A run that cannot be read or closed is told and left as it is;
    one that a living process writes is passed over. Never raises.
    """
    told = []
    _clear_unborn(folder)
    for path in runs_in(folder):
        try:
            if close_interrupted(path):
                told.append((path, _closed(path, site)))
        except (RecordFault, OSError) as fault:
            if not being_written(path):  # it is being started: there is nothing to read yet
                told.append((path, str(fault)))
    return told


def close_interrupted(path: Path) -> bool:
    """Close and seal a run without an end, or seal one whose writer died, or had no room, between its end and its seal.

    False when nothing is to be done, or a living process writes it.
    Raises RecordFault when the record is altered or cannot be written: such a run is left as it is.
    """
    if _has_end(path) and not _unsealed(path):
        return False
    lock = FileLock(lock_path(path), timeout=0)
    try:
        lock.acquire()
    except Timeout:
        return False
    except OSError as fault:
        raise RecordFault(f"{path}: cannot be closed: {fault.strerror or fault}") from None
    try:
        has_end = _has_end(path)
        if has_end and not _unsealed(path):  # another process was quicker
            return False
        found = verify(path)
        if not found.intact:
            raise RecordFault(f"{path}: not closed, for it is altered: {found.altered[0]}")
        path.with_name(path.name + ".reserve").unlink(missing_ok=True)  # the disk may be full: this is what it is for
        if has_end:
            _one_file(path)
        else:
            _end(path)
        write_seal(path)
    except (sqlite3.Error, OSError) as fault:
        raise RecordFault(f"{path}: cannot be closed: {fault}") from None
    finally:
        lock.release()
        with suppress(OSError):
            lock_path(path).unlink(missing_ok=True)
    return True


def _clear_unborn(folder: Path) -> None:
    """Remove what is left of records that were never made: nothing was ever put into them."""
    for made in folder.glob(f"*{MAKING}"):
        path = made.with_name(made.name.removesuffix(MAKING))
        lock = FileLock(lock_path(path), timeout=0)
        with suppress(Timeout, OSError), lock:
            made.unlink(missing_ok=True)
            lock_path(path).unlink(missing_ok=True)


def _has_end(path: Path) -> bool:
    with Reader(path) as reader:
        return reader.end is not None


def _unsealed(path: Path) -> bool:
    """True where a writer left its lock or its log beside a run without a seal; a seal that was taken leaves none."""
    left = any(p.exists() for p in (lock_path(path), path.with_name(path.name + "-wal")))
    return left and not seal_path(path).exists()


def _closed(path: Path, site: str) -> str:
    """What was closed, in words."""
    with Reader(path) as reader:
        last = datetime.fromtimestamp(reader.last_wall_ns / 1e9).astimezone()
        when = f"after {last:%Y-%m-%d %H:%M:%S %z}" if reader.last_wall_ns else "before anything was recorded"
        ended = reader.end is not None and reader.end.outcome != OUTCOME
        kind, where = reader.meta.get("kind", ""), reader.meta.get("site", "")
    what = "rehearsal" if kind == "rehearsal" else "run"
    place = "" if where == site else f" of site {where}"
    if ended:
        return f"{path.stem}: a {what}{place} that had ended {when} and was not sealed; sealed now"
    return f"{path.stem}: a {what}{place} that was interrupted {when}; closed and sealed now"


def _end(path: Path) -> None:
    """Write the row that was never written, as of the last scan."""
    with Reader(path) as reader:
        wall_ns, form = reader.last_wall_ns, reader.form
    db = sqlite3.connect(path, isolation_level=None)
    try:
        heads: dict[str, bytes] = {}
        for table in form.tables:  # meta first: the others hang on its head
            row = db.execute(f'SELECT h FROM "{table}" ORDER BY n DESC LIMIT 1').fetchone()  # noqa: S608 - our names
            heads[table] = row[0] if row else first_link(table, heads.get("meta", b""), form.schema)
        kept = compact({table: head.hex() for table, head in sorted(heads.items()) if table != "end"})
        values = (1, wall_ns, OUTCOME, "{}", kept)
        db.execute(insertion("end"), (*values, link(heads["end"], values)))
    finally:
        db.close()
    _one_file(path)


def _one_file(path: Path) -> None:
    """Bring the log into the file."""
    db = sqlite3.connect(path, isolation_level=None)
    try:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        db.execute("PRAGMA journal_mode=DELETE")
    finally:
        db.close()
