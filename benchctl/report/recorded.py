"""What a report takes from the record besides the trail: who, where, with what, what happened, and the seal."""

from array import array
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from benchctl.core.program import Program
from benchctl.core.site import Site
from benchctl.files.bounded import from_json
from benchctl.record.assessed import beside_hashes
from benchctl.record.fault import RecordFault
from benchctl.record.reader import Reader
from benchctl.record.rows import NS
from benchctl.record.seal import Seal, broken, file_hash, read_seal
from benchctl.record.verify import verify

NAN = float("nan")
MOST_EVENTS = 20_000
CURVES = ("target_kw", "delivered_kw", "hottest_c")


@dataclass(frozen=True, slots=True)
class Told:
    """One event. at_s: since the first scan; unit: its name, or empty."""

    at_s: float
    kind: str
    unit: str
    who: str
    text: str
    data: tuple[tuple[str, Any], ...] = ()

    def get(self, key: str) -> Any:
        """A value of the event's data, or None."""
        return dict(self.data).get(key)


@dataclass(frozen=True, slots=True)
class Taken:
    """A file that the run was made from."""

    kind: str
    path: str
    sha256: str


@dataclass(slots=True)
class Recorded:
    """One run. Columns are of one length, NaN = not known. begun_ns: wall clock of the first scan."""

    name: str
    meta: dict[str, str]
    condition: str
    outcome: str
    site: Site
    program: Program | None
    scan_period_s: float
    scans: int
    begun_ns: int
    sha256: str
    sealed: str = ""  # when, or empty: it is not
    altered: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    totals: dict[str, Any] = field(default_factory=dict)
    files: tuple[Taken, ...] = ()
    events: tuple[Told, ...] = ()
    more_events: int = 0
    gaps: tuple[str, ...] = ()
    serials: dict[str, str] = field(default_factory=dict)  # that devices told, by their name
    beside: dict[str, str] = field(default_factory=dict)  # SHA-256 of captures and late entries, by their name
    t_s: "array[float]" = field(default_factory=lambda: array("d"))
    target_kw: "array[float]" = field(default_factory=lambda: array("d"))
    delivered_kw: "array[float]" = field(default_factory=lambda: array("d"))
    hottest_c: "array[float]" = field(default_factory=lambda: array("d"))

    @property
    def rehearsal(self) -> bool:
        """True where the units were simulated."""
        return self.meta.get("kind") == "rehearsal"

    @property
    def begun(self) -> datetime:
        """The first scan, with the offset that the run was begun with."""
        started = datetime.fromisoformat(self.meta["started"])
        return datetime.fromtimestamp(self.begun_ns / NS, started.tzinfo)

    def of(self, *kinds: str) -> tuple[Told, ...]:
        """The events of some kinds."""
        return tuple(event for event in self.events if event.kind in kinds)


def recorded(path: Path) -> Recorded:
    """Read a run. Raises RecordFault."""
    digest = file_hash(path)
    seal = _seal(path)
    # a file that fits its seal needs no walk along its chains
    found = None if seal is not None and not broken(path, seal, digest) else verify(path)
    with Reader(path) as reader:
        settings, end = reader.settings, reader.end
        columns = _columns(reader)
        run = Recorded(
            path.stem,
            reader.meta,
            reader.condition,
            end.outcome if end else "",
            settings.site,
            settings.program,
            settings.scan_period_s,
            len(columns[0]),
            next((ns for (ns,) in reader.columns("wall_ns")), 0),
            digest,
            seal.sealed if seal else "",
            found.altered if found else (),
            found.notes if found else (),
            end.totals if end else {},
            tuple(Taken(f.kind, f.path, f.sha256) for f in reader.files),
            gaps=tuple(f"scans {g.first_scan} to {g.last_scan} are missing: {g.text}" for g in reader.gaps),
            serials=_serials(reader, settings.site),
            beside=beside_hashes(path),
        )
        run.t_s, run.target_kw, run.delivered_kw, run.hottest_c = columns
        first_s = next((now_s for (now_s,) in reader.columns("now_s")), 0.0)
        run.events, run.more_events = _events(reader, settings.site, first_s)
    return run


def _seal(path: Path) -> Seal | None:
    """The seal; one that cannot be understood is none, and `verify` tells why."""
    try:
        return read_seal(path)
    except RecordFault:
        return None


def _columns(reader: Reader) -> tuple["array[float]", ...]:
    made = tuple(array("d") for _ in range(1 + len(CURVES)))
    first_s = None
    for now_s, *values in reader.columns("now_s", *CURVES):
        first_s = now_s if first_s is None else first_s
        made[0].append(now_s - first_s)
        for column, value in zip(made[1:], values, strict=True):
            column.append(NAN if value is None else value)
    return made


def _events(reader: Reader, site: Site, first_s: float) -> tuple[tuple[Told, ...], int]:
    told: list[Told] = []
    more = 0
    for event in reader.events():
        if len(told) == MOST_EVENTS:
            more += 1
            continue
        unit = site.units[event.unit].name if 0 <= event.unit < len(site.units) else ""
        told.append(Told(event.now_s - first_s, event.kind, unit, event.who, event.text, _data(event.data)))
    return tuple(told), more


def _data(text: str) -> tuple[tuple[str, Any], ...]:
    try:
        return tuple((str(key), value) for key, value in from_json(text))
    except (ValueError, TypeError):
        return ()


def _serials(reader: Reader, site: Site) -> dict[str, str]:
    """What the devices said in the last state that the record holds; identities are read seldom."""
    found: dict[str, str] = {}
    state = None
    for n in reversed(reader.states()):
        state = reader.state(n)
        if state is not None:
            break
    if state is None:
        return found
    for unit, kept in zip(site.units, state.units, strict=False):
        found[unit.name] = kept.serial or (kept.last.serial or "")
    for instrument, heard in zip(site.instruments, state.instruments, strict=False):
        found[instrument.name] = heard.last.serial or ""
    return {name: serial for name, serial in found.items() if serial}
