"""`benchctl late RUN NAME=VALUE…`: readings, corrections and remarks for a sealed record, beside it and never in it."""

import argparse
import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from benchctl.cli.voice import Voice
from benchctl.cli.where import run_argument, the_run

if TYPE_CHECKING:
    from benchctl.record.reader import Reader

HELP = "enter a reading, a correction or a remark late: beside a sealed record, marked as such"
CLOCK = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9]))?")
ELAPSED = re.compile(r"\+(?:([0-9]{1,3}):)?(?:([0-9]{1,2}):)?([0-9]{1,6})")


def arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's arguments."""
    run_argument(parser)
    parser.add_argument("values", nargs="*", metavar="NAME=VALUE", help="what was read, such as oil_kpa=420")
    parser.add_argument("--remark", metavar="TEXT", default="", help='a remark instead, such as "witness: surveyor"')
    parser.add_argument(
        "--at",
        metavar="TIME",
        default="",
        help="when it was true: 14:05 or 14:05:30 on the run's own clock, ISO 8601, or +H:MM:SS since the run's begin",
    )
    parser.add_argument("--corrects", type=int, metavar="N", help="correct reading N, which stays legible")
    parser.add_argument("--who", required=True, help="who enters it")
    parser.add_argument("--why", required=True, help="why it is entered late")


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Keep an entry. 2 when it cannot be true, or the record is not closed, sealed and unaltered."""
    from benchctl.record.fault import RecordFault
    from benchctl.record.late import Late, add, late_path
    from benchctl.record.reader import Reader

    path = the_run(args)
    try:
        with Reader(path) as reader:
            at = moment(args.at, reader) if args.at else ""
    except ValueError as fault:
        voice.narrate(f"--at {args.at}: {fault}")
        return 2
    now = datetime.now().astimezone().isoformat(timespec="seconds")
    corrects = args.corrects is not None
    asked = Late(args.corrects or 0, corrects, at, "; ".join(args.values), args.remark, args.who, args.why, now)
    try:
        kept = add(path, asked)
    except RecordFault as fault:
        voice.narrate(str(fault))
        return 2
    what = "remark" if kept.remark else f"reading {kept.number}{' corrected' if kept.corrects else ''}"
    voice.text(f"{what}: {kept.remark or kept.values}")
    voice.text(f"  at {kept.at or 'the time of the reading that it corrects'}, {kept.told}")
    voice.text(f"  kept in {late_path(path)}; the record itself stays as it was sealed")
    voice.row({"run": path.stem, "path": str(late_path(path)), **{n: getattr(kept, n) for n in Late.__slots__}})
    return 0


def moment(text: str, reader: "Reader") -> str:
    """A typed time as ISO 8601 with the run's offset. Raises ValueError in words.

    A time of day is that of the run: of the first day on which it lies in the run, else of the day of its begin.
    """
    begun = _wall(reader.first_wall_ns, reader)
    if found := ELAPSED.fullmatch(text):
        *more, seconds = (int(part or 0) for part in found.groups())
        hours, minutes = more if found[2] else (0, more[0])
        return (begun + timedelta(hours=hours, minutes=minutes, seconds=seconds)).isoformat(timespec="seconds")
    if found := CLOCK.fullmatch(text):
        hour, minute, second = (int(part or 0) for part in found.groups())
        first = begun.replace(hour=hour, minute=minute, second=second, microsecond=0)
        ended = _wall(reader.last_wall_ns, reader)
        days = [first + timedelta(days=day) for day in range((ended.date() - begun.date()).days + 1)]
        at = next((day for day in days if begun - timedelta(minutes=1) <= day <= ended), first)
        return at.isoformat(timespec="seconds")
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError("expected a time such as 14:05, 2026-11-25T14:05+01:00 or +1:30:00") from None
    return (at if at.tzinfo else at.replace(tzinfo=begun.tzinfo)).isoformat(timespec="seconds")


def _wall(wall_ns: int, reader: "Reader") -> datetime:
    """A wall clock with the offset that the run was begun with."""
    try:
        zone = datetime.fromisoformat(reader.meta.get("started", "")).tzinfo
    except ValueError:
        zone = None
    return datetime.fromtimestamp(wall_ns / 1e9, UTC).astimezone(zone or UTC)
