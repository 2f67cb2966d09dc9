"""An engine in a thread of its own, with a real loop, reached from another thread."""

import asyncio
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.decision import Frame, Settings
from benchctl.core.orders import Orders, UnitWrites
from benchctl.engine import Engine
from simulator.warp import WarpLoop
from tests.core.worlds import FakeUnit, Plant
from tests.engine.test_engine import PLACE

WAIT_S = 10.0


class Instant:
    """A chain that takes no time; wrote: (monotonic time, orders)."""

    def __init__(self) -> None:
        self.plant = Plant([FakeUnit(u.profile) for u in PLACE.units])
        self.wrote: list[tuple[float, Orders]] = []

    async def read(self, until_s: float, cut: asyncio.Event | None = None):
        return self.plant.read(with_meter=True)

    def readings(self, sweep):
        return sweep

    async def write(self, orders: Orders, until_s: float, cut=None) -> tuple[UnitWrites, ...]:
        self.wrote.append((time.monotonic(), orders))
        return tuple(u.write(o) for u, o in zip(self.plant.units, orders.units, strict=True))


class Threaded:
    """An engine at work in another thread."""

    def __init__(self, make_loop: Callable[[], asyncio.AbstractEventLoop], period_s: float) -> None:
        self.chain = Instant()
        self.frames: list[tuple[float, Frame]] = []
        self.scanned = threading.Condition()
        self.loop = make_loop()
        settings = Settings.of(PLACE, None, period_s)
        self.engine = Engine(settings, self.chain, time.time, (self._note,))
        self.thread = threading.Thread(target=self._work, daemon=True)
        self.last: Frame | None = None

    def _note(self, frame: Frame) -> None:
        with self.scanned:
            self.frames.append((time.monotonic(), frame))
            self.scanned.notify_all()

    def _work(self) -> None:
        self.last = self.loop.run_until_complete(self.engine.run(lambda frame: False))
        self.loop.close()

    def call(self, what: Callable[..., object], *args: object) -> None:
        self.loop.call_soon_threadsafe(what, *args)

    def wait_for(self, count: int) -> None:
        with self.scanned:
            assert self.scanned.wait_for(lambda: len(self.frames) >= count, WAIT_S), f"{len(self.frames)} scans"


@contextmanager
def at_work(make_loop: Callable[[], asyncio.AbstractEventLoop], period_s: float) -> Iterator[Threaded]:
    threaded = Threaded(make_loop, period_s)
    threaded.thread.start()
    try:
        yield threaded
    finally:
        threaded.call(threaded.engine.stop)
        threaded.thread.join(WAIT_S)
        assert not threaded.thread.is_alive()


LOOPS = pytest.mark.parametrize(
    "make_loop", [asyncio.SelectorEventLoop, lambda: WarpLoop(pace=1.0)], ids=["real", "rehearsed at pace 1"]
)


@LOOPS
def test_a_drop_from_another_thread_in_the_middle_of_the_sleep_is_written_at_once(make_loop):
    with at_work(make_loop, period_s=4.0) as threaded:
        threaded.wait_for(1)
        time.sleep(0.1)  # well into the four seconds
        threaded.chain.plant.units[0].load = 3
        given_s = time.monotonic()
        threaded.call(threaded.engine.submit, Command(Verb.DROP))
        threaded.wait_for(2)
    wrote_s, orders = threaded.chain.wrote[1]
    assert orders.urgent
    assert threaded.chain.plant.units[0].load == 0
    assert wrote_s - given_s < 1.0  # a loaded computer's milliseconds; the sleep had 3.9 s to go
    command = threaded.frames[1][1].inputs.commands[0]
    assert command.verb is Verb.DROP
    assert 0.0 <= command.age_s < 1.0


@LOOPS
def test_any_other_command_waits_for_its_scan_and_stop_ends_the_sleep(make_loop):
    with at_work(make_loop, period_s=1.0) as threaded:
        threaded.wait_for(1)
        threaded.call(threaded.engine.submit, Command(Verb.TAKE_CHARGE, "test"))
        threaded.wait_for(2)
        begun_s = time.monotonic()
    assert time.monotonic() - begun_s < 0.9
    first, second = threaded.frames[0], threaded.frames[1]
    assert second[0] - first[0] > 0.8
    assert second[1].decision.state.charge == "test"
    assert threaded.last is threaded.frames[-1][1]


def test_where_virtual_time_goes_as_fast_as_it_can_another_thread_is_heard_within_a_few_milliseconds():
    with at_work(WarpLoop, period_s=0.5) as threaded:
        threaded.wait_for(20)
        took_s = []
        for _ in range(5):
            heard = threading.Event()
            asked_s = time.monotonic()
            threaded.call(heard.set)
            assert heard.wait(WAIT_S)
            took_s.append(time.monotonic() - asked_s)
    assert min(took_s) < 0.02  # one turn of the loop and two switches of threads, 5 ms each (sys.getswitchinterval)
