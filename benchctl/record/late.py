"""Readings and remarks that were entered after the record was sealed: RECORD.late.jsonl, beside it and never in it.

The first line names the record and its hash; each other line is one entry, never changed and never taken out. Every
line ends with h = SHA-256(h of the line before, the line's JSON without h), so that whatever is altered is found, and
a report that was drawn when there were fewer entries still names the h of its last one.
"""

import hashlib
import os
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, fields, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from benchctl.assessment.trail import Entry, Noted
from benchctl.core.readings import LATEST_S, values_of
from benchctl.files.bounded import from_json
from benchctl.record.codec import compact
from benchctl.record.deeds import Deeds, numbers
from benchctl.record.fault import RecordFault
from benchctl.record.reader import Reader
from benchctl.record.rows import NS, words
from benchctl.record.seal import ALGORITHM, broken, file_hash, read_seal

FORMAT = 1
PATIENCE_S = 5.0  # for another process that adds an entry to the same record
NOT_USED = "late entries not used"  # what an entry of the trail says where that is so


@dataclass(frozen=True, slots=True)
class Late:
    """One entry: a reading (number counts on from the record's), a correction of one, or a remark (number 0).

    at: when it was true, ISO 8601 with offset; empty in a correction that keeps the reading's time. values: as typed,
    "name=value; name=value". entered: when it was typed.
    """

    number: int
    corrects: bool
    at: str
    values: str
    remark: str
    who: str
    why: str
    entered: str

    @property
    def told(self) -> str:
        """How it is marked wherever it is used."""
        return f"entered late on {self.entered} by {self.who}: {self.why}"


@dataclass(frozen=True, slots=True)
class Lates:
    """All entries of a record. hash: of the record that they belong to; head: h of the last line."""

    hash: str
    entries: tuple[Late, ...]
    head: str


def late_path(record: Path) -> Path:
    """Where the late entries of a record are."""
    return record.with_name(record.name + ".late.jsonl")


def read_late(record: Path) -> Lates | None:
    """The late entries of a record, None where there are none. Raises RecordFault: altered, or not of our form."""
    path = late_path(record)
    try:
        text = path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        return None
    except OSError as fault:
        raise RecordFault(f"{path}: cannot be read: {fault.strerror}") from None
    except UnicodeDecodeError as fault:
        raise RecordFault(f"{path}: line {1 + fault.object[: fault.start].count(10)}: is no text") from None
    lines = text.split("\n")
    if lines.pop():
        raise RecordFault(f"{path}: line {len(lines) + 1}: does not end: cut off, or altered")
    head, found = "", []
    for number, line in enumerate(lines, 1):
        told = _told(path, number, line)
        if told.pop("h", None) != (head := _link(head, told)) or compact(told | {"h": head}) != line:
            raise RecordFault(f"{path}: line {number}: altered: it does not have its hash")
        found.append(told)
    return _built(path, found, head)


def late_beside(record: Path) -> tuple[tuple[Late, ...], tuple[str, ...]]:
    """The late entries that may be used, and, in a sentence, why the others may not."""
    try:
        found = read_late(record)
    except RecordFault as fault:
        return (), (str(fault),)
    if found is None:
        return (), ()
    if found.hash != file_hash(record):
        other = "belongs to a record with another hash; this record was altered after it, or is another"
        return (), (f"{late_path(record)}: {other}",)
    return found.entries, ()


def add(record: Path, entry: Late) -> Late:
    """Keep an entry, with its number; the entries before stay as they are.

    entry.number: which reading it corrects; else it is not asked. Raises RecordFault: the record is not closed or not
    sealed or altered, what lies beside it belongs to another, or the entry cannot be true.
    """
    path = late_path(record)
    try:
        with FileLock(path.with_name(path.name + ".lock"), timeout=PATIENCE_S):
            return _add(record, path, entry)
    except Timeout:
        raise RecordFault(f"{path}: another process is adding to it") from None
    except OSError as fault:
        raise RecordFault(f"{path}: cannot be written: {fault.strerror or fault}") from None


def _add(record: Path, path: Path, entry: Late) -> Late:
    digest = _sealed(record)
    before = read_late(record)
    if before is not None and before.hash != digest:
        raise RecordFault(f"{path}: belongs to a record with another hash, nothing is added to it")
    with Reader(record) as reader:
        entry = _checked(reader, before.entries if before else (), entry)
    lines = path.read_bytes().decode("utf-8") if before else ""
    head = before.head if before else ""
    if not before:
        first = {"format": FORMAT, "file": record.name, "algorithm": ALGORITHM, "hash": digest}
        head = _link("", first)
        lines = compact(first | {"h": head}) + "\n"
    told = asdict(entry)
    lines += compact(told | {"h": _link(head, told)}) + "\n"
    half_done = path.with_name(path.name + ".part")
    with half_done.open("w", encoding="utf-8", newline="") as stream:
        stream.write(lines)
        stream.flush()
        os.fsync(stream.fileno())
    half_done.replace(path)
    return entry


