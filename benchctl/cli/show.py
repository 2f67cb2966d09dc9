"""`benchctl show RUN`: what was run, when, how it ended, what happened, and whether the record is as it was written."""

import argparse
from typing import TYPE_CHECKING, Any

from benchctl.cli.voice import Voice
from benchctl.cli.where import run_argument, the_run

if TYPE_CHECKING:
    from benchctl.record.reader import Reader
    from benchctl.record.verify import Verification

HELP = "show what a recorded run was and what happened in it"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's arguments."""
    run_argument(parser)


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Show a run. 1 when the record is altered, 2 when it cannot be read."""
    from benchctl.record.fault import RecordFault
    from benchctl.record.reader import Reader
    from benchctl.record.verify import verify

    try:
        path = the_run(args)
        verification = verify(path)
        with Reader(path) as reader:
            _head(reader, voice)
            _events(reader, voice)
            _end(reader, voice)
            _beside(reader, voice)
    except RecordFault as fault:
        voice.narrate(str(fault))
        return 2
    _verification(verification, voice)
    return 0 if verification.intact else 1


def _head(reader: "Reader", voice: Voice) -> None:
    voice.row(
        {
            "row": "run",
            "run": reader.path.stem,
            "path": str(reader.path),
            "condition": reader.condition,
            "scans": reader.scan_count,
            "meta": reader.meta,
        }
    )
    meta = reader.meta
    what = f"program {meta['program']}" if meta.get("program") else "load by hand"
    voice.text(f"{reader.path.stem}: {meta.get('kind')} of {what} at {meta.get('site')}, {reader.condition}")
    for key, value in meta.items():
        if key not in ("program", "kind", "site"):
            voice.text(f"  {key.replace('_', ' '):<16} {value}")
    voice.text(f"  {'scans':<16} {reader.scan_count}")
    for file in reader.files:
        voice.row({"row": "file", "kind": file.kind, "path": file.path, "sha256": file.sha256})
        voice.text(f"  {file.kind + ' file':<16} {file.path}  sha256 {file.sha256[:16]}")


def _events(reader: "Reader", voice: Voice) -> None:
    from benchctl.core.charge import named
    from benchctl.files.bounded import from_json
    from benchctl.record.export import moment

    units = _unit_names(reader)
    begun_s = next((scan.now_s for scan in reader.scans()), 0.0)
    for event in reader.events():
        unit = units[event.unit] if 0 <= event.unit < len(units) else ""
        at, elapsed_s = moment(event.wall_ns), round(event.now_s - begun_s, 3)
        data = dict(from_json(event.data or "[]"))
        console = str(data.get("console") or "")
        voice.row(
            {
                "row": "event",
                "time": at,
                "elapsed_s": elapsed_s,
                "scan": event.scan,
                "kind": event.kind,
                "unit": unit or None,
                "who": event.who,
                "console": console or None,
                "text": event.text,
            }
        )
        by = f" ({named(event.who, console)})" if event.who and "from_who" not in data else ""
        voice.text(f"{at[:10]} {at[11:19]} {elapsed_s:>10.1f} s  {event.kind:<18} {event.text}{by}")
    for gap in reader.gaps:
        voice.row(
            {
                "row": "gap",
                "time": moment(gap.wall_ns),
                "first_scan": gap.first_scan,
                "last_scan": gap.last_scan,
                "text": gap.text,
            }
        )
        voice.text(f"record incomplete: scans {gap.first_scan} to {gap.last_scan} are missing: {gap.text}")


def _unit_names(reader: "Reader") -> list[str]:
    """Names of the units; none where the settings are damaged, which the check tells."""
    from benchctl.record.fault import RecordFault

    try:
        return [unit.name for unit in reader.settings.site.units]
    except RecordFault:
        return []


def _end(reader: "Reader", voice: Voice) -> None:
    from benchctl.record.export import moment

    end = reader.end
    row: dict[str, Any] = {"row": "end", "time": None, "outcome": None, "totals": None}
    if end is not None:
        row |= {"time": moment(end.wall_ns), "outcome": end.outcome, "totals": end.totals}
    voice.row(row)
    voice.text(f"outcome: {end.outcome}" if end else f"outcome: none, the run is {reader.condition}")
    for name, value in (end.totals if end else {}).items():
        voice.text(f"  {name:<24} {value}")


def _beside(reader: "Reader", voice: Voice) -> None:
    """What was laid beside the record after it was sealed, late entries one by one."""
    from benchctl.record.beside import beside
    from benchctl.record.late import late_beside
    from benchctl.record.seal import file_hash

    for one in beside(reader.path, file_hash(reader.path)):
        voice.row({"row": "beside", "file": one.name, "kind": one.kind, "told": one.told, "fault": one.fault or None})
        voice.text(f"beside it: {one.kind}, {one.name}: {f'NOT USED, {one.fault}' if one.fault else one.told}")
    for late in late_beside(reader.path)[0]:
        voice.row({"row": "late", **{name: getattr(late, name) for name in type(late).__slots__}})
        what = "remark" if late.remark else f"reading {late.number}{' corrected' if late.corrects else ''}"
        at = late.at.replace("T", " ", 1) or "at its own time"
        voice.text(f"  {at}  {what}: {late.remark or late.values} ({late.told})")


def _verification(found: "Verification", voice: Voice) -> None:
    voice.row(
        {
            "row": "verification",
            "intact": found.intact,
            "sealed": found.sealed,
            "altered": found.altered,
            "notes": found.notes,
            "rows": found.rows,
        }
    )
    voice.text(
        f"record: {'intact' if found.intact else 'ALTERED'}, {'sealed' if found.sealed else 'not sealed'}, "
        f"{found.rows} rows checked"
    )
    for text in (*found.altered, *found.notes):
        voice.text(f"  {text}")
