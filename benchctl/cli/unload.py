"""The verb `unload`: take load off in steps, from any shell."""

import argparse

from benchctl.cli.attach import site_argument
from benchctl.cli.voice import Voice

HELP = "take all load off in steps, then cool down; from any shell"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    site_argument(parser)


def run(args: argparse.Namespace, voice: Voice) -> int:
    """0: no load is on any more; 1: load is still read back on; 4: nobody owns the chain."""
    from benchctl.cli.off import take_off

    return take_off(args, voice, "unload")
