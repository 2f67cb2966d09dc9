"""What the console is lent: how a run host is found or started, which files there are, what runs there were."""

import argparse
import os

from benchctl.cli.attach import attach
from benchctl.cli.voice import Voice
from benchctl.door.client import Client, Refused


class Silent(Voice):
    """Nothing may be written beside the screen."""

    def narrate(self, text: str) -> None:
        """Nothing."""


def console(args: argparse.Namespace, voice: Voice, who: str) -> int:
    """Open the screen and stay until it is left; returns the exit code."""
    os.environ.setdefault("TEXTUAL_FPS", "120")  # a frame waits half as long for its turn, for no more work
    from benchctl.tui.app import Console
    from benchctl.tui.link import Choice
    from benchctl.tui.theme import MONO, NIGHT

    silent = Silent(json_lines=False)

    async def reach(choice: Choice, starting: bool) -> Client:
        asked = argparse.Namespace(
            site=choice.site, rehearse=choice.rehearse, speed=choice.speed, seed=1, scenario=None, runs=args.runs
        )
        try:
            return await attach(asked, silent, "console", who, starting=starting)
        except Refused:
            raise
        except Exception as fault:
            raise Refused(str(fault)) from None

    speed = float("inf") if args.speed == "max" else float(args.speed)
    look = args.colours or (MONO if os.environ.get("NO_COLOR") else NIGHT)
    choice = Choice(args.site, args.rehearse, speed)
    app = Console(reach, choice, who, look=look, glyphs="ascii" if args.plain else "full")
    return app.run() or 0
