"""A recording's file → a capture of a run: read, turned into curves, laid over the run."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from benchctl.assessment.trail import Trail
from benchctl.capture.align import Aligned, AlignFault, Moved, by_clock, by_step, by_word, moves, moves_of
from benchctl.capture.comtrade_form import data_file, read_comtrade
from benchctl.capture.csv_form import read_csv
from benchctl.capture.curves import curves_of
from benchctl.capture.recording import Recording
from benchctl.capture.store import Capture, capture_of, facts
from benchctl.files.fault import FileFault, Flaw
from benchctl.files.mapping import Mapping

LEAST_STEP = 0.1  # of nameplate: smaller changes of a run's kW are no load step; CPNS
SCANS = 3  # within which a block shows in the kW of a meter
COMTRADE = (".cfg", ".cff")


@dataclass(frozen=True, slots=True)
class Wish:
    """How to lay it over the run. align: "time", "step", or None = by the step if it shows one, else by time."""

    align: str | None = None
    offset_s: float | None = None


def made(
    path: Path, mapping: Mapping | None, trail: Trail, record_hash: str, name: str, phases: int, wish: Wish
) -> Capture:
    """A capture of the run of this trail. Raises FileFault for the recording, AlignFault, OSError."""
    recording = read_recording(path, mapping)
    try:
        curves, notes = curves_of(recording, trail.rated_hz, phases)
    except ValueError as fault:
        raise FileFault([Flaw(str(path), 0, 0, str(fault))]) from None
    run_s = trail.t_s[-1] if trail.t_s else 0.0
    aligned = _aligned(recording, moves_of(curves), recorded_moves(trail), trail.began, run_s, wish)
    if aligned.offset_s > run_s or aligned.offset_s + recording.length_s < 0.0:
        raise AlignFault(
            f"a recording that begins at {aligned.offset_s:g} s has no time in common with the run of {run_s:.0f} s"
        )
    files = [path, *([data_file(path)] if path.suffix.lower() == ".cfg" else [])]
    about = facts(recording, files) | {"mapping": mapping.name if mapping else None}
    return capture_of(name, record_hash, about, curves, aligned, (*recording.notes, *notes))


def read_recording(path: Path, mapping: Mapping | None) -> Recording:
    """COMTRADE by its extension, else CSV, which needs a mapping. Raises FileFault, OSError."""
    kind = path.suffix.lower()
    if not path.is_file():
        raise FileFault([Flaw(str(path), 0, 0, "no such file")])
    if kind in COMTRADE:
        return read_comtrade(path, mapping)
    if kind == ".dat":
        raise FileFault([Flaw(str(path), 0, 0, "is the data part of a COMTRADE recording: name its .cfg file")])
    if mapping is None:
        raise FileFault(
            [Flaw(str(path), 0, 0, "a table needs a mapping that says what its columns mean: --map MAPPING")]
        )
    return read_csv(path, mapping)


def recorded_moves(trail: Trail) -> tuple[Moved, ...]:
    """The load steps that the run's own kW show, each between two scans."""
    return moves(trail.t_s, trail.power_kw, SCANS, LEAST_STEP * trail.nameplate_kw)


def _aligned(
    recording: Recording, shown: Sequence[Moved], recorded: Sequence[Moved], began: str, run_s: float, wish: Wish
) -> Aligned:
    begun = datetime.fromisoformat(began)
    started, zone = recording.started, "each with its zone"
    if started is not None and started.tzinfo is None:
        started = started.replace(tzinfo=begun.tzinfo)
        zone = f"the recorder's zone is not known, the run's ({begun:%z}) is taken"
    clock_s = None if started is None else (started - begun).total_seconds()
    if wish.align == "time":
        if wish.offset_s is not None:
            raise AlignFault("--offset says already where the recording begins: leave --align time away")
        if clock_s is None:
            raise AlignFault("the recording does not say when it was made: align it by the step, or state --offset")
        return by_clock(clock_s, recording.length_s, run_s, zone)
    if wish.align == "step":
        return by_step(shown, recorded, clock_s if wish.offset_s is None else wish.offset_s)
    if wish.offset_s is not None:
        return by_word(wish.offset_s)
    try:
        return by_step(shown, recorded, clock_s)
    except AlignFault as fault:
        if clock_s is None:
            raise AlignFault(f"{fault}; and it does not say when it was made") from None
        return by_clock(clock_s, recording.length_s, run_s, zone)
