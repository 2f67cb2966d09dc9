"""`benchctl console`: the screen; a client of the run host, which it starts where none runs."""

import argparse
import sys

from benchctl.cli import USAGE
from benchctl.cli.attach import operator
from benchctl.cli.control import FASTEST, broker_argument, speed, the_broker
from benchctl.cli.voice import Voice

HELP = "the console: watch, rehearse and run from one screen"
DEMO = "northquay"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    parser.add_argument("--site", metavar="SITE", help=f"a name or a path; without one, a rehearsal of {DEMO}")
    parser.add_argument("--rehearse", action="store_true", help="on the built-in simulator")
    parser.add_argument(
        "--speed", type=speed, default=1.0, metavar="N", help=f"of a rehearsal: 1, 10, 60, or {FASTEST} (default 1)"
    )
    parser.add_argument("--operator", metavar="NAME", help="the name under which commands are recorded")
    parser.add_argument("--runs", metavar="FOLDER", help="where records go")
    broker_argument(parser)
    parser.add_argument("--colours", choices=("night", "sun", "one colour"), help="to begin with; t changes them")
    parser.add_argument("--plain", action="store_true", help="only letters and signs of ASCII as shapes")


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Open the screen. Exit codes: see cli/__init__.py; a console that its terminal or a signal ended: 1."""
    if not all(stream is not None and stream.isatty() for stream in (sys.__stdin__, sys.__stdout__, sys.__stderr__)):
        voice.narrate("the console needs a terminal; without one: benchctl status, attach, run, drop")
        return USAGE
    args.rehearse = args.rehearse or not args.site
    if args.speed != 1.0 and not args.rehearse:
        voice.narrate("--speed is for rehearsals: real units have real time")
        return USAGE
    from benchctl.cli.screen import console

    the_broker(args)  # flaws are told here, while there is no screen yet
    args.site = args.site or DEMO
    return console(args, voice, operator(args.operator))
