"""The console's screen and what it is lent: how a run host is found or started, which files there are, what runs."""

import argparse
import asyncio
import gc
import os
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchctl.cli.attach import attach
from benchctl.cli.lent import program, programs, rule_set, rule_sets, ways
from benchctl.cli.voice import Voice
from benchctl.door.client import Client, Refused

if TYPE_CHECKING:
    from benchctl.tui.app import Console


class Silent(Voice):
    """Nothing may be written beside the screen."""

    def narrate(self, text: str) -> None:
        """Nothing."""


def console(args: argparse.Namespace, voice: Voice, who: str) -> int:
    """Open the screen and stay until it is left; returns the exit code."""
    gc.disable()  # what is loaded for a screen stays: walking it again and again would hold keys up for 0.1 s each
    app = made(args, who)
    app.when_drawn = _settled
    code = app.run() or 0
    app.give_back()
    app.ends.over()
    return _last_words(app, voice, code)


def _settled() -> None:
    """The first picture is there: from now on only what comes later is collected."""
    gc.freeze()
    gc.enable()


async def _room(name: str) -> Any:
    """A room of the command line that a page needs, loaded when it is first asked for, and beside the screen."""
    return await asyncio.to_thread(import_module, f"benchctl.cli.{name}")


def made(args: argparse.Namespace, who: str) -> "Console":
    """A console for these arguments of the verb, not open yet."""
    os.environ.setdefault("TEXTUAL_FPS", "120")  # a frame waits half as long for its turn, for no more work
    from benchctl.record.runs import runs_folder
    from benchctl.tui.app import Console
    from benchctl.tui.extras import Extras
    from benchctl.tui.link import Choice
    from benchctl.tui.theme import MONO, NIGHT

    silent = Silent(json_lines=False)

    async def reach(choice: Choice, starting: bool) -> Client:
        asked = argparse.Namespace(
            site=choice.site, rehearse=choice.rehearse, speed=choice.speed, seed=1, scenario=None, runs=args.runs,
            broker=getattr(args, "broker", None),
        )  # fmt: skip
        try:
            return await attach(asked, silent, "console", who, starting=starting)
        except Refused:
            raise
        except Exception as fault:
            raise Refused(str(fault)) from None

    look = args.colours or (MONO if os.environ.get("NO_COLOR") else NIGHT)

    def folder() -> Path:
        """Where the run host that is attached keeps its records, else where one would that is started from here."""
        return Path(app.picture.place.runs) if app.picture.place.runs else runs_folder(args.runs)

    async def runs() -> list[dict[str, Any]]:
        return list(await (await _room("past")).runs(folder()))

    async def run(name: str) -> dict[str, Any]:
        return dict(await (await _room("past")).run(folder(), name))

    async def verdicts(name: str, by: tuple[str, ...]) -> dict[str, Any]:
        return dict(await (await _room("verdicts")).verdicts(folder(), name, by))

    extras = Extras(
        programs=programs,
        program=program,
        rule_sets=rule_sets,
        rule_set=rule_set,
        sites=lambda: ways(args.site),
        runs=runs,
        run=run,
        verdicts=verdicts,
    )
    choice = Choice(args.site, args.rehearse, args.speed)
    app = Console(reach, choice, who, look=look, glyphs="ascii" if args.plain else "full", extras=extras)
    return app


def _last_words(app: "Console", voice: Voice, code: int) -> int:
    """Where the load stands, when it is not off and known to be, and what ended the screen; returns the exit code."""
    from benchctl.cli.faults import explain
    from benchctl.tui.actions import nothing_on
    from benchctl.tui.sheets.leave import load_words

    if app.fault is not None:
        code = explain(app.fault, voice)
    elif app.ends.ended:
        voice.narrate(f"console: {app.ends.ended}")
    if not nothing_on(app.picture):
        choice, place = app.link.choice, app.picture.place
        again = f"benchctl console --site {choice.site}{' --rehearse' if choice.rehearse else ''}"
        voice.narrate(f"{load_words(app)}; the run host (process {place.pid}) goes on: {again}")
    return code
