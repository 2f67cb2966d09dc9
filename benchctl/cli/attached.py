"""The verb `attach`: follow what goes on, and answer, adopt, unload or drop from a terminal."""

import argparse
import asyncio
from typing import TYPE_CHECKING

from benchctl.cli import NOT_GOOD
from benchctl.cli.attach import first, operator, site_argument, with_host
from benchctl.cli.voice import Voice

if TYPE_CHECKING:
    from benchctl.door.client import Client

HELP = "attach to the run host: see what goes on, answer, adopt load found on, load by hand"
PATIENCE_S = 10.0


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    site_argument(parser)
    parser.add_argument("--operator", metavar="NAME", help="who watches; stands in the record")


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Follow until the run is over or the operator leaves. Exit codes: see cli/__init__.py."""
    try:
        return asyncio.run(
            with_host(args, voice, "console", operator(args.operator), lambda client: _follow(client, voice, args))
        )
    except BrokenPipeError:  # as in `run`
        return NOT_GOOD


async def _follow(client: "Client", voice: Voice, args: argparse.Namespace) -> int:
    from benchctl.cli.charge import TAKE_OVER, there, watches, way
    from benchctl.cli.follow import Follow
    from benchctl.cli.keyboard import Keyboard
    from benchctl.cli.status import status_lines
    from benchctl.cli.telling import wrapped

    now = await first(client, PATIENCE_S)
    for line in status_lines(client.welcome.site, now) if now is not None else []:
        voice.narrate(line)
    if now is not None and watches(now, client.welcome.console, operator(args.operator)):
        how = TAKE_OVER if there(now) else "type charge"
        for line in wrapped(f"YOU WATCH: {way(now)} ({how}); unload, drop, reading, remark are everybody's"):
            voice.narrate(line)
    with Keyboard() as keyboard:
        return await Follow(client, voice, keyboard, asks=True).to_the_end()
