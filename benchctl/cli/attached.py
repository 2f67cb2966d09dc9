"""The verb `attach`: follow what goes on, and answer, adopt, unload or drop from a terminal."""

import argparse
import asyncio

from benchctl.cli import CHAIN_LOST, NOT_GOOD
from benchctl.cli.attach import NoHost, attach, first, operator, site_argument
from benchctl.cli.voice import Voice

HELP = "attach to the run host: see what goes on, answer, adopt load found on, load by hand"
PATIENCE_S = 10.0


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    site_argument(parser)
    parser.add_argument("--operator", metavar="NAME", help="who watches; stands in the record")


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Follow until the run is over or the operator leaves. Exit codes: see cli/__init__.py."""
    try:
        return asyncio.run(_attach(args, voice))
    except BrokenPipeError:  # as in `run`
        return NOT_GOOD


async def _attach(args: argparse.Namespace, voice: Voice) -> int:
    from benchctl.cli.follow import Follow
    from benchctl.cli.keyboard import Keyboard
    from benchctl.cli.status import status_lines
    from benchctl.door.client import Refused

    try:
        client = await attach(args, voice, "console", operator(args.operator), starting=False)
    except (NoHost, Refused) as fault:
        voice.narrate(str(fault))
        return CHAIN_LOST
    try:
        now = await first(client, PATIENCE_S)
        for line in status_lines(client.welcome.site, now) if now is not None else []:
            voice.narrate(line)
        with Keyboard() as keyboard:
            return await Follow(client, voice, keyboard, asks=True).to_the_end()
    finally:
        await client.close()
