"""The seal: the closed record's hash, kept beside it. `sha256sum RUN` gives the same figure."""

import hashlib
import json
import os
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path

from benchctl.files.bounded import from_json
from benchctl.record.fault import RecordFault

ALGORITHM = "sha256"
LOGS = ("-wal", "-journal")  # of SQLite: what they hold would be read as if it were in the record


@dataclass(frozen=True, slots=True)
class Seal:
    """What the seal file says. check: hash of the rest of it, empty in seals of before there was one."""

    file: str
    algorithm: str
    hash: str
    size_bytes: int
    sealed: str  # ISO 8601 with offset
    check: str = ""


def seal_path(path: Path) -> Path:
    """Where a record's seal is."""
    return path.with_name(path.name + ".seal")


def file_hash(path: Path) -> str:
    """SHA-256 of a file in hexadecimal digits."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, ALGORITHM).hexdigest()


def write_seal(path: Path) -> Seal:
    """Seal a closed record. Raises OSError."""
    now = datetime.now().astimezone().isoformat(timespec="seconds")
    bare = Seal(path.name, ALGORITHM, file_hash(path), path.stat().st_size, now)
    seal = replace(bare, check=_check(bare))
    half_done = path.with_name(path.name + ".seal.part")
    with half_done.open("w", encoding="utf-8") as stream:
        stream.write(_text(seal))
        stream.flush()
        os.fsync(stream.fileno())
    half_done.replace(seal_path(path))
    return seal


def read_seal(path: Path) -> Seal | None:
    """The seal of a record, or None where there is none. Raises RecordFault when it cannot be understood."""
    try:
        text = seal_path(path).read_text(encoding="utf-8")
        seal = Seal(**from_json(text))
    except FileNotFoundError:
        return None
    except OSError as fault:
        raise RecordFault(f"{seal_path(path)}: cannot be read: {fault.strerror}") from None
    except (ValueError, TypeError):
        raise RecordFault(f"{seal_path(path)}: not a seal: expected {', '.join(Seal.__slots__)} as JSON") from None
    if seal.algorithm != ALGORITHM:
        raise RecordFault(f"{seal_path(path)}: algorithm {seal.algorithm!r}, expected {ALGORITHM!r}")
    if text != _text(seal) or (seal.check and seal.check != _check(seal)):
        raise RecordFault(f"{seal_path(path)}: the seal was changed after it was written")
    return seal


def broken(path: Path, seal: Seal, digest: str) -> str:
    """What contradicts the seal, in words, or nothing. digest: the record's hash. Raises OSError."""
    size_bytes = path.stat().st_size
    if size_bytes != seal.size_bytes:
        return f"size {size_bytes} bytes, sealed with {seal.size_bytes}"
    if digest != seal.hash:
        return "the file's hash is not the sealed one"
    logs = [path.with_name(path.name + ending) for ending in LOGS]
    there = [log.name for log in logs if log.is_file() and log.stat().st_size]
    return f"{there[0]} beside it is not of the sealed record, and may change what is read of it" if there else ""


def _text(seal: Seal) -> str:
    told = {name: value for name, value in asdict(seal).items() if name != "check" or value}
    return json.dumps(told, indent=2) + "\n"


def _check(seal: Seal) -> str:
    told = {name: value for name, value in asdict(seal).items() if name != "check"}
    return hashlib.sha256(json.dumps(told).encode()).hexdigest()
