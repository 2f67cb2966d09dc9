"""`benchctl console`: the screen; a client of the run host, which it starts where none runs."""

import argparse

from benchctl.cli.attach import operator
from benchctl.cli.voice import Voice

HELP = "the console: watch, rehearse and run from one screen"
DEMO = "northquay"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    parser.add_argument("--site", metavar="SITE", help=f"a name or a path; without one, a rehearsal of {DEMO}")
    parser.add_argument("--rehearse", action="store_true", help="on the built-in simulator")
    parser.add_argument("--speed", default="1", help="of a rehearsal: times real time, or max (default 1)")
    parser.add_argument("--operator", metavar="NAME", help="the name under which commands are recorded")
    parser.add_argument("--runs", metavar="FOLDER", help="where records go")
    parser.add_argument("--colours", choices=("night", "sun", "one colour"), help="to begin with; t changes them")
    parser.add_argument("--plain", action="store_true", help="only letters and signs of ASCII as shapes")


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Open the screen."""
    from benchctl.cli.screen import console

    args.site, args.rehearse = args.site or DEMO, args.rehearse or not args.site
    return console(args, voice, operator(args.operator))
