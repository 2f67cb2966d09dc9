"""Universes of spoilt replies against the real client, from seeds, in virtual time.

`python -m tests.hostile wire --count N --seed S`: universe after universe until N replies have been spoilt. Of each
ten, nine give the chain orders at random (every order of writes that there is), one is a whole bench that runs a
program: engine, decisions and all, under the observer of the laws.
"""

import argparse
import asyncio
import time
from collections import Counter
from functools import cache
from random import Random
from typing import Any

from benchctl.core.decision import Frame
from benchctl.core.levels import join, meet
from benchctl.core.orders import Orders, UnitOrders
from benchctl.core.profile import Profile
from benchctl.core.scenario import Scenario
from benchctl.core.site import Site
from benchctl.engine import Engine
from benchctl.field.chain import GRACE_S, Chain
from benchctl.files import read_site
from benchctl.rehearsal import Rehearsal, tell_segments
from simulator.bench import Bench
from simulator.warp import WarpLoop, run
from tests.hostile.frames import NAMES, Mill, some_kinds
from tests.hostile.judge import Found, Judge
from tests.hostile.network import Network
from tests.rehearsal.test_rehearsal import Kept, settings_of

SITES = ("northquay", "alder-ridge")
SHARES = (0.03, 0.3, 0.6, 0.8, 1.0)
LENGTH_S, PERIOD_S = 120.0, 0.5
BENCH_S = 240.0
REAL = (0, 1)  # of twenty universes: whose chain is on simulated banks at every instant
STILL_S = 10.0
ROUNDING_S = 1e-6
SLOW_S = 2.0  # of processor time for one scan, in which nothing may hang


_site = cache(lambda name: read_site(name)[0])  # decoders are made once for each site


class Universe:
    """What is common to both kinds: the network, the judge, and what asyncio was told of."""

    def __init__(self, site: Site, seed: int, found: Found, scenario: Scenario | None = None) -> None:
        self.site, self.seed, self.found = site, seed, found
        self.rng = Random(f"hostile wire {seed}")
        self.mill = Mill(self.rng, self.rng.choice(SHARES), found.counts, names=some_kinds(self.rng))
        self.bench = Bench(site, scenario or Scenario(), seed)
        self.loop = WarpLoop()
        self.loop.set_exception_handler(self._raised)
        self.net = Network(self.bench, self.loop, self.mill)
        self.judge = Judge(site, found)

    def _raised(self, loop: asyncio.AbstractEventLoop, told: dict[str, Any]) -> None:
        self.found.broken.append(f"seed {self.seed}: raised in a callback: {told.get('exception') or told['message']}")

    def taken(self) -> list[Any]:
        """The log since the last time."""
        log, self.net.log = self.net.log, []
        return log


