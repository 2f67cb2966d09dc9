"""`benchctl replay RUN`: decide a recorded run again and compare."""

import argparse

from benchctl.cli.voice import Voice
from benchctl.cli.where import run_argument, the_run

HELP = "feed a recorded run's inputs to today's decisions and compare orders and state of every scan"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's arguments."""
    run_argument(parser)


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Replay a run. 0 when all is equal, 1 when not or when there is nothing to compare, 2 when it cannot be read."""
    from benchctl.record.export import moment
    from benchctl.record.fault import RecordFault
    from benchctl.record.reader import Reader
    from benchctl.record.replay import replay

    try:
        with Reader(the_run(args)) as reader:
            found = replay(reader)
    except RecordFault as fault:
        voice.narrate(str(fault))
        return 2
    first = found.difference
    voice.row(
        {
            "run": reader.path.stem,
            "equal": found.equal,
            "compared": found.compared,
            "gaps": found.gaps,
            "note": found.note,
            "difference": None
            if first is None
            else {"scan": first.scan, "time": moment(first.wall_ns), "now_s": first.now_s, "lines": first.lines},
        }
    )
    told = f"{found.compared} scans decided again, {found.gaps} gaps"
    if found.note:
        told += f"; {found.note}"
    if first is None:
        voice.text(f"{told}: {'all equal' if found.equal else 'nothing to compare'}")
    else:
        voice.text(f"{told}: the first difference is in scan {first.scan} at {moment(first.wall_ns)}")
        for line in first.lines:
            voice.text(f"  {line}")
    return 0 if found.equal else 1
