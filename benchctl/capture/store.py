"""Captures beside the record that they belong to: RECORD.captures/NAME.json, with the hashes of both. Never in it."""

import hashlib
import json
import math
from array import array
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from benchctl.assessment.trail import Trace
from benchctl.capture.align import Aligned, moves_of
from benchctl.capture.curves import Curve
from benchctl.capture.recording import Recording
from benchctl.core.ruleset import Quantity
from benchctl.files.bounded import from_json

FORMAT = 1
POINTS = 600  # of a thinned curve, as many least and greatest values: enough for any page
DIGITS = 6


class CaptureFault(Exception):  # noqa: N818 - the house calls what is wrong a fault
    """A capture cannot be kept or read. str() is one line that names the file."""


@dataclass(frozen=True, slots=True)
class Capture:
    """A recording laid over a run. hash: of the record; the recording's own facts are those of the JSON file.

    curves count time from the recording's first sample, which is at aligned.offset_s of the run; switched_s are
    instants of load steps that it shows itself, in the run's time.
    """

    name: str
    hash: str
    recording: dict[str, Any]
    aligned: Aligned
    switched_s: tuple[float, ...]
    notes: tuple[str, ...]
    curves: tuple[Curve, ...]
    content_hash: str = ""  # of the file that it was read from

    def traces(self) -> tuple[Trace, ...]:
        """Its curves in the run's time, as assessment takes them."""
        mark = f" (sha256 {self.content_hash[:16]})" if self.content_hash else ""
        told = f"capture {self.name}{mark} of {self.recording['file']}, {self.aligned.told}"
        return tuple(
            Trace(
                c.name,
                c.quantity,
                array("d", [t + self.aligned.offset_s for t in c.t_s]),
                c.values,
                c.refresh_s,
                c.window_s,
                self.aligned.doubt_s,
                self.switched_s,
                told,
            )
            for c in self.curves
        )


def captures_folder(record: Path) -> Path:
    """Where the captures of a record are."""
    return record.with_name(record.name + ".captures")


def captures_of(record: Path) -> tuple[Path, ...]:
    """The captures of a record, by name."""
    folder = captures_folder(record)
    return tuple(sorted(folder.glob("*.json"))) if folder.is_dir() else ()


def facts(recording: Recording, files: Sequence[Path]) -> dict[str, Any]:
    """What is kept of a recording besides its curves. files: the first is the one that was named."""
    return {
        "file": recording.file,
        "form": recording.form,
        "started": recording.started.isoformat() if recording.started else None,
        "length_s": round(recording.length_s, DIGITS),
        "samples": len(recording.t_s),
        "samples_per_second": round(1.0 / recording.spacing_s, DIGITS) if recording.spacing_s else None,
        "files": [_hashed(file) for file in files],
    }


def capture_of(
    name: str,
    record_hash: str,
    about: dict[str, Any],
    curves: tuple[Curve, ...],
    aligned: Aligned,
    notes: Sequence[str],
) -> Capture:
    """A capture, with the load steps that its curves show."""
    switched = tuple(round(m.at_s + aligned.offset_s, DIGITS) for m in moves_of(curves))
    return Capture(name, record_hash, about, aligned, switched, tuple(notes), curves)


def save(record: Path, capture: Capture) -> Path:
    """Keep a capture; the same bytes each time. Raises CaptureFault where one of that name is there, OSError."""
    target = captures_folder(record) / f"{capture.name}.json"
    if target.exists():
        raise CaptureFault(f"{target}: is there already; give this one another name with --name")
    times: list[array[float]] = []
    rows = []
    for curve in capture.curves:
        if not any(curve.t_s is t for t in times):
            times.append(curve.t_s)
        rows.append(
            {
                "name": curve.name,
                "quantity": curve.quantity.value,
                "of": curve.of,
                "refresh_s": curve.refresh_s,
                "window_s": curve.window_s,
                "times": next(k for k, t in enumerate(times) if t is curve.t_s),
                "values": _plain(curve.values),
                "thinned": thinned(curve),
            }
        )
    data = {
        "format": FORMAT,
        "record": {"file": record.name, "algorithm": "sha256", "hash": capture.hash},
        "recording": capture.recording,
        "aligned": asdict(capture.aligned),
        "switched_s": capture.switched_s,
        "notes": capture.notes,
        "times": [_plain(t) for t in times],
        "curves": rows,
    }
    data["content_hash"] = content_hash(data)
    target.parent.mkdir(exist_ok=True)
    half_done = target.with_name(target.name + ".part")
    half_done.write_text(_text(data), encoding="utf-8")
    half_done.replace(target)
    return target