class ChainUniverse(Universe):
    """A chain that reads at every scan and is given orders at random."""

    def __init__(self, seed: int, found: Found) -> None:
        super().__init__(_site(SITES[seed % len(SITES)]), seed, found)
        if seed % 20 not in REAL:  # physics cost more than all the rest; here the figures tremble instead
            real, self.net.trembles = self.bench.advance, True
            self.bench.advance = lambda to_s: real(to_s // STILL_S * STILL_S)  # type: ignore[method-assign]
        self.held = [0] * len(self.site.units)

    def run(self, length_s: float = LENGTH_S) -> None:
        run(self._run(length_s), self.loop)

    async def _run(self, length_s: float) -> None:
        chain, loop = Chain(self.site, connect=self.net.connect), self.loop
        while loop.time() < length_s:
            began_s, worked_s = loop.time(), time.process_time()
            sweep = await chain.read(began_s + 0.5 * PERIOD_S)
            self._in_time("read", began_s + 0.5 * PERIOD_S)
            self.judge.read(sweep, self.taken(), loop.time())
            chain.readings(sweep)
            orders = self._orders()
            until_s = began_s + PERIOD_S
            outcomes = await chain.write(orders, until_s)
            self._in_time("write", until_s)
            log = self.taken()
            self.judge.wrote(orders, sweep, outcomes, log, loop.time())
            if time.process_time() - worked_s > SLOW_S:
                self.found.broken.append(
                    f"seed {self.seed}: a scan took {time.process_time() - worked_s:.1f} s of work"
                )
            self.found.counts["scans"] += 1
            await asyncio.sleep(max(0.0, began_s + PERIOD_S - loop.time()))
        await chain.close()

    def _in_time(self, what: str, until_s: float) -> None:
        late_s = self.loop.time() - until_s - GRACE_S
        if late_s > ROUNDING_S:
            self.found.broken.append(
                f"seed {self.seed}, {until_s:.3f} s: {what} ends {late_s:.3f} s after its deadline"
            )

    def _orders(self) -> Orders:
        urgent = self.rng.random() < 0.03
        given = []
        for i, unit in enumerate(self.site.units):
            order, self.held[i] = _order(self.rng, unit.profile, self.held[i], urgent)
            given.append(order)
        return Orders(tuple(given), block=self.rng.random() < 0.3, urgent=urgent)


def _order(rng: Random, profile: Profile, held: int, urgent: bool) -> tuple[UnitOrders, int]:
    """Orders to one unit, and the load that they leave it with."""
    if urgent:
        return UnitOrders(lower=True, fan=rng.choice((True, None))), 0
    some = rng.randint(0, profile.full_load)
    what = rng.choice(("rest", "raise", "lower", "lower", "both", "silent"))
    fan, feed = rng.choice((True, True, False, None)), rng.random() < 0.7
    if what == "rest":
        return UnitOrders(keep=held, fan=fan, feed=feed), held
    if what == "silent":
        return UnitOrders(keep=held, silent=True), held
    keep = held if what == "raise" else meet(profile, held, some)
    raise_to = None if what == "lower" else join(profile, keep, rng.randint(0, profile.full_load))
    return UnitOrders(keep, raise_to, fan, feed, lower=what != "raise"), keep if raise_to is None else raise_to


class BenchUniverse(Universe):
    """A whole bench that runs a program, watched by the observer of the laws."""

    def __init__(self, seed: int, found: Found) -> None:
        self.settings = settings_of("ladder")
        super().__init__(self.settings.site, seed, found)
        self.kept = Kept()
        self.rehearsal = Rehearsal(self.settings, seed=seed)

    def run(self, length_s: float = BENCH_S) -> None:
        run(self._run(length_s), self.loop)
        told = [f"seed {self.seed}: {text}" for text in self.kept.broken]
        self.found.broken += told + [f"seed {self.seed}: {text}" for text in self.kept.texts("fault")]

    async def _run(self, length_s: float) -> None:
        chain, loop = Chain(self.site, connect=self.net.connect), self.loop
        engine = Engine(self.settings, chain, loop.time, (self.kept, self._judged))
        operator = self.rehearsal.operator

        def step(frame: Frame) -> bool:
            tell_segments(self.bench, frame)
            for command in operator.commands(frame):
                engine.submit(command)
            return operator.over(frame) or frame.inputs.now_s > length_s

        try:
            await engine.run(step)
        finally:
            await chain.close()

    def _judged(self, frame: Frame) -> None:
        """An engine goes on without a listener that fails: what is wrong is told, never raised."""
        try:
            if frame.fault:
                self.found.broken.append(f"seed {self.seed}: scan {frame.number}: {frame.fault}")
            if frame.sweep is not None:
                log = self.taken()
                self.judge.read(frame.sweep, log, frame.inputs.now_s)
                for endpoint, asked in log:
                    self._raised_load(frame, endpoint, asked)
            self.found.counts["scans of a whole bench"] += 1
        except Exception as fault:
            self.found.broken.append(f"seed {self.seed}: the judge failed: {fault!r}")

    def _raised_load(self, frame: Frame, endpoint: Any, asked: Any) -> None:
        for unit, given in zip(self.site.units, frame.decision.orders.units, strict=True):
            if (endpoint, asked.unit_id) == (unit.endpoint, unit.unit_id) and asked.write:
                self.judge.rose(unit, given, asked, frame.inputs.now_s)


def universe(seed: int, found: Found) -> None:
    """One universe by its seed."""
    (BenchUniverse if seed % 10 == 9 else ChainUniverse)(seed, found).run()


def spoilt(found: Found) -> int:
    """How many replies were spoilt."""
    return sum(found.counts[name] for name in NAMES)


def until(count: int, seed: int, found: Found, tell: Any = None) -> int:
    """Universes from that seed on until so many replies have been spoilt; returns the first seed that was not used."""
    while spoilt(found) < count:
        before = len(found.broken)
        universe(seed, found)
        for text in found.broken[before:]:
            print(f"BROKEN seed {seed}: {text}", flush=True)
        if tell is not None:
            tell(seed, found)
        seed += 1
    return seed


def main(rest: list[str]) -> int:
    """From the command line."""
    parser = argparse.ArgumentParser("python -m tests.hostile wire", description=__doc__)
    parser.add_argument("--count", type=int, default=1_000_000, help="replies to spoil (default: a million)")
    parser.add_argument("--seed", type=int, default=0, help="of the first universe")
    args = parser.parse_args(rest)
    found, began_s = Found(Counter()), time.monotonic()

    def tell(seed: int, so_far: Found) -> None:
        if seed % 50 == 0:
            print(f"seed {seed}: {spoilt(so_far)} spoilt, {len(so_far.broken)} laws broken", flush=True)

    end = until(args.count, args.seed, found, tell)
    print(f"\nseeds {args.seed} to {end - 1}, {time.monotonic() - began_s:.0f} s: {spoilt(found)} replies spoilt")
    for name, number in sorted(found.counts.items(), key=lambda row: (row[0] not in NAMES, row[0])):
        print(f"  {number:>9}  {name}")
    print(f"{len(found.broken)} laws broken")
    return 1 if found.broken else 0
