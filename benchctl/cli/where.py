"""The folder of the runs, and the run that a verb is asked about."""

import argparse
from pathlib import Path


def runs_argument(parser: argparse.ArgumentParser) -> None:
    """Add `--runs`."""
    parser.add_argument(
        "--runs", metavar="FOLDER", help="folder of the runs (default: $BENCHCTL_RUNS, else the user's data folder)"
    )


def run_argument(parser: argparse.ArgumentParser) -> None:
    """Add RUN and `--runs`."""
    parser.add_argument("run_name", metavar="RUN", help="name of a run, part of it, a path, or: latest")
    runs_argument(parser)


def the_run(args: argparse.Namespace) -> Path:
    """The run that is meant. Raises RecordFault."""
    from benchctl.record.runs import find_run, runs_folder

    return find_run(args.run_name, runs_folder(args.runs))
