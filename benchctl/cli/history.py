"""`benchctl history --source NAME`: one source over the years."""

import argparse

from benchctl.cli.voice import Voice
from benchctl.cli.where import runs_argument

HELP = "one source over the years: its runs side by side, the oldest first"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's arguments."""
    parser.add_argument(
        "--source", required=True, metavar="NAME", help="serial number, name of the source, or name of its site file"
    )
    parser.add_argument("--rehearsals", action="store_true", help="rehearsals too: they tell nothing of a real source")
    runs_argument(parser)


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Tell the history. 1 when there is no run of that source."""
    from benchctl.cli.beside import tell
    from benchctl.record.fault import RecordFault
    from benchctl.record.reader import Reader
    from benchctl.record.runs import runs_folder, runs_in
    from benchctl.report.compared import compared

    folder, found, left_out = runs_folder(args.runs), [], 0
    for path in runs_in(folder):
        try:
            with Reader(path) as reader:
                plate, meta = reader.settings.site.nameplate, reader.meta
            if args.source not in (plate.serial, plate.name, meta.get("site")):
                continue
            if meta.get("kind") == "rehearsal" and not args.rehearsals:
                left_out += 1
                continue
            found.append(compared(path))
        except RecordFault as fault:
            voice.narrate(str(fault))
    if left_out:
        voice.narrate(f"{left_out} rehearsals are left out (--rehearsals counts them)")
    if not found:
        voice.narrate(f"no run of {args.source!r} in {folder}")
        return 1
    tell(sorted(found, key=lambda one: one.began), voice)
    return 0
