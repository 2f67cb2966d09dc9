"""The scan loop: read, decide, write, tell. The only mutable state of the bench lives here.

One scan has one deadline, and scans lie on a fixed grid of periods: a late scan is followed by the next place on the
grid, nothing catches up, and what was to be closed before a hole in time is not closed after it. Listeners get the
frame after the writes and cannot delay a contactor; one that raises is told of and left out. A chain that raises is a
chain that did not answer. If `decide` raises, everything is ordered open, fans on, no watchdog fed, until that is
acknowledged; then the loop ends.

A drop wakes the loop, cuts reads and writes short, and is written to every unit before anything is decoded or decided,
because with many units that takes longer than a reply. Then comes its scan, which knows the command, says what else is
to be done (the trip, fans), and repeats the openings as every scan does until they are read back.

An engine belongs to the loop and the thread that it runs in. Other threads reach it by that loop's
`call_soon_threadsafe(engine.submit, command)`, and likewise `rebase` and `stop`; after a drop they call `expect_drop`,
so that a scan in which nothing waits need not give way to the loop in order to hear of one.
"""

import asyncio
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Protocol

from benchctl.clocks import Passing
from benchctl.core.command import Command, Verb
from benchctl.core.decide import all_open, decide, last_resort
from benchctl.core.decision import Decision, Event, Frame, Settings, first_state
from benchctl.core.inputs import Inputs, Recorder
from benchctl.core.orders import Orders, UnitWrites, Write
from benchctl.core.perceive import gap_limit_s
from benchctl.core.reading import NOT_ASKED_INSTRUMENT, NOT_ASKED_UNIT, InstrumentReading, UnitReading
from benchctl.core.seen import Seen

READ_SHARE = 0.6  # of the period is for reads; the rest is for decide and writes
EARLY_S = 1e-3  # timers may come so early
LAST_TRIES = 20  # how often openings are repeated after decide has failed
MAY_BE = UnitWrites(Write.UNKNOWN, Write.UNKNOWN, Write.UNKNOWN, Write.UNKNOWN)

Readings = tuple[tuple[UnitReading, ...], tuple[InstrumentReading, ...]]


class Chain(Protocol):
    """The units and instruments as the engine needs them: real, simulated with bytes, or without."""

    async def read(self, until_s: float, cut: asyncio.Event | None = None) -> Any:
        """Read everything within the deadline (loop time); what did not answer is in the result too."""

    def readings(self, sweep: Any) -> Readings:
        """What a read means."""

    async def write(self, orders: Orders, until_s: float, cut: asyncio.Event | None = None) -> tuple[UnitWrites, ...]:
        """Write the orders within the deadline and say how each unit's writes ended. A cut ends all but urgent ones."""


Listener = Callable[[Frame], None]


def openings(orders: Orders) -> Orders:
    """Orders without their closings."""
    return replace(orders, units=tuple(replace(o, raise_to=None) for o in orders.units), block=False)


def not_closed(orders: Orders, writes: tuple[UnitWrites, ...]) -> tuple[UnitWrites, ...]:
    """The writes of orders whose closings were left out."""
    return tuple(
        w if o.raise_to is None else replace(w, closing=Write.NOT_SENT)
        for o, w in zip(orders.units, writes, strict=True)
    )


