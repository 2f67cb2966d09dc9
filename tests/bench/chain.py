"""A simulated chain in a process of its own, all units loaded: `python -m tests.bench.chain UNITS DEAD_TIME_MS`.

Units acknowledge writes and do not follow them, so that the chain is loaded again for the next drop; the last unit of
all falls silent a moment after the start. The first line on stdout has the ports, in the units' order, as JSON.
"""

import asyncio
import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import cache

from benchctl.core.profile import Profile, Simulated
from benchctl.core.scenario import Fault, Scenario
from benchctl.core.site import Endpoint, Nameplate, Site, Unit, Wiring
from benchctl.files import read_profile
from simulator.bench import Bench
from simulator.server import Server
from tests.bench.figures import pin

HOST = "127.0.0.1"
FANS_S, LOADED_S = 30.0, 60.0  # of simulated time: fans are up; load is on
TICK_S = 2e-3  # the world moves by so much at once: a world of 200 units that moves for each request answers late
MUTE_AFTER_S = 8.0  # of real time, from the start


@cache
def profile(dead_time_s: float) -> Profile:
    """A shipped unit whose stages are written in one request, with another turnaround."""
    made, _ = read_profile("coil-100")
    registers = replace(made.registers, turnaround_s=dead_time_s)
    return replace(made, registers=registers, simulated=replace(made.simulated or Simulated(), dead_time_s=dead_time_s))


def site(ports: list[int], dead_time_s: float) -> Site:
    """A stiff supply and a unit on each port."""
    count, made = len(ports), profile(dead_time_s)
    plate = Nameplate("supply", "supply", 110.0 * count, 110.0 * count, 400.0, 50.0, Wiring.THREE_PHASE_4W)
    units = tuple(Unit(f"bank {i}", Endpoint(HOST, port), 1, made) for i, port in enumerate(ports, 1))
    return Site("bench", "Benchmark (invented)", plate, units)


def loaded_bench(place: Site) -> Bench:
    """The site's world with all load on and writes that change nothing from now on."""
    mute = Fault(LOADED_S + MUTE_AFTER_S, "mute", place.units[-1].name)
    held = tuple(Fault(LOADED_S, "ignores writes", u.name) for u in place.units)
    bench = Bench(place, Scenario(faults=(*held, mute)))
    for bank in bench.banks:
        bank.order_fan(True)
    bench.advance(FANS_S)
    for bank in bench.banks:
        bank.order_load(bank.profile.full_load)
    bench.advance(LOADED_S)
    return bench


async def serve(count: int, dead_time_s: float) -> None:
    """Serve until stdin ends."""
    loop = asyncio.get_running_loop()
    bench = loaded_bench(site(list(range(1, count + 1)), dead_time_s))
    started_s = loop.time()
    server = Server(bench, lambda: LOADED_S + (loop.time() - started_s) // TICK_S * TICK_S)
    places = await server.start(ports="ephemeral")
    print(json.dumps([places[u.endpoint][1] for u in bench.site.units]), flush=True)
    await loop.run_in_executor(None, sys.stdin.read)
    await server.stop()


@contextmanager
def simulated(count: int, dead_time_s: float) -> Iterator[Site]:
    """The chain of another process, while it runs."""
    words = [sys.executable, "-m", "tests.bench.chain", str(count), str(1e3 * dead_time_s)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            yield site(json.loads(process.stdout.readline()), dead_time_s)
        finally:
            process.communicate()


if __name__ == "__main__":
    pin(0)
    asyncio.run(serve(int(sys.argv[1]), float(sys.argv[2]) / 1e3))