def load(path: Path) -> Capture:
    """A capture that was kept. Raises CaptureFault."""
    try:
        text = path.read_text(encoding="utf-8")
        data = from_json(text)
        if text != _text(data):
            raise CaptureFault(f"{path}: was changed after it was kept: it is not as it was written")
        return _built(path, data)
    except OSError as fault:
        raise CaptureFault(f"{path}: cannot be read: {fault.strerror}") from None
    except (ValueError, KeyError, TypeError, IndexError, AttributeError) as fault:
        raise CaptureFault(f"{path}: is no capture: {type(fault).__name__} {fault}") from None


def _built(path: Path, data: Any) -> Capture:
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise CaptureFault(f"{path}: is no capture of form {FORMAT}")
    kept = data.pop("content_hash")
    if kept != content_hash(data):
        raise CaptureFault(f"{path}: was changed after it was kept: its content does not have its hash")
    times = [_known(t) for t in data["times"]]
    curves = tuple(
        Curve(
            Quantity(c["quantity"]),
            str(c["of"]),
            times[c["times"]],
            _known(c["values"]),
            float(c["refresh_s"]),
            float(c["window_s"]),
        )
        for c in data["curves"]
    )
    if any(len(c.t_s) != len(c.values) for c in curves):
        raise CaptureFault(f"{path}: a curve has more times than values, or fewer")
    found = Capture(
        path.stem,
        str(data["record"]["hash"]),
        dict(data["recording"]),
        Aligned(**data["aligned"]),
        tuple(float(s) for s in data["switched_s"]),
        tuple(data["notes"]),
        curves,
        kept,
    )
    found.traces()  # whatever is not of its kind shows here
    return found


def traces_beside(record: Path) -> tuple[tuple[Trace, ...], tuple[str, ...]]:
    """Traces of all captures of a record, and, in sentences, which of them are not used and why."""
    paths = captures_of(record)
    traces: list[Trace] = []
    left_out: list[str] = []
    record_hash = _hashed(record)["hash"] if paths else ""
    for path in paths:
        try:
            capture = load(path)
        except CaptureFault as fault:
            left_out.append(str(fault))
            continue
        if capture.hash != record_hash:
            left_out.append(
                f"{path}: belongs to a record with another hash; this record was altered after it, or is another"
            )
            continue
        traces += capture.traces()
    return tuple(traces), tuple(left_out)


def content_hash(data: dict[str, Any]) -> str:
    """Of everything else in the file, so that a change is noticed; trust comes from the hash in a signed report."""
    return hashlib.sha256(json.dumps(data, ensure_ascii=True, allow_nan=False).encode()).hexdigest()


def _text(data: Any) -> str:
    return json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n"


def thinned(curve: Curve, points: int = POINTS) -> list[tuple[float, float]]:
    """The least and the greatest known value of each stretch, in order: at most so many points, all of them real."""
    known = [(t, v) for t, v in zip(curve.t_s, curve.values, strict=True) if not math.isnan(v)]
    each = max(1, -(-2 * len(known) // points))
    if each <= 2:
        return [(round(t, DIGITS), round(v, DIGITS)) for t, v in known[::1]]
    kept: list[tuple[float, float]] = []
    for k in range(0, len(known), each):
        part = known[k : k + each]
        kept += sorted({min(part, key=_value), max(part, key=_value)})
    return [(round(t, DIGITS), round(v, DIGITS)) for t, v in kept]


def _value(point: tuple[float, float]) -> float:
    return point[1]


def _plain(values: "array[float]") -> list[float | None]:
    return [None if math.isnan(v) else round(v, DIGITS) for v in values]


def _known(values: Sequence[float | None]) -> "array[float]":
    return array("d", [math.nan if v is None else v for v in values])


def _hashed(path: Path) -> dict[str, Any]:
    with path.open("rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    return {"file": path.name, "size_bytes": path.stat().st_size, "algorithm": "sha256", "hash": digest}
