"""From a drop to the last answering unit's acknowledgement: the real engine and chain, against bare sockets.

Drops are given from another thread at random moments of the scan, with load on, one unit mute and everything else as in
a real run. Each unit takes all its stages off in one request. The reference has bare sockets to the same units and
nothing else to do: one such request to each at once, until the last echo; the mute one is left out. It pauses as long
between its rounds as there is between drops: a process that has just worked answers sooner than one that has slept.
Both stamp an acknowledgement where the loop hands its bytes over. The two take turns in the same run; the goal is a
99th percentile of at most twice the reference's median.
"""

import argparse
import asyncio
import gc
import random
import threading
import time
from collections.abc import Callable
from typing import Any

from benchctl.controller.owner import Owner
from benchctl.core.command import Command, Verb
from benchctl.core.decision import Frame, Settings
from benchctl.core.orders import Write
from benchctl.core.site import Endpoint, Site
from benchctl.core.state import State
from benchctl.engine import Chain as EngineChain
from benchctl.engine import Engine
from benchctl.field.chain import Chain
from tests.bench.chain import MUTE_AFTER_S, simulated
from tests.bench.figures import machine, percentile, pin, summary

WRITES = (5, 6, 15, 16)  # function codes
PERIOD_S = {4: 0.25, 50: 0.4, 200: 1.0}  # by units: short ones, so that a drop often meets a read
TURNS = 3
ANSWER_S = 5.0
PATIENCE_S = 30.0


class Stamped(asyncio.Protocol):
    """A protocol that notes when acknowledgements come, and passes everything on."""

    def __init__(self, inner: asyncio.Protocol, noted: Callable[[float], object]) -> None:
        self._inner, self._noted = inner, noted
        self.connection_made, self.connection_lost = inner.connection_made, inner.connection_lost  # type: ignore[method-assign]

    def data_received(self, data: bytes) -> None:
        """Replies; the last of them may be an acknowledgement, which has 12 bytes."""
        if len(data) >= 12 and data[-8:-6] == b"\0\6" and data[-5] in WRITES:
            self._noted(time.monotonic())
        self._inner.data_received(data)


class StampedChain(Chain):
    """The live chain, with the first acknowledgement of each unit since `begin`."""

    def __init__(self, site: Site) -> None:
        super().__init__(site, connect=self._connect)
        self.first: dict[Endpoint, float] = {}

    def begin(self) -> None:
        """Forget what has come."""
        self.first = {}

    async def _connect(
        self, endpoint: Endpoint, factory: Callable[[], asyncio.Protocol]
    ) -> tuple[asyncio.Transport, asyncio.Protocol]:
        inner = factory()
        loop = asyncio.get_running_loop()
        transport, _ = await loop.create_connection(
            lambda: Stamped(inner, lambda at_s: self.first.setdefault(endpoint, at_s)), endpoint.host, endpoint.port
        )
        return transport, inner


class Ours:
    """An engine in its thread on a loaded chain, dropped again and again."""

    def __init__(self, site: Site, period_s: float) -> None:
        self._site, self._period_s = site, period_s
        self._kept: State | None = None
        self._frame = threading.Condition()
        self._latest: Frame | None = None
        self._dropped: tuple[Frame, dict[Endpoint, float]] | None = None
        self.cut = 0  # drops that cut reads short
        self.unanswered = 0  # writes to units that should answer and did not
        settings = Settings.of(site, None, period_s)
        self._owner = Owner(settings, asyncio.new_event_loop, self._make_chain, self._make_engine)

    def _make_chain(self, loop: asyncio.AbstractEventLoop) -> StampedChain:
        self._chain = StampedChain(self._site)
        return self._chain

    def _make_engine(self, settings: Settings, chain: EngineChain) -> Engine:
        self._engine = Engine(settings, chain, time.time, (self._listen,))
        return self._engine

    def _listen(self, frame: Frame) -> None:
        with self._frame:
            self._latest = frame
            if any(c.verb is Verb.DROP for c in frame.inputs.commands):
                self._dropped = frame, dict(self._chain.first)
            self._frame.notify_all()

    def _until(self, test: Callable[[Frame], bool]) -> Frame:
        """Wait for a frame that satisfies `test`."""
        with self._frame:
            if not self._frame.wait_for(lambda: self._latest is not None and test(self._latest), PATIENCE_S):
                raise RuntimeError(f"the chain is not what it should be within {PATIENCE_S:g} s")
            assert self._latest is not None
            return self._latest

    def start(self) -> None:
        """Take charge of the load that is on, as if we had put it on, and wait until one unit has fallen silent."""
        begun_s = time.monotonic()
        self._owner.start()
        self._until(lambda f: all(u.last.load for u in f.decision.state.units))
        self._owner.between_scans(_in_charge)
        time.sleep(max(0.0, begun_s + MUTE_AFTER_S - time.monotonic()))
        self._until(lambda f: not f.inputs.units[-1].outcome.tells)
        time.sleep(2 * self._period_s)
        frame = self._until(lambda f: True)
        orders = frame.decision.orders.units[:-1]  # the mute one's are repeated once it counts as lost
        assert not any(o.lower or o.raise_to for o in orders), "the load is not held"
        self._kept = frame.decision.state
        gc.collect()
        gc.freeze()  # as the run host does

    def drop(self, moment_s: float) -> float:
        """Drop at a moment; returns the seconds to the last answering unit's acknowledgement."""
        with self._frame:
            self._dropped = None
        time.sleep(moment_s)
        self._chain.begin()
        begun_s = time.monotonic()
        self._owner.submit(Command(Verb.DROP, "bench"))
        with self._frame:
            assert self._frame.wait_for(lambda: self._dropped is not None, ANSWER_S), "no scan has obeyed the drop"
            assert self._dropped is not None
            frame, first = self._dropped
        self.cut += frame.inputs.cut_short
        units = zip(self._site.units[:-1], frame.writes, strict=False)
        done = [u.endpoint for u, w in units if w.opening is Write.DONE]
        self.unanswered += len(self._site.units) - 1 - len(done)
        self._again()
        return max(first[endpoint] for endpoint in done) - begun_s

    def _again(self) -> None:
        """Back to where the load was on."""
        kept = self._kept
        assert kept is not None
        number = self._engine.number

        def hold(engine: Engine) -> None:
            nonlocal number
            engine.state, number = kept, engine.number

        self._owner.between_scans(hold)
        self._until(lambda f: f.number > number and not f.decision.state.dropped)
        self._until(lambda f: not any(o.lower for o in f.decision.orders.units[:-1]))

    def stop(self) -> None:
        """End the engine."""
        self._owner.stop()


