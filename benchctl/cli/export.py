"""`benchctl export RUN --csv`: a recorded run as a table."""

import argparse
import sys
from collections.abc import Iterable
from datetime import tzinfo
from pathlib import Path

from benchctl.cli.voice import Voice
from benchctl.cli.where import run_argument, the_run

HELP = "export a recorded run as CSV"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's arguments."""
    run_argument(parser)
    parser.add_argument("--csv", action="store_true", required=True, help="comma-separated values (the only form)")
    parser.add_argument(
        "--flavour",
        choices=("point", "comma"),
        default="point",
        help="point: 1.5 and , between cells (default); comma: 1,5 and ; between cells",
    )
    parser.add_argument("--out", metavar="FILE", help="file to write (default: standard output)")
    parser.add_argument(
        "--zone", metavar="ZONE", help="time zone of the times, as Europe/Lisbon (default: this computer's)"
    )


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Export a run. 2 when the run cannot be read, the zone is unknown or the file is there already."""
    from benchctl.record.export import FLAVOURS, csv_lines
    from benchctl.record.fault import RecordFault
    from benchctl.record.reader import Reader

    try:
        zone = _zone(args.zone)
        with Reader(the_run(args)) as reader:
            lines = csv_lines(reader, FLAVOURS[args.flavour], zone)
            if args.out is None:
                for line in lines:
                    sys.stdout.buffer.write(line.encode())
                sys.stdout.buffer.flush()
                return 0
            rows = _write(Path(args.out), lines)
    except RecordFault as fault:
        voice.narrate(str(fault))
        return 2
    except FileExistsError:
        voice.narrate(f"{args.out}: exists already; choose another name")
        return 2
    voice.row({"file": args.out, "scans": rows - 1})
    voice.text(f"{args.out}: {rows - 1} scans")
    return 0


def _zone(name: str | None) -> tzinfo | None:
    from zoneinfo import ZoneInfo

    from benchctl.record.fault import RecordFault

    try:
        return None if name is None else ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise RecordFault(f"--zone {name!r}: no such time zone; expected a name as Europe/Lisbon or UTC") from None


def _write(path: Path, lines: Iterable[str]) -> int:
    """Write the file whole or not at all; returns the number of lines."""
    rows = 0
    with path.open("x", encoding="utf-8", newline="") as stream:
        try:
            for line in lines:
                stream.write(line)
                rows += 1
        except BaseException:
            path.unlink(missing_ok=True)
            raise
    return rows
