"""The runs' folder for a screen: its runs as rows, and one of them opened. Read in a thread, a little at a time.

The rows and what an open run holds are told in `tui/view/runs.py`. A record that cannot be read is a row with `fault`.
"""

import asyncio
import time
from collections.abc import Iterator
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Any

from benchctl.record.fault import RecordFault
from benchctl.record.reader import CURVE, Happened, Reader
from benchctl.record.rows import NS
from benchctl.record.runs import runs_in
from benchctl.record.seal import read_seal

SLICE = 200  # events, or a run, between two pauses
PAUSE_S = 0.002  # so that whoever draws meanwhile is not held up
MOST_EVENTS = 5000
MOST_RUNS = 500


async def runs(folder: Path) -> list[dict[str, Any]]:
    """The newest runs of a folder, the newest first."""
    return await asyncio.to_thread(_runs, folder)


async def run(folder: Path, name: str) -> dict[str, Any]:
    """One of them, with its events and its trend."""
    return await asyncio.to_thread(_run, folder, name)


def _runs(folder: Path) -> list[dict[str, Any]]:
    rows = []
    for path in reversed(runs_in(folder)[-MOST_RUNS:]):
        rows.append(row(path))
        time.sleep(PAUSE_S)
    return sorted(rows, key=_begun_s, reverse=True)


def _begun_s(found: dict[str, Any]) -> float:
    """When it was begun; of a record that does not say, when its file was last written, which a copy may change."""
    try:
        return datetime.fromisoformat(found.get("started", "")).timestamp()
    except ValueError:
        path = Path(found["path"])
        return path.stat().st_mtime if path.exists() else 0.0


def row(path: Path) -> dict[str, Any]:
    """A run in a line."""
    try:
        with Reader(path) as reader:
            return _row(reader)
    except (RecordFault, OSError) as fault:
        return {"run": path.stem, "path": str(path), "fault": _short(fault, path)}


def _row(reader: Reader) -> dict[str, Any]:
    end, meta = reader.end, reader.meta
    totals = end.totals if end else {}
    return {
        "run": reader.path.stem,
        "path": str(reader.path),
        "kind": meta.get("kind", ""),
        "site": meta.get("site", ""),
        "program": meta.get("program", ""),
        "started": meta.get("started", ""),
        "condition": reader.condition,
        "outcome": end.outcome if end else None,
        "peak_kw": totals.get("delivered_peak_kw"),
        "sealed": read_seal(reader.path) is not None,
    }


def _run(folder: Path, name: str) -> dict[str, Any]:
    path = next((p for p in runs_in(folder) if p.stem == name), None)
    if path is None:
        return {"run": name, "fault": f"there is no such run in {folder} any more"}
    try:
        with Reader(path) as reader:
            return _row(reader) | _opened(reader)
    except (RecordFault, OSError) as fault:
        return {"run": name, "path": str(path), "fault": _short(fault, path)}


def _opened(reader: Reader) -> dict[str, Any]:
    end, curve = reader.end, reader.curve()
    names = _unit_names(reader)
    begun_s = curve[0][0] or 0.0 if curve else 0.0
    events = reader.events()
    told: list[tuple[str, float, str, str, str, str]] = []
    while len(told) < MOST_EVENTS and (some := list(islice(events, SLICE))):
        told += [_event(event, names, begun_s) for event in some]
        time.sleep(PAUSE_S)
    took_s = (curve[-1][0] or 0.0) - begun_s if curve else None
    known = [kw for _, _, kw, *_ in curve if kw is not None]
    opened: dict[str, Any] = {
        "events": told,
        "left_out": _rest(events),
        "gaps": [f"scans {g.first_scan} to {g.last_scan} are missing: {g.text}" for g in reader.gaps],
        "totals": dict(end.totals) if end else {},
        "took_s": took_s,
        "trend": {"columns": list(CURVE), "rows": curve},
    }
    return opened if end else opened | {"peak_kw": max(known, default=None)}


def _event(event: Happened, names: list[str], begun_s: float) -> tuple[str, float, str, str, str, str]:
    unit = names[event.unit] if 0 <= event.unit < len(names) else ""
    clock = datetime.fromtimestamp(event.wall_ns / NS).astimezone().strftime("%H:%M:%S")
    return clock, event.now_s - begun_s, event.kind, unit, event.text, event.who


def _unit_names(reader: Reader) -> list[str]:
    """Names of the units; none where the settings are damaged: the events can be read all the same."""
    try:
        return [unit.name for unit in reader.settings.site.units]
    except RecordFault:
        return []


def _rest(events: Iterator[Happened]) -> int:
    count = 0
    while some := len(list(islice(events, SLICE))):
        count += some
        time.sleep(PAUSE_S)
    return count


def _short(fault: Exception, path: Path) -> str:
    return str(fault).removeprefix(f"{path}: ")