class Engine:
    """Owns the state and drives the scans. Time is the event loop's, and what it has missed while the computer slept.

    wall: seconds since 1970. recorder_health, attached, consoles: asked once a scan, must not wait (attached: is
    somebody there; None where nobody has to be; consoles: names of those that are attached). running: a clock in
    seconds that runs on in sleep (clocks.running_clock), or None where the loop's is all there is.
    """

    def __init__(
        self,
        settings: Settings,
        chain: Chain,
        wall: Callable[[], float],
        listeners: tuple[Listener, ...] = (),
        recorder_health: Callable[[], Recorder] = lambda: Recorder.ABSENT,
        *,
        attached: Callable[[], bool | None] = lambda: None,
        consoles: Callable[[], tuple[str, ...]] = tuple,
        running: Callable[[], float] | None = None,
    ) -> None:
        self.settings = settings
        self.state = first_state(settings)
        self._chain = chain
        self._passing = Passing(wall, running)
        self._listeners = listeners
        self._recorder_health = recorder_health
        self._attached, self._consoles = attached, consoles
        self._commands: list[tuple[float, Command]] = []
        self._cut = asyncio.Event()
        self._expected = False  # a drop is in the loop's queue, perhaps
        self._wake = asyncio.Event()
        self._notes: list[Event] = []  # what went wrong outside of decide, told with the next frame
        self._writes: tuple[UnitWrites, ...] = ()
        self._next: Settings | None = None  # those of the next scan, where they are others
        self._stopped = False
        self.number = 0
        self.failed = ""

    def submit(self, command: Command) -> None:
        """Give a command to the next scan. A drop does not wait for it: it wakes the loop, ends what is in progress."""
        self._commands.append((self._passing.now_s(asyncio.get_running_loop().time()), command))
        if command.verb is Verb.DROP:
            self._cut.set()
            self._wake.set()

    def expect_drop(self) -> None:
        """From any thread: a drop waits in the loop's queue. The scan in hand lets it in before it goes on."""
        self._expected = True

    def rebase(self, settings: Settings) -> None:
        """Decide by these settings from the next scan on; the state stays as it is.

        Listeners are told a frame while `settings` are those that it was decided by. Raises ValueError for another
        site: the chain and the state belong to the one that we have.
        """
        if settings.site is not self.settings.site:
            raise ValueError(
                f"settings of another site: {settings.site.name}, expected those of {self.settings.site.name}"
            )
        self._next = settings

    def stop(self) -> None:
        """End `run` after the scan in hand; at once where none is, but never before the first."""
        self._stopped = True
        self._wake.set()

    def note(self, event: Event) -> None:
        """Tell what happened outside of deciding with the next frame, so that it is in the record too."""
        self._notes.append(event)

    async def run(self, until: Callable[[Frame], bool]) -> Frame:
        """Scan until a frame satisfies `until`, `stop` is called or decide has failed; returns the last frame."""
        loop = asyncio.get_running_loop()
        start_s, place, period_s = loop.time(), 0, 0.0
        while True:
            begin_s = start_s + place * period_s
            early = loop.time() < begin_s - EARLY_S  # woken by a drop: its place on the grid is still to come
            frame = await self.scan(begin_s)
            if frame.fault:
                await self._open_all()
                return frame
            if until(frame):
                return frame
            if period_s != self.settings.scan_period_s:  # the first, or rebased: a new grid
                start_s, place, period_s = begin_s, 0, self.settings.scan_period_s
            place = max(place if early else place + 1, math.ceil((loop.time() - start_s) / period_s - 1e-9))
            await self._sleep_until(start_s + place * period_s)
            if self._stopped:
                return frame

    async def _open_all(self) -> None:
        """Repeat the last resort until every unit has acknowledged its openings, or it has been tried often enough."""
        period_s = self.settings.scan_period_s
        for _ in range(LAST_TRIES):
            writes = await self._write(last_resort(self.settings), asyncio.get_running_loop().time() + period_s)
            if all(w.opening in (Write.DONE, Write.NONE) for w in writes):
                return
            await asyncio.sleep(period_s)

    async def _sleep_until(self, time_s: float) -> None:
        loop = asyncio.get_running_loop()
        if time_s <= loop.time() or self._cut.is_set() or self._stopped:
            return
        self._wake.clear()
        timer = loop.call_at(time_s, self._wake.set)
        await self._wake.wait()
        timer.cancel()

    async def scan(self, begin_s: float) -> Frame:
        """One scan: read, decide, write, tell."""
        loop = asyncio.get_running_loop()
        if self._next is not None:
            self.settings, self._next = self._next, None
        period_s = self.settings.scan_period_s
        sweep = await self._read(max(begin_s, loop.time()) + READ_SHARE * period_s)
        cut_short = await self._open_if_dropped()
        readings = self._readings(sweep)
        if await self._drop_let_in():  # with many units decoding takes longer than a reply
            await self._open_if_dropped()
        inputs, wall_s = self._inputs(readings, loop.time(), cut_short)
        decision, fault = self._decide(inputs)
        orders = decision.orders
        await self._drop_let_in()  # one that is known leaves these orders unsent
        if self._passing.now_s(loop.time()) - inputs.now_s > gap_limit_s(self.settings):  # read again before closing
            writes = not_closed(orders, await self._write(openings(orders), loop.time() + period_s))
        else:
            writes = await self._write(orders, loop.time() + period_s)
        self._writes = writes
        self.state = decision.state
        if self._notes:
            decision = replace(decision, events=(*decision.events, *self._notes))
            self._notes.clear()
        spread_s = getattr(self._chain, "last_block_spread_s", None) if orders.block else None
        frame = Frame(self.number, wall_s, inputs, decision, writes, sweep, spread_s, fault)
        self.number += 1
        self._tell(frame)
        return frame

    async def _read(self, until_s: float) -> Any:
        try:
            return await self._chain.read(until_s, self._cut)
        except Exception as fault:  # a chain that breaks is one that does not answer
            self._note("reading", fault)
            return None

    async def _drop_let_in(self) -> bool:
        """Let the loop hand over a drop that waits in its queue; False where none is expected."""
        expected, self._expected = self._expected, False
        if expected:
            await asyncio.sleep(0)
        return expected

    async def _open_if_dropped(self) -> bool:
        """Write openings to every unit if a drop has come; False where none has."""
        if not self._cut.is_set():
            return False
        until_s = asyncio.get_running_loop().time() + READ_SHARE * self.settings.scan_period_s
        await self._write(all_open(self.settings), until_s)
        self._cut.clear()
        return True

    def _readings(self, sweep: Any) -> Readings:
        if sweep is not None:
            try:
                return self._chain.readings(sweep)
            except Exception as fault:
                self._note("reading", fault)
        site = self.settings.site
        return (NOT_ASKED_UNIT,) * len(site.units), (NOT_ASKED_INSTRUMENT,) * len(site.instruments)

    async def _write(self, orders: Orders, until_s: float) -> tuple[UnitWrites, ...]:
        try:
            return await self._chain.write(orders, until_s, self._cut)
        except Exception as fault:  # what was sent may be in force
            self._note("writing", fault)
            return (MAY_BE,) * len(self.settings.site.units)

    def _tell(self, frame: Frame) -> None:
        for listener in self._listeners:
            try:
                listener(frame)
            except Exception as fault:  # no listener may stop a scan
                self._note("a listener", fault)
                self._listeners = tuple(other for other in self._listeners if other is not listener)

    def _note(self, what: str, fault: Exception) -> None:
        self.note(Event("fault", f"{what} failed: {type(fault).__name__}: {fault}"))

    def _inputs(self, readings: Readings, loop_s: float, cut_short: bool) -> tuple[Inputs, float]:
        """The inputs of a scan and the clock time of it."""
        time = self._passing.scan(loop_s, self.settings.scan_period_s)
        commands = tuple([replace(c, age_s=c.age_s + time.now_s - given_s) for given_s, c in self._commands])
        self._commands.clear()
        return Inputs(
            time.now_s,
            time.dt_s,
            *readings,
            commands,
            self._writes,
            self._recorder_health(),
            time.clock_stepped_s,
            cut_short,
            attached=self._attached(),
            stood_still_s=time.stood_still_s,
            consoles=self._consoles(),
        ), time.wall_s

    def _decide(self, inputs: Inputs) -> tuple[Decision, str]:
        """The decision, or the last resort and what went wrong."""
        try:
            return decide(self.state, inputs, self.settings), ""
        except Exception as fault:  # whatever it is: open everything first, then say so
            said = f"{type(fault).__name__}: {fault}"
            self.failed = said
            event = Event("fault", f"deciding failed, everything is ordered open: {said}")
            return Decision(self.state, last_resort(self.settings), (event,), Seen()), said
