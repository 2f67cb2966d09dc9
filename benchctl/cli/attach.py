"""Finding the run host of a site, starting one, attaching to it."""

import argparse
import getpass
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import TYPE_CHECKING

from benchctl.cli import CHAIN_LOST
from benchctl.cli.voice import Voice

if TYPE_CHECKING:
    from benchctl.core.shown import Snapshot
    from benchctl.door.card import Card
    from benchctl.door.client import Client
    from benchctl.door.messages import Role


class NoHost(Exception):  # noqa: N818 - a finding, told in a line
    """No run host is there, or several and none was named."""


def site_argument(parser: argparse.ArgumentParser) -> None:
    """Add `--site` for verbs that look for a run host: with only one on this computer it need not be said."""
    parser.add_argument("--site", metavar="SITE", help="whose run host (may be left out when there is only one)")
    parser.add_argument("--rehearse", action="store_true", help="the run host of a rehearsal")


def operator(given: str | None = None) -> str:
    """The name under which commands are recorded."""
    if given:
        return given
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # no name in the system's books
        return "operator"


def cards_folder() -> Path:
    """Where run hosts leave their cards. Raises FolderFault."""
    from benchctl.door.card import FOLDER
    from benchctl.folders import state_folder

    return state_folder() / FOLDER


def site_name(ref: str) -> str:
    """The name of a site as its card tells it: of its file, or the word itself, from where no file is found."""
    from benchctl.files import FileFault
    from benchctl.files.shelf import DiskShelf

    try:
        return DiskShelf().open("site", ref).name
    except FileFault:
        return ref


def the_card(args: argparse.Namespace, voice: Voice) -> "Card":
    """The card of the run host that is meant. Raises NoHost, CardFault."""
    from benchctl.door.card import find_card, read_cards

    if args.site:
        found = find_card(cards_folder(), site_name(args.site), args.rehearse, voice.narrate)
        if found is None:
            what = "rehearsal's run host" if args.rehearse else "run host"
            raise NoHost(f"no {what} for {site_name(args.site)} on this computer")
        return found
    cards = [c for c in read_cards(cards_folder(), voice.narrate) if c.rehearsal or not args.rehearse]
    real = [c for c in cards if not c.rehearsal]
    cards = real or cards
    if not cards:
        raise NoHost("no run host on this computer")
    if len(cards) > 1:
        raise NoHost(f"several run hosts: say --site ({', '.join(sorted(c.site for c in cards))})")
    return cards[0]


def start_apart(args: argparse.Namespace, voice: Voice) -> "tuple[Card, Path]":
    """Start a run host as a process of its own. Raises StartFault, FileFault."""
    from benchctl.cli.control import the_broker
    from benchctl.controller.spawn import start
    from benchctl.files import read_scenario, read_site
    from benchctl.record.runs import runs_folder

    site, _ = read_site(args.site)  # flaws are told here, not in a log
    words = ["--site", args.site, "--runs", str(runs_folder(args.runs).absolute())]
    if args.rehearse:
        words += ["--rehearse", "--speed", "max" if args.speed == float("inf") else f"{args.speed:g}"]
        words += ["--seed", str(args.seed)]
    if args.scenario:
        read_scenario(args.scenario, site)
        words += ["--scenario", args.scenario]
    if the_broker(args) is not None:
        words += ["--broker", args.broker]
    log = runs_folder(args.runs).absolute() / f"{site.name}{'-rehearsal' if args.rehearse else ''}.log"
    return start(words, log, cards_folder(), site.name, args.rehearse), log


async def first(client: "Client", patience_s: float) -> "Snapshot | None":
    """The newest scan, waited for; None when none comes."""
    import asyncio

    async def come() -> "Snapshot | None":
        async for _ in client:
            if client.snapshot is not None:
                break
        return client.snapshot

    try:
        return client.snapshot or await asyncio.wait_for(come(), patience_s)
    except TimeoutError:
        return None


async def attach(args: argparse.Namespace, voice: Voice, role: "Role", who: str, *, starting: bool) -> "Client":
    """Attach to the run host; start one where none is. Raises NoHost, StartFault, Refused."""
    import asyncio

    from benchctl.door.client import Client, Gone

    try:
        card = the_card(args, voice)
        if starting and getattr(args, "broker", None):
            voice.narrate(f"{card} runs already: --broker is for one that is started now")
        return await Client.connect(card, who, role)
    except (NoHost, Gone):
        if not starting:
            raise
    card, log = await asyncio.to_thread(start_apart, args, voice)
    voice.narrate(f"run host started: process {card.pid}; log: {log}")
    return await Client.connect(card, who, role)


async def with_host(
    args: argparse.Namespace,
    voice: Voice,
    role: "Role",
    who: str,
    work: "Callable[[Client], Awaitable[int]]",
    *,
    nobody: "Callable[[Exception], None] | None" = None,
) -> int:
    """Attach to a run host that is there, do the work and leave; returns its exit code.

    Where none can be attached to, `nobody` is given the fault (without it the why is narrated), and it is 4.
    """
    from benchctl.door.client import Refused

    try:
        client = await attach(args, voice, role, who, starting=False)
    except (NoHost, Refused) as fault:
        (nobody or (lambda fault: voice.narrate(str(fault))))(fault)
        return CHAIN_LOST
    try:
        return await work(client)
    finally:
        await client.close()
