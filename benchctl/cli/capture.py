"""`benchctl capture RUN FILE`: lay a recording of a power analyser or fault recorder over a run, beside its record."""

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING

from benchctl.cli.voice import Voice
from benchctl.cli.where import run_argument, the_run

if TYPE_CHECKING:
    from benchctl.capture.store import Capture

HELP = "lay a recording of a power analyser or fault recorder (COMTRADE, CSV) over a recorded run"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's arguments."""
    run_argument(parser)
    parser.add_argument("file", metavar="FILE", help="the recording: .cfg or .cff (COMTRADE), or a table of text (CSV)")
    parser.add_argument("--map", metavar="MAPPING", help="mapping file: what the columns mean; needed for CSV")
    parser.add_argument(
        "--align",
        choices=("time", "step"),
        help="by the clocks of both, or by the load step that both show (default: by the step if there is one)",
    )
    parser.add_argument(
        "--offset",
        type=float,
        metavar="S",
        help="the recording begins S seconds after the run; with --align step: about there",
    )
    parser.add_argument("--name", help="name of the capture (default: that of the file)")


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Keep a capture beside the record. 2 when run, recording or mapping cannot be read, or they cannot be aligned."""
    from benchctl.capture.align import AlignFault
    from benchctl.capture.made import Wish, made
    from benchctl.capture.store import CaptureFault, save
    from benchctl.files import read_mapping
    from benchctl.record.fault import RecordFault
    from benchctl.record.reader import Reader
    from benchctl.record.seal import file_hash
    from benchctl.record.trail import trail

    file = Path(args.file)
    name = file.stem if args.name is None else args.name
    if not name or Path(name).name != name or name.startswith("."):
        voice.narrate(f"--name {name!r}: expected a plain file name")
        return 2
    if args.offset is not None and not math.isfinite(args.offset):
        voice.narrate(f"--offset {args.offset}: expected a number of seconds")
        return 2
    try:
        path = the_run(args)
        mapping = read_mapping(args.map)[0] if args.map else None
        with Reader(path) as reader:
            if reader.condition == "being written":
                voice.narrate(f"{path}: is still being written; a capture names the hash of the closed record")
                return 2
            found = trail(reader)
            phases = len(reader.settings.site.nameplate.wiring.phases)
        wish = Wish(args.align, args.offset)
        capture = made(file, mapping, found, file_hash(path), name, phases, wish)
        target = save(path, capture)
    except AlignFault as fault:
        voice.narrate(f"{file}: {fault}")
        return 2
    except (RecordFault, CaptureFault) as fault:
        voice.narrate(str(fault))
        return 2
    _tell(voice, capture, path, target)
    return 0


def _tell(voice: Voice, capture: "Capture", path: Path, target: Path) -> None:
    """What was made of it, for people and as a row."""
    told, aligned = capture.recording, capture.aligned
    voice.text(f"run         {path.stem}")
    voice.text(f"recording   {told['file']}, {told['form']}, {told['samples']} samples, {told['length_s']:g} s")
    voice.text(f"aligned     by {aligned.by}: begins at {aligned.offset_s:.3f} s of the run, ± {aligned.doubt_s:.2f} s")
    voice.text(f"            {aligned.told}")
    voice.text(f"load steps  {', '.join(f'{s:.3f} s' for s in capture.switched_s) or 'none seen'}")
    rows = []
    for curve in capture.curves:
        known = [v for v in curve.values if not math.isnan(v)]
        low, high = (min(known), max(known)) if known else (None, None)
        rows.append({"name": curve.name, "refresh_s": curve.refresh_s, "points": len(known), "low": low, "high": high})
        said = f"{low:.2f} to {high:.2f}" if low is not None and high is not None else "nothing known"
        voice.text(f"{curve.name:<18}{said}, {len(known)} values, one each {curve.refresh_s * 1000.0:g} ms")
    for note in capture.notes:
        voice.text(f"note        {note}")
    voice.text(f"kept in     {target}")
    voice.row(
        {
            "capture": capture.name,
            "path": str(target),
            "record_hash": capture.hash,
            "recording": told,
            "aligned": {
                "by": aligned.by,
                "offset_s": aligned.offset_s,
                "doubt_s": aligned.doubt_s,
                "told": aligned.told,
            },
            "switched_s": capture.switched_s,
            "curves": rows,
            "notes": capture.notes,
        }
    )
