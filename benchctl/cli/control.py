"""The verb `control`: the run host, a process without a screen that owns the chain."""

import argparse
import math
from collections.abc import Coroutine
from typing import TYPE_CHECKING, Any

from benchctl.cli import GOOD, USAGE
from benchctl.cli.voice import Voice
from benchctl.cli.where import runs_argument

if TYPE_CHECKING:
    from benchctl.files.broker import Broker

HELP = "start the run host: the process that owns the chain and outlives every screen"
FASTEST = "max"
STDERR = 2
SETTLE_S = 3.0  # from the start until what is made by then stays


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    parser.add_argument("--site", required=True, metavar="SITE", help="site file, or the name of a shipped one")
    rehearse_arguments(parser)
    parser.add_argument("--foreground", action="store_true", help="stay in this process instead of starting one apart")
    broker_argument(parser)
    runs_argument(parser)


def rehearse_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what says whether the chain is real."""
    parser.add_argument("--rehearse", action="store_true", help="own a simulated chain instead of the real one")
    parser.add_argument(
        "--speed", type=speed, default=1.0, metavar="N", help=f"of a rehearsal: 1, 10, 60, or {FASTEST} (default 1)"
    )
    parser.add_argument("--scenario", metavar="FILE", help="of a rehearsal: faults, file or shipped name")
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="of a rehearsal: seed of all that is random")


def broker_argument(parser: argparse.ArgumentParser) -> None:
    """Add `--broker`."""
    parser.add_argument(
        "--broker",
        metavar="FILE|URL",
        help="tell an MQTT broker of the bench: a broker file, or mqtt://HOST; nothing is ever taken from there",
    )


def the_broker(args: argparse.Namespace) -> "Broker | None":
    """The broker that is to be told. Raises FileFault, for one whose secrets cannot be had too."""
    if not getattr(args, "broker", None):
        return None
    from benchctl.files import FileFault, Flaw, read_broker
    from benchctl.files.broker import SecretFault

    broker = read_broker(args.broker)
    try:
        for secret in broker.secrets:
            secret.read()
    except SecretFault as fault:
        raise FileFault([Flaw(broker.path or "--broker", 0, 0, str(fault))]) from None
    return broker


def speed(text: str) -> float:
    """Virtual seconds a second; infinite = as fast as it goes. Raises ArgumentTypeError."""
    if text == FASTEST:
        return math.inf
    try:
        found = float(text)
    except ValueError:
        found = math.nan
    if not 0.1 <= found <= 1000.0:
        raise argparse.ArgumentTypeError(f"{text!r}: expected 0.1 to 1000, or {FASTEST}")
    return found


def run(args: argparse.Namespace, voice: Voice) -> int:
    """Start it apart and say where it is, or be it. Raises FileFault for files that cannot be read."""
    from benchctl.cli.attach import start_apart

    if args.speed != 1.0 and not args.rehearse:
        voice.narrate("--speed is for rehearsals: real units have real time")
        return USAGE
    if args.foreground:
        return _host(args)
    card, log = start_apart(args, voice)
    voice.text(f"run host for {card.site} started: process {card.pid}; log: {log}")
    voice.row({"site": card.site, "pid": card.pid, "rehearsal": card.rehearsal, "log": str(log)})
    return GOOD


def _host(args: argparse.Namespace) -> int:
    """Own the chain until nobody needs it."""
    import asyncio

    from benchctl.claim import ClaimFault
    from benchctl.controller.host import Host
    from benchctl.controller.log import Log
    from benchctl.controller.terms import Terms
    from benchctl.files import read_scenario, read_site
    from benchctl.folders import state_folder
    from benchctl.planning.links import scan_period_s
    from benchctl.record.runs import runs_folder

    site, files = read_site(args.site)
    scenario = None
    if args.scenario:
        scenario, scenario_file = read_scenario(args.scenario, site)
        files = (*files, scenario_file)
    terms = Terms(
        site=site,
        site_files=files,
        scan_period_s=scan_period_s(site),
        runs=runs_folder(args.runs),
        state=state_folder(),
        rehearsal=args.rehearse,
        speed=args.speed,
        scenario=scenario,
        seed=args.seed,
        broker=the_broker(args),
    )
    log = Log(STDERR)
    try:
        return asyncio.run(_settled(Host(terms, log.write).run()))
    except ClaimFault as fault:
        log.write(str(fault))
        return USAGE
    finally:
        log.close()


async def _settled(hosting: Coroutine[Any, Any, int]) -> int:
    """Host, and soon put all that has been made by then out of the collector's sight.

    Site, profiles, chain and modules stay to the end; to walk them all takes 40 ms with fifty units (measured), again
    and again, and a drop would have to wait for it.
    """
    import asyncio
    import gc

    async def settle() -> None:
        await asyncio.sleep(SETTLE_S)
        gc.collect()
        gc.freeze()

    settling = asyncio.create_task(settle())
    try:
        return await hosting
    finally:
        settling.cancel()
