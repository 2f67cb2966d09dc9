"""The verb `drop`: everything off at once, from any shell."""

import argparse

from benchctl.cli.attach import site_argument
from benchctl.cli.voice import Voice

HELP = "LOAD OFF: everything off at once, fans on; from any shell"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    site_argument(parser)


def run(args: argparse.Namespace, voice: Voice) -> int:
    """0: read back open; 1: NOT CONFIRMED; 4: nobody owns the chain."""
    from benchctl.cli.off import take_off

    return take_off(args, voice, "drop")
