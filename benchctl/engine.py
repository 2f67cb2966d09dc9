"""The scan loop: read, decide, write, tell. The only mutable state of the bench lives here.

One scan has one deadline, and scans lie on a fixed grid of periods: a late scan is followed by the next place on the
grid, nothing catches up. Listeners get the frame after the writes and cannot delay a contactor. A drop wakes the loop
and cuts reads short. If `decide` raises, everything is ordered open, fans on, no watchdog is fed, and the loop ends.
"""

import asyncio
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Protocol

from benchctl.core.command import Command, Verb
from benchctl.core.decide import decide, last_resort
from benchctl.core.decision import Decision, Event, Frame, Settings, first_state
from benchctl.core.inputs import Inputs, Recorder
from benchctl.core.orders import Orders, UnitWrites
from benchctl.core.reading import InstrumentReading, UnitReading
from benchctl.core.seen import Seen

READ_SHARE = 0.6  # of the period is for reads; the rest is for decide and writes
CLOCK_STEP_S = 1.0

Readings = tuple[tuple[UnitReading, ...], tuple[InstrumentReading, ...]]


class Chain(Protocol):
    """The units and instruments as the engine needs them: real, simulated with bytes, or without."""

    async def read(self, until_s: float, cut: asyncio.Event | None = None) -> Any:
        """Read everything within the deadline (loop time); what did not answer is in the result too."""

    def readings(self, sweep: Any) -> Readings:
        """What a read means."""

    async def write(self, orders: Orders, until_s: float) -> tuple[UnitWrites, ...]:
        """Write the orders within the deadline and say how each unit's writes ended."""


Listener = Callable[[Frame], None]


class Engine:
    """Owns the state and drives the scans. `wall` gives seconds since 1970; time itself is the event loop's."""

    def __init__(
        self,
        settings: Settings,
        chain: Chain,
        wall: Callable[[], float],
        listeners: tuple[Listener, ...] = (),
        recorder_health: Callable[[], Recorder] = lambda: Recorder.ABSENT,
    ) -> None:
        self.settings = settings
        self.state = first_state(settings)
        self._chain = chain
        self._wall = wall
        self._listeners = listeners
        self._recorder_health = recorder_health
        self._commands: list[tuple[float, Command]] = []
        self._cut = asyncio.Event()
        self._writes: tuple[UnitWrites, ...] = ()
        self._before: tuple[float, float] | None = None  # loop and wall time of the scan before
        self.number = 0
        self.failed = ""

    def submit(self, command: Command) -> None:
        """Give a command to the next scan. A drop does not wait for reads in progress."""
        self._commands.append((asyncio.get_running_loop().time(), command))
        if command.verb is Verb.DROP:
            self._cut.set()

    async def run(self, until: Callable[[Frame], bool]) -> Frame:
        """Scan until a frame satisfies `until` or decide has failed; returns that frame."""
        loop = asyncio.get_running_loop()
        period_s = self.settings.scan_period_s
        start_s = loop.time()
        place = 0
        while True:
            frame = await self.scan(start_s + place * period_s)
            if until(frame) or frame.fault:
                return frame
            place = max(place + 1, int((loop.time() - start_s) / period_s))
            await self._sleep_until(start_s + place * period_s)

    async def _sleep_until(self, time_s: float) -> None:
        delay_s = time_s - asyncio.get_running_loop().time()
        if delay_s <= 0.0 or self._cut.is_set():
            return
        waiter = asyncio.get_running_loop().create_task(self._cut.wait())
        await asyncio.wait({waiter}, timeout=delay_s)
        waiter.cancel()

    async def scan(self, begin_s: float) -> Frame:
        """One scan: read, decide, write, tell."""
        loop = asyncio.get_running_loop()
        period_s = self.settings.scan_period_s
        sweep = await self._chain.read(max(begin_s, loop.time()) + READ_SHARE * period_s, self._cut)
        cut_short = self._cut.is_set()
        self._cut.clear()
        inputs = self._inputs(sweep, loop.time(), cut_short)
        decision, fault = self._decide(inputs)
        writes = await self._chain.write(decision.orders, loop.time() + period_s)
        self._writes = writes
        self.state = decision.state
        spread_s = getattr(self._chain, "last_block_spread_s", None) if decision.orders.block else None
        frame = Frame(self.number, self._before[1] if self._before else 0.0, inputs, decision, writes, sweep, spread_s, fault)
        self.number += 1
        for listener in self._listeners:
            listener(frame)
        return frame

    def _inputs(self, sweep: Any, now_s: float, cut_short: bool) -> Inputs:
        wall_s = self._wall()
        units, instruments = self._chain.readings(sweep)
        commands = tuple(replace(c, age_s=c.age_s + now_s - given_s) for given_s, c in self._commands)
        self._commands.clear()
        dt_s, stepped_s = 0.0, 0.0
        if self._before is not None:
            dt_s = now_s - self._before[0]
            step_s = (wall_s - self._before[1]) - dt_s
            stepped_s = step_s if abs(step_s) >= CLOCK_STEP_S else 0.0
        self._before = (now_s, wall_s)
        return Inputs(now_s, dt_s, units, instruments, commands, self._writes, self._recorder_health(), stepped_s, cut_short)

    def _decide(self, inputs: Inputs) -> tuple[Decision, str]:
        """The decision, or the last resort and what went wrong."""
        try:
            return decide(self.state, inputs, self.settings), ""
        except Exception as fault:  # noqa: BLE001 - whatever it is: open everything first, then say so
            said = f"{type(fault).__name__}: {fault}"
            self.failed = said
            event = Event("fault", f"deciding failed, everything is ordered open: {said}")
            return Decision(self.state, last_resort(self.settings), (event,), Seen()), said
