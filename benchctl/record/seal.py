"""The seal: the closed record's hash, kept beside it. `sha256sum RUN` gives the same figure."""

import hashlib
import json
import os
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from benchctl.record.fault import RecordFault

ALGORITHM = "sha256"


@dataclass(frozen=True, slots=True)
class Seal:
    """What the seal file says."""

    file: str
    algorithm: str
    hash: str
    size_bytes: int
    sealed: str  # ISO 8601 with offset


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
    seal = Seal(path.name, ALGORITHM, file_hash(path), path.stat().st_size, now)
    text = json.dumps({name: getattr(seal, name) for name in Seal.__slots__}, indent=2) + "\n"
    half_done = path.with_name(path.name + ".seal.part")
    with half_done.open("w", encoding="utf-8") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())
    half_done.replace(seal_path(path))
    return seal


def read_seal(path: Path) -> Seal | None:
    """The seal of a record, or None where there is none. Raises RecordFault when it cannot be understood."""
    try:
        data = json.loads(seal_path(path).read_text(encoding="utf-8"))
        seal = Seal(**data)
    except FileNotFoundError:
        return None
    except OSError as fault:
        raise RecordFault(f"{seal_path(path)}: cannot be read: {fault.strerror}") from None
    except (ValueError, TypeError):
        raise RecordFault(f"{seal_path(path)}: not a seal: expected {', '.join(Seal.__slots__)} as JSON") from None
    if seal.algorithm != ALGORITHM:
        raise RecordFault(f"{seal_path(path)}: algorithm {seal.algorithm!r}, expected {ALGORITHM!r}")
    return seal
