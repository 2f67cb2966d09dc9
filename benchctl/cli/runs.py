"""`benchctl runs`: the recorded runs, the oldest first."""

import argparse
from pathlib import Path
from typing import Any

from benchctl.cli.voice import Voice
from benchctl.cli.where import runs_argument

HELP = "list the recorded runs"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's arguments."""
    runs_argument(parser)


def run(args: argparse.Namespace, voice: Voice) -> int:
    """List the runs of a folder. 1 when one of them cannot be read."""
    from benchctl.record.fault import RecordFault
    from benchctl.record.runs import runs_folder, runs_in

    folder = runs_folder(args.runs)
    paths = runs_in(folder)
    code = 0
    for path in paths:
        try:
            row = summary(path)
        except RecordFault as fault:
            voice.narrate(str(fault))
            voice.row({"run": path.stem, "path": str(path), "fault": str(fault)})
            code = 1
            continue
        voice.row(row)
        voice.text(f"{row['run']:<44} {row['kind']:<9} {row['scans']:>7} scans  {row['outcome'] or row['condition']}")
    if not paths:
        voice.narrate(f"no runs in {folder}")
    return code


def summary(path: Path) -> dict[str, Any]:
    """One run in a line. Raises RecordFault."""
    from benchctl.record.reader import Reader

    with Reader(path) as reader:
        end = reader.end
        return {
            "run": path.stem,
            "path": str(path),
            "kind": reader.meta.get("kind", ""),
            "site": reader.meta.get("site", ""),
            "program": reader.meta.get("program", ""),
            "started": reader.meta.get("started", ""),
            "scans": reader.scan_count,
            "condition": reader.condition,
            "outcome": end.outcome if end else None,
        }
