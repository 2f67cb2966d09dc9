"""`benchctl compare RUN RUN…`: dips, recovery, temperatures, fuel and levels of runs, side by side."""

import argparse

from benchctl.cli.voice import Voice
from benchctl.cli.where import runs_argument

HELP = "set runs beside each other: dips, recovery, temperatures, fuel, levels"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's arguments."""
    parser.add_argument("names", nargs="+", metavar="RUN", help="name of a run, part of it, a path, or: latest")
    runs_argument(parser)


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Compare. 1 when they are not of one source, 2 when one cannot be read or fewer than two are named."""
    from benchctl.cli.beside import tell
    from benchctl.record.runs import find_run, runs_folder
    from benchctl.report.compared import compared

    folder = runs_folder(args.runs)
    paths = [find_run(name, folder) for name in args.names]
    if len(paths) < 2:
        voice.narrate("name two runs or more")
        return 2
    runs = [compared(path) for path in paths]
    tell(runs, voice)
    sources = {(one.site, one.source, one.serial) for one in runs}
    if len(sources) > 1:
        told = "; ".join(f"{source} {serial} at {site}".replace("  ", " ") for site, source, serial in sorted(sources))
        voice.narrate(f"these runs are not of one source: {told}")
        return 1
    return 0