def _sealed(record: Path) -> str:
    """The hash of a record that is closed, sealed and unaltered. Raises RecordFault for any other."""
    with Reader(record) as reader:
        if reader.condition != "closed":
            raise RecordFault(f"{record}: the run is {reader.condition}: enter it there; late entries are for later")
    digest = file_hash(record)
    seal = read_seal(record)
    if seal is None:
        raise RecordFault(f"{record}: is not sealed: a late entry must name a record that does not change any more")
    if why := broken(record, seal, digest):
        raise RecordFault(f"{record}: was altered after it was sealed ({why}): nothing can be added to it")
    return digest


def _checked(reader: Reader, before: Sequence[Late], entry: Late) -> Late:
    """The entry with its number, all its texts such as can be kept. Raises RecordFault in words."""
    texts: dict[str, Any] = {f.name: words(getattr(entry, f.name).strip()) for f in fields(Late) if f.type is str}
    entry = replace(entry, **texts)
    for name, text in (("who", entry.who), ("why", entry.why)):
        if not text:
            raise RecordFault(f"{name}: found nothing, expected who enters it late, and why")
    if bool(entry.values) == bool(entry.remark):
        raise RecordFault("found neither a reading nor a remark, or both; expected one of them")
    known = {*numbers(reader), *(one.number for one in before if one.number)}
    if entry.corrects and entry.number not in known:
        taken = ", ".join(map(str, sorted(known))) or "none"
        raise RecordFault(f"reading {entry.number}: not taken, cannot be corrected; taken: {taken}")
    if entry.values and isinstance(wrong := values_of(entry.values), str):
        raise RecordFault(wrong)
    if not entry.at and not entry.corrects:
        raise RecordFault("found no time, expected when it was read")
    if entry.at:
        _true(reader, entry)
    number = entry.number if entry.corrects else 0 if entry.remark else max(known, default=0) + 1
    return replace(entry, number=number)


def _true(reader: Reader, entry: Late) -> None:
    """Whether the time can be true. Raises RecordFault."""
    try:
        at = datetime.fromisoformat(entry.at)
    except ValueError:
        raise RecordFault(f"time: found {entry.at!r}, expected ISO 8601 with an offset") from None
    if at.tzinfo is None:
        raise RecordFault(f"time: {entry.at} has no offset")
    low, high = reader.first_wall_ns / NS - LATEST_S, reader.last_wall_ns / NS + LATEST_S
    if not low <= at.timestamp() <= high:
        raise RecordFault(f"time: {entry.at} is more than {LATEST_S / 3600:g} h before or after the run")
    if reader.meta.get("kind") == "live" and at > datetime.fromisoformat(entry.entered):
        raise RecordFault(f"time: {entry.at} is in the future")


def amended(told: Deeds, late: Sequence[Late], elapsed_s: Callable[[int], float]) -> Deeds:
    """What people did, with what they entered late. elapsed_s: of a wall clock in nanoseconds, since the begin."""
    noted, entries = list(told.noted), list(told.entries)
    for one in late:
        at_s = elapsed_s(round(datetime.fromisoformat(one.at).timestamp() * 1e6) * 1000) if one.at else None
        if one.remark:
            entries.append(Entry(at_s or 0.0, "remark", f"{one.remark} ({one.told})", one.who))
            continue
        before = next((k for k, n in enumerate(noted) if n.number == one.number and not n.corrected), None)
        values = values_of(one.values)
        assert not isinstance(values, str)
        known: dict[str, float] = {}
        if before is not None:
            known = dict(noted[before].values)
            at_s = noted[before].at_s if at_s is None else at_s
            noted[before] = replace(noted[before], corrected=True)
        both = tuple({**known, **dict(values)}.items())
        noted.append(Noted(at_s or 0.0, one.number, both, one.who, late=one.told))
    noted.sort(key=lambda one: (one.at_s, one.number, not one.corrected))
    return replace(told, noted=tuple(noted), entries=tuple(sorted(entries, key=lambda one: one.at_s)))


def _told(path: Path, number: int, line: str) -> dict[str, Any]:
    try:
        told = from_json(line)
    except ValueError as fault:
        raise RecordFault(f"{path}: line {number}: altered: {fault}") from None
    if not isinstance(told, dict):
        raise RecordFault(f"{path}: line {number}: found {line[:40]!r}, expected an entry")
    return told


def _built(path: Path, lines: list[dict[str, Any]], head: str) -> Lates:
    first = lines[0] if lines else {}
    if first.get("format") != FORMAT or first.get("algorithm") != ALGORITHM:
        raise RecordFault(f"{path}: line 1: no late entries of format {FORMAT}")
    try:
        return Lates(str(first["hash"]), tuple(Late(**told) for told in lines[1:]), head)
    except (KeyError, TypeError) as fault:
        raise RecordFault(f"{path}: not of format {FORMAT}: {fault}") from None


def _link(before: str, told: dict[str, Any]) -> str:
    return hashlib.sha256((before + compact(told)).encode()).hexdigest()
