"""Power loss imitated: of a record that is being written, what was not synced yet is gone, torn or in any order.

The recorder commits with a sync (`PRAGMA synchronous=FULL`), so only the last transaction of the log can be un-synced;
pages that a checkpoint has copied from the log into the file may be un-synced as well, as long as the log has them. The
log is read here by SQLite's published file format ("WAL-format", sqlite.org/fileformat.html), not with SQLite.
"""

import shutil
import struct
from dataclasses import dataclass
from pathlib import Path
from random import Random

from benchctl.record.fault import RecordFault
from benchctl.record.reader import Reader
from benchctl.record.verify import verify

HEADER, FRAME = 32, 24


@dataclass(frozen=True, slots=True)
class Log:
    """A log's frames. ends: where each frame ends; commits: indices of frames that end a transaction; pages: theirs."""

    page: int
    ends: tuple[int, ...]
    commits: tuple[int, ...]
    pages: tuple[int, ...]


def log_of(path: Path) -> Log | None:
    """The valid frames of a log, or None where there is no log."""
    data = path.read_bytes() if path.exists() else b""
    if len(data) < HEADER:
        return None
    page = int(struct.unpack(">I", data[8:12])[0])
    salts = data[16:24]
    ends: list[int] = []
    commits: list[int] = []
    pages: list[int] = []
    for start in range(HEADER, len(data) - FRAME - page + 1, FRAME + page):
        number, size = struct.unpack(">II", data[start : start + 8])
        if data[start + 8 : start + 16] != salts:
            break
        if size:
            commits.append(len(ends))
        ends.append(start + FRAME + page)
        pages.append(int(number))
    return Log(page, tuple(ends), tuple(commits), tuple(pages))


def power_loss(path: Path, folder: Path, random: Random) -> tuple[int, list[str]]:
    """Copies of a record left behind, each without what may be un-synced; returns how many, and what was wrong."""
    log = log_of(path.with_name(path.name + "-wal"))
    if log is None or len(log.commits) < 2:
        return 0, []
    # The last frame that was synced: of the transaction before the last; of the last one where the end is written, as
    # the log is synced before a checkpoint puts its pages into the file.
    durable = log.commits[-1 if _ended(_copy(path, folder)) else -2]
    last = [log.ends[i] for i in range(durable, len(log.ends))]
    before = _scans(_copy(path, folder))
    kept = _scans(_copy(path, folder, cut=log.ends[durable]))
    wrong: list[str] = []
    if before is None or kept is None or kept > before:
        return 2, [f"power: {kept} scans are left of {before}"]
    tries: list[tuple[str, dict[str, object]]] = [
        (f"cut at {end}", {"cut": end}) for end in random.sample(last, min(3, len(last)))
    ]
    tries.append(("cut within a page", {"cut": random.randint(log.ends[durable], log.ends[-1])}))
    torn = [i for i in range(durable + 1, len(log.ends)) if random.random() < 0.5]
    tries.append((f"torn pages {torn}", {"torn": [log.ends[i] - log.page for i in torn], "page": log.page}))
    tries.append(("checkpointed pages lost", {"lost": sorted(set(log.pages[: durable + 1])), "page": log.page}))
    for what, how in tries:
        left = _scans(_copy(path, folder, **how))  # type: ignore[arg-type]
        if left is None or not kept <= left <= before:
            wrong.append(f"power, {what}: {left} scans are left, at least {kept} of {before} were synced")
    return len(tries) + 2, wrong


def _copy(
    path: Path,
    folder: Path,
    cut: int | None = None,
    torn: list[int] | None = None,
    lost: list[int] | None = None,
    page: int = 0,
) -> Path:
    """The file and its log. cut: of the log; torn: places in it that are zeros; lost: pages of the file that are."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    data, wal = bytearray(path.read_bytes()), bytearray(path.with_name(path.name + "-wal").read_bytes())
    for place in torn or ():
        wal[place : place + page] = bytes(page)
    for number in lost or ():
        if number > 1 and number * page <= len(data):  # the first holds the header, which says that there is a log
            data[(number - 1) * page : number * page] = bytes(page)
    made = folder / path.name
    made.write_bytes(data)
    made.with_name(path.name + "-wal").write_bytes(wal[:cut] if cut is not None else wal)
    return made


def _ended(path: Path) -> bool:
    """Whether it has an end."""
    try:
        with Reader(path) as reader:
            return reader.end is not None
    except RecordFault:
        return False


def _scans(path: Path) -> int | None:
    """How many scans it has, or None where it does not open or is not whole."""
    try:
        if not verify(path).intact:
            return None
        with Reader(path) as reader:
            return reader.scan_count
    except RecordFault:
        return None
