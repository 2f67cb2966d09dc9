"""A run on simulated units in virtual time: the engine, the real client and real frames, or no bytes at all.

The only file that imports the simulator. Everything happens in one loop whose clock jumps, so the same site, program,
scenario and seed give the same run, byte for byte.
"""

import asyncio
import gc
from collections.abc import Callable
from typing import Any

from benchctl.core.decision import Frame, Settings
from benchctl.core.inputs import Recorder
from benchctl.core.orders import Orders, UnitWrites
from benchctl.core.scenario import Fault, Scenario
from benchctl.core.site import Site
from benchctl.engine import Engine, Listener, Readings
from benchctl.field.chain import Chain as FieldChain
from benchctl.rehearsed import RehearsedOperator
from simulator.bench import Bench
from simulator.cable import Memory
from simulator.direct import Direct
from simulator.warp import WarpLoop, run

Health = Callable[[], Recorder]
COLLECT_EACH = 50_000  # new objects


class BytesChain(FieldChain):
    """The field layer's chain on the simulator's in-memory network: real requests, real replies."""

    def __init__(self, site: Site, bench: Bench, loop: asyncio.AbstractEventLoop) -> None:
        super().__init__(site, connect=Memory(bench, loop).connect)


class RehearsedChain(BytesChain):
    """The units and instruments of a site as they are rehearsed under a controller, whose operator is a real one.

    Made and used in its loop, best one of `paced_loop`. Give it every frame (`listen`): it tells the world which
    segment runs. Raises ValueError for a scenario with a fault on what the site has not.
    """

    def __init__(
        self, site: Site, loop: asyncio.AbstractEventLoop, scenario: Scenario | None = None, seed: int = 0
    ) -> None:
        self._begun_s = loop.time()
        self._clock = loop
        self._warp = loop if isinstance(loop, WarpLoop) else None
        self.bench = Bench(site, scenario or Scenario(), seed)
        super().__init__(site, self.bench, loop)

    def inject(self, fault: Fault) -> None:
        """Let a fault begin now, for its time or until it is healed. Raises ValueError as the simulator does."""
        self.bench.advance(self._clock.time() - self._begun_s)
        self.bench.inject(fault)

    def heal(self, name: str, on: str) -> tuple[Fault, ...]:
        """Let the faults of that name there end now; returns those that were in force."""
        self.bench.advance(self._clock.time() - self._begun_s)
        return self.bench.heal(name, on)

    def site_load(self, *, off: bool) -> None:
        """People take the site's own load off the source, or leave it to come and go."""
        self.bench.advance(self._clock.time() - self._begun_s)
        self.bench.hold_site_load(0.0 if off else None)

    def go_at(self, pace: float | None) -> None:
        """Go on at another pace. Raises ValueError for one that is not above 0, or a loop that has none."""
        if self._warp is None:
            raise ValueError("its loop runs in real time only")
        self._warp.pace = pace

    @property
    def true_pace(self) -> float | None:
        """Virtual seconds a real second of the last few seconds; None: not known. From any thread."""
        return None if self._warp is None else self._warp.true_pace

    def listen(self, frame: Frame) -> None:
        """A listener of the engine, whose time must be the loop's: one without a running clock."""
        tell_segments(self.bench, frame, self._begun_s)


def tell_segments(bench: Bench, frame: Frame, begun_s: float = 0.0) -> None:
    """Tell the simulated world which segments a scan has reached: faults of a scenario may wait for one.

    begun_s: the engine's time at which the world's time began.
    """
    for event in frame.decision.events:
        if event.kind == "segment":
            bench.segment_reached(dict(event.data)["segment"], frame.inputs.now_s - begun_s)


def paced_loop(pace: float | None = 1.0) -> WarpLoop:
    """A loop whose clock makes that many virtual seconds a real one, or, for None, goes as fast as it can.

    Raises ValueError for a pace that is not above 0. `true_pace` tells what it really makes.
    """
    return WarpLoop(pace=pace)


class DirectChain:
    """The simulated chain without bytes, for campaigns in which the wire has no part."""

    def __init__(self, bench: Bench, loop: asyncio.AbstractEventLoop) -> None:
        self._bench, self._direct, self._loop = bench, Direct(bench), loop

    async def read(self, until_s: float, cut: asyncio.Event | None = None) -> Any:  # noqa: ARG002 - it takes no time
        """See engine.Chain."""
        self._bench.advance(self._loop.time())
        return self._direct.read()

    def readings(self, sweep: Readings) -> Readings:
        """See engine.Chain."""
        return sweep

    async def write(self, orders: Orders, until_s: float, cut: Any = None) -> tuple[UnitWrites, ...]:  # noqa: ARG002 - nor does it
        """See engine.Chain."""
        return self._direct.write(orders)

    async def close(self) -> None:
        """Nothing is open."""


class Rehearsal:
    """One rehearsed run. `wall_s` is the clock time at which it pretends to begin."""

    def __init__(
        self,
        settings: Settings,
        scenario: Scenario | None = None,
        *,
        seed: int = 0,
        wall_s: float = 0.0,
        listeners: tuple[Listener, ...] = (),
        health: Health = lambda: Recorder.ABSENT,
        with_bytes: bool = True,
    ) -> None:
        self.settings = settings
        self.scenario = scenario or Scenario()
        self.bench = Bench(settings.site, self.scenario, seed)
        if settings.program is not None and settings.program.site_load_off:
            self.bench.hold_site_load(0.0)
        self.operator = RehearsedOperator(settings, self.scenario)
        self._wall_s = wall_s
        self._listeners = listeners
        self._health = health
        self._with_bytes = with_bytes
        self.engine: Engine | None = None

    def run(self) -> Frame:
        """Rehearse to the end; returns the last frame."""
        loop = WarpLoop()
        thresholds = gc.get_threshold()
        gc.collect()
        gc.freeze()  # site, profiles and world stay to the end: walking them again and again costs a sixth of the run
        gc.set_threshold(COLLECT_EACH, *thresholds[1:])
        try:
            return run(self._run(loop), loop)
        finally:
            gc.set_threshold(*thresholds)
            gc.unfreeze()

    async def _run(self, loop: WarpLoop) -> Frame:
        chain: BytesChain | DirectChain
        chain = BytesChain(self.settings.site, self.bench, loop) if self._with_bytes else DirectChain(self.bench, loop)
        engine = self.engine = Engine(
            self.settings, chain, lambda: self._wall_s + loop.time(), self._listeners, self._health
        )
        try:
            return await engine.run(self._step)
        finally:
            await chain.close()

    def _step(self, frame: Frame) -> bool:
        """Tell the simulator which segment runs and let the rehearsed operator act; True when the rehearsal is over.

        No listener: an engine goes on without one that fails, and a rehearsal without its operator would never end.
        """
        assert self.engine is not None
        tell_segments(self.bench, frame)
        for command in self.operator.commands(frame):
            self.engine.submit(command)
        return self.operator.over(frame)
