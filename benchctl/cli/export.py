"""`benchctl export RUN`: a recorded run as a table, CSV or JSON lines; with --follow while it goes on."""

import argparse
import os
import select
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from datetime import tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from benchctl.cli import GOOD, NOT_GOOD, USAGE
from benchctl.cli.voice import Voice
from benchctl.cli.where import run_argument, the_run

if TYPE_CHECKING:
    from benchctl.record.follow import Follow

HELP = "export a run as CSV or JSON lines; with --follow while it goes on"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's arguments."""
    run_argument(parser)
    parser.add_argument("--csv", action="store_true", help="comma-separated values; without it --json: JSON lines")
    parser.add_argument(
        "--flavour",
        choices=("point", "comma"),
        default="point",
        help="of CSV: point: 1.5 and , between cells (default); comma: 1,5 and ; between cells",
    )
    parser.add_argument("--out", metavar="FILE", help="file to write (default: standard output)")
    parser.add_argument(
        "--zone", metavar="ZONE", help="time zone of the times, as Europe/Lisbon (default: this computer's)"
    )
    parser.add_argument("--follow", action="store_true", help="go on until the run has ended, and say why it has")
    parser.add_argument(
        "--from", dest="begin", choices=("start", "now"), default="start", help="of --follow: where to begin"
    )


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Export a run. 1 when a run that was followed has no end: it was interrupted.

    2 when the run cannot be read, no form is asked for, the zone is unknown or the file is there already.
    """
    from benchctl.record.fault import RecordFault

    if not (args.csv or args.json):
        voice.narrate("in which form? --csv: comma-separated values; --json: JSON lines")
        return USAGE
    if args.begin == "now" and not args.follow:
        voice.narrate("--from now belongs to --follow")
        return USAGE
    try:
        zone = _zone(args.zone)
        return _followed(args, voice, zone) if args.follow else _whole(args, voice, zone)
    except RecordFault as fault:
        voice.narrate(str(fault))
        return USAGE
    except FileExistsError:
        voice.narrate(f"{args.out}: exists already; choose another name")
        return USAGE
    except BrokenPipeError:  # whoever read has had enough
        let_go()
        return GOOD


def _whole(args: argparse.Namespace, voice: Voice, zone: tzinfo | None) -> int:
    """All that is there now."""
    from benchctl.record.export import FLAVOURS, csv_lines, json_lines
    from benchctl.record.reader import Reader

    with Reader(the_run(args)) as reader:
        lines = csv_lines(reader, FLAVOURS[args.flavour], zone) if args.csv else json_lines(reader, zone)
        if args.out is None:
            for line in lines:
                sys.stdout.buffer.write(line.encode())
            sys.stdout.buffer.flush()
            return GOOD
        rows = _write(Path(args.out), lines) - (1 if args.csv else 2)
    voice.row({"file": args.out, "scans": rows})
    voice.text(f"{args.out}: {rows} scans")
    return GOOD


def _followed(args: argparse.Namespace, voice: Voice, zone: tzinfo | None) -> int:
    """What is there, and what comes, each scan as soon as it is on disk."""
    from benchctl.record.follow import Follow
    from benchctl.record.reader import Reader

    path = the_run(args)
    with Reader(path) as reader:
        after = reader.newest if args.begin == "now" else None
    stream = sys.stdout.buffer if args.out is None else Path(args.out).open("xb")  # noqa: SIM115 - closed below
    follow = Follow(path, after, say=voice.narrate, pause=_pause(stream))
    scans = -1  # the head is a line too
    try:
        for line in _lines(args, follow, path, after, zone):
            stream.write(line.encode())
            stream.flush()
            scans += 1
    finally:
        if args.out is not None:
            stream.close()
    assert follow.ended is not None
    told = f"{follow.ended.why}; {scans if args.csv else scans - 1} scans"
    voice.narrate(told)
    return NOT_GOOD if follow.ended.outcome is None else GOOD


def _lines(
    args: argparse.Namespace, follow: "Follow", path: Path, after: int | None, zone: tzinfo | None
) -> Iterator[str]:
    """The head, a line a scan, and with JSON lines why there are no more."""
    from benchctl.record.export import FLAVOURS, Rows, csv_head, csv_line, json_end, json_head, json_line
    from benchctl.record.reader import Reader

    flavour = FLAVOURS[args.flavour]
    with Reader(path) as reader:
        rows = Rows(reader, zone, after)
        head = csv_head(rows.site, flavour) if args.csv else json_head(reader)
    yield head
    for told in follow:
        yield csv_line(rows, told, flavour) if args.csv else json_line(rows, told)
    if follow.ended is not None and not args.csv:
        yield json_end(follow.ended)


def _pause(stream: BinaryIO) -> Callable[[float], None]:
    """What waits for so many seconds, but not when whoever reads the stream has gone: then BrokenPipeError."""
    try:
        number = stream.fileno()
    except (OSError, ValueError):  # a stream in memory
        return time.sleep
    if not hasattr(select, "poll"):  # Windows
        return time.sleep
    asked = select.poll()
    asked.register(number, 0)  # of nothing but that it is gone: that is always told (poll(2), POLLERR)

    def pause(seconds: float) -> None:
        if asked.poll(seconds * 1000.0):
            raise BrokenPipeError

    return pause


def let_go() -> None:
    """Put the null device in place of a pipe that nobody reads, or the interpreter would fail when it flushes it."""
    with suppress(OSError, ValueError):
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, sys.stdout.fileno())
        os.close(null)


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
