"""What lies beside a sealed record, never in it, and names its hash: verdicts, captures, late entries."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from benchctl.capture.store import CaptureFault, captures_of, load
from benchctl.files.bounded import from_json
from benchctl.record.assessed import beside_hashes, changed, verdicts_path
from benchctl.record.fault import RecordFault
from benchctl.record.late import late_path, read_late


@dataclass(frozen=True, slots=True)
class Beside:
    """One file. kind: "verdicts", "capture" or "late entries"; told: what is in it; fault: why it is not to be used."""

    path: Path
    kind: str
    told: str = ""
    fault: str = ""

    @property
    def name(self) -> str:
        """Its name, as seen from the record's folder."""
        parent = self.path.parent
        return f"{parent.name}/{self.path.name}" if self.kind == "capture" else self.path.name

    @property
    def digest(self) -> str:
        """SHA-256 of the file. Raises OSError."""
        return hashlib.sha256(self.path.read_bytes()).hexdigest()


def beside(record: Path, digest: str) -> tuple[Beside, ...]:
    """All that lies beside a record, by kind and name. digest: the record's own hash."""
    return (*_verdicts(record, digest), *_captures(record, digest), *_late(record, digest))


def _stranger(named: str, digest: str) -> str:
    return "" if named == digest else f"belongs to another record: it names the hash {named[:16]}…"


def _verdicts(record: Path, digest: str) -> Iterator[Beside]:
    path = verdicts_path(record)
    try:
        text = path.read_text(encoding="utf-8")
        altered = changed(text)
        data = from_json(text)
        told = ", ".join(f"{rules['name']} {rules['outcome']}" for rules in data["rule_sets"])
        named = str(data["hash"])
        if data.get("beside", {}) != beside_hashes(record):
            told += "; assessed with other captures or late entries than lie here now"
    except FileNotFoundError:
        return
    except (OSError, ValueError, KeyError, TypeError) as fault:
        yield Beside(path, "verdicts", fault=f"cannot be read: {fault}")
        return
    fault_told = "altered after it was kept" if altered else _stranger(named, digest)
    yield Beside(path, "verdicts", told, fault_told)


def _captures(record: Path, digest: str) -> Iterator[Beside]:
    for path in captures_of(record):
        try:
            found = load(path)
        except CaptureFault as fault:
            yield Beside(path, "capture", fault=str(fault).removeprefix(f"{path}: "))
            continue
        told = f"of {found.recording['file']}, {found.aligned.told}"
        yield Beside(path, "capture", told, _stranger(found.hash, digest))


def _late(record: Path, digest: str) -> Iterator[Beside]:
    path = late_path(record)
    try:
        found = read_late(record)
    except RecordFault as fault:
        yield Beside(path, "late entries", fault=str(fault).removeprefix(f"{path}: "))
        return
    if found is not None:
        count = len(found.entries)
        told = f"{count} {'entry' if count == 1 else 'entries'}, the last one's h is {found.head[:16]}…"
        yield Beside(path, "late entries", told, _stranger(found.hash, digest))
