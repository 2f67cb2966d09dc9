"""The verb `run`: a program on the real chain (or on a simulated one in real time), line by line in a terminal.

The run host owns the chain; this verb starts one if none runs, attaches to it, and may be closed, killed or cut off
without any harm: somebody must then attach again within the site's time, or the load comes off in steps.
"""

import argparse
import asyncio
from typing import TYPE_CHECKING

from benchctl.cli import NOT_GOOD, USAGE
from benchctl.cli.attach import NoHost, attach, first, operator
from benchctl.cli.control import broker_argument, rehearse_arguments
from benchctl.cli.voice import Voice
from benchctl.cli.where import runs_argument

if TYPE_CHECKING:
    from benchctl.cli.keyboard import Keyboard
    from benchctl.door.client import Client
    from benchctl.files.shelf import SourceFile

PATIENCE_S = 10.0
HELP = "run a program on the chain, on the record, with the operator's answers"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    parser.add_argument("program", metavar="PROGRAM", help="program file, or the name of a shipped one")
    parser.add_argument("--site", required=True, metavar="SITE", help="site file, or the name of a shipped one")
    parser.add_argument("--operator", metavar="NAME", help="who takes charge and watches; stands in the record")
    parser.add_argument(
        "--confirmed",
        action="store_true",
        help="cautions are confirmed, nobody has to be there: only where the site file says `unattended: allowed`",
    )
    parser.add_argument("--take-over", metavar="WHY", help="from whoever has charge at another console; recorded")
    parser.add_argument("--anyway", action="store_true", help="although there may be too little room for the record")
    rehearse_arguments(parser)
    broker_argument(parser)
    runs_argument(parser)


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Run it. Exit codes: see cli/__init__.py. Raises FileFault for files that cannot be read."""
    from benchctl.files import read_program

    if args.speed != 1.0 and not args.rehearse:
        voice.narrate("--speed is for rehearsals: real units have real time")
        return USAGE
    if args.confirmed and not args.operator:
        voice.narrate("--confirmed needs --operator NAME: whose word it is stands in the record")
        return USAGE
    _, source = read_program(args.program)  # flaws are told with the path that the user knows
    try:
        return asyncio.run(_run(args, voice, source))
    except BrokenPipeError:  # nobody reads what we say: we are not attached any more, and the run host goes on
        return NOT_GOOD


async def _run(args: argparse.Namespace, voice: Voice, source: "SourceFile") -> int:
    from benchctl.cli.follow import Follow
    from benchctl.cli.keyboard import Keyboard
    from benchctl.controller.spawn import StartFault
    from benchctl.door.client import Refused

    try:
        client = await attach(args, voice, "console", operator(args.operator), starting=True)
    except (NoHost, StartFault, Refused) as fault:
        voice.narrate(str(fault))
        return USAGE
    try:
        with Keyboard() as keyboard:
            started = await _start(args, voice, client, keyboard, source)
            if isinstance(started, int):
                return started
            path, who = started
            return await Follow(client, voice, keyboard, asks=not args.confirmed, run=path, who=who).to_the_end()
    except Refused as fault:
        voice.narrate(f"refused: {fault}")
        voice.row({"outcome": "refused", "why": str(fault)})
        return NOT_GOOD
    finally:
        await client.close()


async def _start(  # type: ignore[no-untyped-def]
    args, voice, client: "Client", keyboard: "Keyboard", source: "SourceFile"
) -> int | tuple[str, str]:
    """Plan, cautions, charge, start. The run's path and who is in charge, or an exit code when it goes no further.

    Raises Refused.
    """
    from benchctl.door.client import Refused

    told = await client.program(source.name, source.text, anyway=args.anyway)
    for line in told["lines"]:
        voice.narrate(line)
    if told.get("in_hand"):
        voice.narrate("this program runs already: following it")
        return str(told["run"]), args.operator or ""
    for line in told["refusals"]:
        voice.narrate(f"refusal: {line}")
    if not told["feasible"]:
        voice.row({"outcome": "not feasible", "refusals": told["refusals"]})
        return NOT_GOOD
    if args.confirmed and not told["unattended"]:
        voice.narrate("--confirmed: the site file does not say `unattended: allowed`; run it without, and be there")
        voice.row({"outcome": "refused", "why": "the site does not allow unattended runs"})
        return NOT_GOOD
    why = await _why_over(args, voice, client, keyboard)
    who = args.operator
    if not args.confirmed and why is not None:
        who = await _confirmed(voice, keyboard, who)
    if why is None or not who:
        voice.narrate("nobody has taken charge: nothing was switched")
        voice.row({"outcome": "not started"})
        return NOT_GOOD
    if why:
        await client.order("take over", why=why, who=who)
    await client.order("take charge", text="unattended" if args.confirmed else "", who=who)
    if told["barred"]:  # it was not chosen: another had charge
        told = await client.program(source.name, source.text, anyway=args.anyway)
        if "run" not in told:
            raise Refused("; ".join(told["refusals"]) or told["barred"])
    await client.order("start", text=told["sha256"], who=who)  # this one, not what somebody else may have chosen since
    return str(told["run"]), who


async def _why_over(  # type: ignore[no-untyped-def]
    args, voice, client: "Client", keyboard: "Keyboard"
) -> str | None:
    """Why we take over from a console that has charge; empty where none has, None where nobody says why."""
    from benchctl.cli.charge import charge_words, there, watches, way

    now = await first(client, PATIENCE_S)
    if now is None or not watches(now, client.welcome.console, "") or not there(now):
        return ""
    if args.take_over or args.confirmed:
        if not args.take_over:
            voice.narrate(f"{way(now)}: say --take-over WHY")
        return args.take_over or None
    voice.narrate(f"{charge_words(now)}. Type why you take over (nothing: leave).")
    return (await keyboard.line() or "").strip() or None


async def _confirmed(voice: Voice, keyboard: "Keyboard", who: str | None) -> str:
    """Who has confirmed the cautions; empty: nobody."""
    if who is None:
        voice.narrate("Type your name to confirm these cautions and to take charge (nothing: leave).")
        return await keyboard.line() or ""
    voice.narrate(f"{who}: type yes to confirm these cautions and to take charge (else: leave).")
    return who if (await keyboard.line() or "").lower() in ("y", "yes") else ""
