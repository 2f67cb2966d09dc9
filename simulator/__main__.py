"""`python -m simulator SITE`.

A simulated chain in real time, one TCP port an endpoint, as the site file says.
"""

import argparse
import asyncio
import json
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TextIO

from benchctl.core.scenario import Scenario
from benchctl.core.site import Instrument, Site, Unit
from benchctl.files import FileFault, read_scenario, read_site
from simulator.bench import Bench
from simulator.server import Server

TRUTH_EVERY_S = 0.1


def arguments() -> argparse.ArgumentParser:
    """The command line."""
    parser = argparse.ArgumentParser("python -m simulator", description=__doc__)
    parser.add_argument("site", metavar="SITE", help="site file, or the bare name of one that is shipped")
    parser.add_argument("--scenario", metavar="FILE", help="timed faults")
    parser.add_argument("--seed", type=int, default=0, help="same seed, same world (default 0)")
    parser.add_argument("--truth", metavar="FILE", type=Path, help="append what is really so, ten JSON lines a second")
    parser.add_argument("--speed", type=float, default=1.0, help="simulated seconds a second (default 1)")
    parser.add_argument("--host", help="listen here instead of the site file's addresses")
    parser.add_argument("--any-port", action="store_true", help="listen on free ports instead of the site file's")
    return parser


def main(words: list[str] | None = None) -> int:
    """Run until SIGINT or SIGTERM. Returns the exit code: 0, or 2 for a flawed file or a port that is in use."""
    asked = arguments().parse_args(words)
    try:
        site, _ = read_site(asked.site)
        scenario = read_scenario(asked.scenario, site)[0] if asked.scenario else Scenario()
    except FileFault as fault:
        print(fault, file=sys.stderr)
        return 2
    if asked.speed <= 0:
        print("--speed must be more than 0", file=sys.stderr)
        return 2
    if asked.truth is None:
        return asyncio.run(serve(site, scenario, asked))
    try:
        with asked.truth.open("a", encoding="utf-8") as out:
            return asyncio.run(serve(site, scenario, asked, out))
    except OSError as error:
        print(f"cannot write {asked.truth}: {error.strerror}", file=sys.stderr)
        return 2


async def serve(site: Site, scenario: Scenario, asked: argparse.Namespace, out: TextIO | None = None) -> int:
    """Serve until told to end."""
    loop = asyncio.get_running_loop()
    started_s = loop.time()
    bench = Bench(site, scenario, asked.seed)

    def clock() -> float:
        return float((loop.time() - started_s) * asked.speed)

    server = Server(bench, clock)
    try:
        places = await server.start(host_override=asked.host, ports="ephemeral" if asked.any_port else "site")
    except OSError as error:
        print(f"cannot listen: {error.strerror or error}. Is another simulator running?", file=sys.stderr)
        return 2
    everything: list[Unit | Instrument] = [*site.units, *site.instruments]
    for device in everything:
        host, port = places[device.endpoint]
        print(f"{device.name}: {host}:{port} unit id {device.unit_id}", file=sys.stderr)
    print("ready", file=sys.stderr, flush=True)
    ended = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, ended.set)
    try:
        await _tell(bench, clock, ended, out)
    finally:
        await server.stop()
    return 0


async def _tell(bench: Bench, clock: Callable[[], float], ended: asyncio.Event, out: TextIO | None) -> None:
    while not ended.is_set():
        bench.advance(clock())
        if out:
            out.write(json.dumps(bench.truth()) + "\n")
            out.flush()
        try:
            await asyncio.wait_for(ended.wait(), TRUTH_EVERY_S)
        except TimeoutError:
            continue


if __name__ == "__main__":
    sys.exit(main())
