"""The verb `plan`: what will happen when a program runs at a site, and whether it can."""

import argparse

from benchctl.cli.voice import Voice

HELP = "say what will happen when a program runs at a site, and whether it can"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    parser.add_argument("program", metavar="PROGRAM", help="program file, or the name of a shipped one")
    parser.add_argument("--site", required=True, metavar="SITE", help="site file, or the name of a shipped one")


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Print the plan. 0: feasible; 1: not feasible. Raises FileFault for files that cannot be read."""
    from benchctl.files import read_program, read_site
    from benchctl.planning import plan
    from benchctl.planning.lines import lines
    from benchctl.planning.rows import rows

    site, _ = read_site(args.site)
    program, _ = read_program(args.program)
    drawn = plan(site, program)
    for line in lines(drawn, site, program):
        voice.text(line)
    for row in rows(drawn):
        voice.row(row)
    return 0 if drawn.feasible else 1