def _in_charge(engine: Engine) -> None:
    state = engine.state.copy()
    state.charge = "bench"
    for u, unit in zip(state.units, engine.settings.site.units, strict=True):
        u.joined = u.emptied = u.seen_still = u.proven = u.fan = True
        u.wanted = u.possible = unit.profile.full_load
    state.target_kw = 2.0 * engine.settings.site.rated_kw
    engine.state = state


# -- the reference


class Bare(asyncio.Protocol):
    """One socket; `echoed` is called with each reply."""

    def __init__(self, echoed: Callable[[], None]) -> None:
        self._echoed = echoed

    def data_received(self, data: bytes) -> None:
        """An echo."""
        self._echoed()


async def bare(site: Site, pauses_s: list[float]) -> list[float]:
    """Seconds of each round of one write to every answering unit at once, after each of these pauses."""
    loop = asyncio.get_running_loop()
    left, over = 0, loop.create_future()

    def echoed() -> None:
        nonlocal left
        left -= 1
        if not left:
            over.set_result(time.monotonic())

    transports = []
    for unit in site.units[:-1]:
        transport, _ = await loop.create_connection(lambda: Bare(echoed), unit.endpoint.host, unit.endpoint.port)
        transports.append(transport)
    stages = len(site.units[0].profile.stages)
    frame = bytes((0, 1, 0, 0, 0, 8, 1, 15, 0, 0, 0, stages, 1, 0))
    found = []
    for pause_s in pauses_s:
        await asyncio.sleep(pause_s)
        left, over = len(transports), loop.create_future()
        begun_s = time.monotonic()
        for transport in transports:
            transport.write(frame)
        found.append(await asyncio.wait_for(over, ANSWER_S) - begun_s)
    for transport in transports:
        transport.abort()
    await asyncio.sleep(0.05)
    return found


# -- both


def measure(count: int, dead_time_s: float, drops: int) -> dict[str, Any]:
    """One chain: the reference and ours in turns."""
    ours_s: list[float] = []
    bare_s: list[float] = []
    medians_s, cut, unanswered, draw = [], 0, 0, random.Random(1)
    period_s = PERIOD_S.get(count, 0.5)
    for _ in range(TURNS):
        with simulated(count, dead_time_s) as site:
            ours = Ours(site, period_s)
            ours.start()
            moments_s = [draw.random() * period_s for _ in range(drops // TURNS)]
            turn_s = [ours.drop(moment_s) for moment_s in moments_s]
            ours.stop()
            bare_s += asyncio.run(bare(site, [period_s + moment_s for moment_s in moments_s]))
        ours_s += turn_s
        cut, unanswered = cut + ours.cut, unanswered + ours.unanswered
        medians_s.append(percentile(turn_s, 50))
    round_s = percentile(bare_s, 50)
    return {
        "units": count, "dead_time_ms": 1e3 * dead_time_s, "scan_period_s": period_s, "cut_short": cut,
        "unanswered": unanswered,
        "reference": summary(bare_s), "drop": summary(ours_s),
        "drop_medians_of_turns_ms": [round(1e3 * m, 3) for m in medians_s],
        "median_ratio": round(percentile(ours_s, 50) / round_s, 2),
        "p99_ratio": round(percentile(ours_s, 99) / round_s, 2),
        "p99_to_p99_ratio": round(percentile(ours_s, 99) / percentile(bare_s, 99), 2),
    }  # fmt: skip


def run(words: list[str], *, quick: bool) -> dict[str, Any]:
    """All chains; returns the figures."""
    parser = argparse.ArgumentParser("python -m tests.bench drop")
    parser.add_argument("--units", type=int, nargs="+", default=[4, 50, 200])
    parser.add_argument("--dead-ms", type=float, nargs="+", default=[0.0, 5.0, 20.0])
    parser.add_argument("--drops", type=int, default=9 if quick else 300)
    asked = parser.parse_args(words)
    pin(1)
    where, rows = machine(), []
    print("units  dead ms | one round trip p50   p99 |  drop p50   p90    p99    max | p99/p50 of reference, p99/p99")
    for count in asked.units:
        for dead_ms in asked.dead_ms:
            row = measure(count, dead_ms / 1e3, asked.drops)
            rows.append(row)
            one, all_ = row["reference"], row["drop"]
            print(
                f"{count:5}  {dead_ms:7g} | {one['median_ms']:18.2f}{one['p99_ms']:6.1f} | {all_['median_ms']:9.2f}"
                f"{all_['p90_ms']:6.1f} {all_['p99_ms']:6.1f} {all_['max_ms']:6.1f} | {row['p99_ratio']:.2f}, "
                f"{row['p99_to_p99_ratio']:.2f}",
                flush=True,
            )
    return {"benchmark": "drop", "machine": where, "rows": rows}
