"""What the publisher is given to tell, and what it stamps it with."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from benchctl.core.shown import Snapshot
from benchctl.mqtt.payloads import SCHEMA, Judged


@dataclass(frozen=True, slots=True)
class Terms:
    """How a bench is told of, beside its site."""

    rehearsal: bool
    version: str
    snapshot_s: float
    scan_period_s: float


@dataclass(frozen=True, slots=True)
class Stamp:
    """What a payload's head says. seq: of its kind; sent_at: now."""

    session: str
    seq: int
    sent_at: str

    def head(self, at: str | None) -> dict[str, Any]:
        """The keys of a head."""
        return {"schema": SCHEMA, "session": self.session, "seq": self.seq, "sent_at": self.sent_at, "at": at}


@dataclass(frozen=True, slots=True)
class Heard:
    """One scan, and the run that it belongs to (a name, or empty)."""

    shown: Snapshot
    run: str = ""


@dataclass(frozen=True, slots=True)
class Told:
    """An event; wall_s: seconds since 1970, bench_s: of the bench's own time."""

    scan: int
    wall_s: float
    bench_s: float
    what: str
    text: str
    unit: str = ""
    who: str = ""
    data: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Ran:
    """A run as far as it is known. wall_s: seconds since 1970, of what is told; verdicts None: not judged (yet)."""

    run: str
    wall_s: float
    program: str = ""
    in_hand: bool = True
    outcome: str = ""
    sealed: bool | None = None
    problem: str = ""
    totals: Mapping[str, Any] | None = None
    verdicts: tuple[Judged, ...] | None = None
