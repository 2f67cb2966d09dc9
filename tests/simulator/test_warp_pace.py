"""The loop at a pace: what it waits, what it does when it is late, and what wakes it."""

import asyncio
import socket
import threading
import time
from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.warp import CATCH_UP_S, RealTime, WarpLoop, run


class FakeTime(RealTime):
    """Real time that passes when the loop waits or when the test says so; `events`: (real time, what happens then)."""

    def __init__(self, oversleeps_s: float = 0.0) -> None:
        self.now_s = 5000.0
        self.waits_s: list[float] = []
        self.oversleeps_s = oversleeps_s
        self.events: list[tuple[float, Callable[[], object]]] = []

    def now(self) -> float:
        return self.now_s

    def wait(self, select, longest_s):
        assert longest_s is not None or self.events, "would wait for ever"
        until_s = self.now_s + (1e9 if longest_s is None else longest_s)
        self.events.sort(key=lambda e: e[0])
        if self.events and self.events[0][0] <= until_s:
            at_s, happens = self.events.pop(0)
            self.waits_s.append(max(0.0, at_s - self.now_s))
            self.now_s = max(self.now_s, at_s)
            happens()
        else:
            self.waits_s.append(longest_s)
            self.now_s = until_s + self.oversleeps_s
        return select(0)


def paced(main, pace: float, real: FakeTime):
    loop = WarpLoop(pace=pace, real=real)
    return run(main(loop), loop)


@pytest.mark.parametrize("pace", [0.5, 1.0, 10.0, 60.0])
def test_so_many_virtual_seconds_take_one_real_second(pace):
    real = FakeTime()

    async def main(loop):
        for k in range(1, 201):
            await asyncio.sleep(k * 0.5 - loop.time())
        return loop.time()

    assert paced(main, pace, real) == pytest.approx(100.0)
    assert real.now_s - 5000.0 == pytest.approx(100.0 / pace, abs=0.002)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(0.0, 30.0), min_size=1, max_size=20), st.sampled_from([1.0, 10.0, 60.0]))
def test_every_timer_fires_at_its_time_on_both_clocks(delays, pace):
    real = FakeTime()
    fired = []

    async def main(loop):
        for delay in delays:
            loop.call_later(delay, lambda d=delay: fired.append((d, loop.time(), real.now_s - 5000.0)))
        await asyncio.sleep(31.0)

    paced(main, pace, real)
    assert [d for d, _, _ in fired] == sorted(delays)
    for delay, virtual_s, real_s in fired:
        assert virtual_s == pytest.approx(delay, abs=1e-4)
        assert real_s == pytest.approx(delay / pace, abs=0.0011)  # less than a millisecond is not waited for


def test_a_thousand_short_waits_are_not_rounded_up_to_the_kernels_millisecond():
    real = FakeTime(oversleeps_s=0.0006)

    async def main(loop):
        for _ in range(1000):
            await asyncio.sleep(0.003)

    paced(main, 10.0, real)
    assert real.now_s - 5000.0 == pytest.approx(0.3, abs=0.002)
    assert min(real.waits_s) >= 0.001


def test_work_that_fits_into_the_time_between_two_timers_costs_nothing():
    real = FakeTime()

    async def main(loop):
        for k in range(1, 101):
            real.now_s += 0.03
            await asyncio.sleep(k * 0.5 - loop.time())

    paced(main, 10.0, real)
    assert real.now_s - 5000.0 == pytest.approx(100 * 0.05, abs=0.04)


def test_work_that_cannot_keep_up_makes_the_clock_lag_and_the_true_pace_says_so():
    real = FakeTime()
    said = []

    async def main(loop):
        for k in range(1, 401):
            real.now_s += 0.1  # for half a virtual second: five times real time is all it can
            await asyncio.sleep(k * 0.5 - loop.time())
            said.append(loop.true_pace)

    paced(main, 60.0, real)
    assert real.now_s - 5000.0 == pytest.approx(40.0, abs=CATCH_UP_S + 0.01)
    assert said[-1] == pytest.approx(5.0, rel=0.02)


def test_the_true_pace_is_that_of_the_last_seconds():
    real = FakeTime()
    said = {}

    async def main(loop):
        for k in range(1, 2001):
            real.now_s += 0.1 if k > 1000 else 0.0
            await asyncio.sleep(k * 0.5 - loop.time())
            said[k] = loop.true_pace

    paced(main, 10.0, real)
    assert said[1] is None
    assert said[1000] == pytest.approx(10.0, rel=0.02)
    assert said[1010] > 6.0
    assert said[1100] == pytest.approx(5.0, rel=0.02)


def test_after_a_stall_nothing_is_made_up_for_but_a_hiccup():
    real = FakeTime()
    at = []

    async def main(loop):
        for k in range(1, 41):
            if k == 20:
                real.now_s += 60.0
            await asyncio.sleep(k * 0.5 - loop.time())
            at.append(real.now_s)

    paced(main, 1.0, real)
    steps = [b - a for a, b in pairwise(at)]
    assert steps[18] == pytest.approx(60.0)
    assert steps[19] == pytest.approx(0.5 - CATCH_UP_S, abs=0.002)
    assert steps[20:] == pytest.approx([0.5] * len(steps[20:]), abs=0.002)


def test_a_call_from_another_thread_finds_the_clock_where_it_should_be():
    real = FakeTime()

    async def main(loop):
        heard = loop.create_future()
        real.events.append((5000.0 + 0.25, lambda: loop.call_soon_threadsafe(heard.set_result, True)))
        ticking = loop.create_task(asyncio.sleep(100.0))
        await heard
        at_s = loop.time()
        await ticking
        return at_s, loop.time()

    at_s, end_s = paced(main, 10.0, real)
    assert at_s == pytest.approx(2.5)
    assert end_s == pytest.approx(100.0)
    assert real.now_s - 5000.0 == pytest.approx(10.0, abs=0.002)


def test_time_passes_while_nothing_is_scheduled():
    real = FakeTime()

    async def main(loop):
        heard = asyncio.Event()
        real.events.append((5000.0 + 3.0, lambda: loop.call_soon_threadsafe(heard.set)))
        await heard.wait()
        return loop.time()

    assert paced(main, 10.0, real) == pytest.approx(30.0)


def test_a_socket_wakes_it_in_the_middle_of_a_wait():
    real = FakeTime()

    async def main(loop):
        ours, theirs = socket.socketpair()
        with ours, theirs:
            ours.setblocking(False)
            real.events.append((5000.0 + 1.0, lambda: theirs.sendall(b"hello")))
            ticking = loop.create_task(asyncio.sleep(1000.0))
            got = await loop.sock_recv(ours, 5)
            ticking.cancel()
            return got, loop.time()

    got, at_s = paced(main, 60.0, real)
    assert got == b"hello"
    assert at_s == pytest.approx(60.0)


def test_the_clock_stands_still_while_a_thread_works_at_a_pace_too():
    async def main(loop):
        ticking = asyncio.create_task(asyncio.sleep(0.2))
        await asyncio.to_thread(time.sleep, 0.1)
        early = loop.time()
        await ticking
        return early

    loop = WarpLoop(pace=10.0)
    assert run(main(loop), loop) < 0.2


@pytest.mark.parametrize("pace", [0.0, -1.0, float("inf"), float("nan")])
def test_a_pace_that_is_none_is_refused(pace):
    with pytest.raises(ValueError, match="virtual seconds a real second"):
        WarpLoop(pace=pace)


def test_in_real_time_ten_virtual_seconds_at_pace_twenty_take_half_a_second():
    async def main(loop):
        for k in range(1, 21):
            await asyncio.sleep(k * 0.5 - loop.time())
        return loop.true_pace

    loop = WarpLoop(pace=20.0)
    begun_s = time.monotonic()
    true_pace = run(main(loop), loop)
    took_s = time.monotonic() - begun_s
    assert 0.49 <= took_s < 3.0
    assert 10.0 / 3.0 < true_pace <= 21.0


def test_in_real_time_a_thread_wakes_a_paced_loop_out_of_a_long_wait():
    loop = WarpLoop(pace=1.0)
    took_s = []

    async def main():
        done, ticking = asyncio.Event(), asyncio.create_task(asyncio.sleep(3600.0))

        def ask():
            time.sleep(0.05)
            asked_s = time.monotonic()
            loop.call_soon_threadsafe(answer, asked_s)

        def answer(asked_s):
            took_s.append(time.monotonic() - asked_s)
            done.set()

        asker = threading.Thread(target=ask)
        asker.start()
        await done.wait()
        asker.join()
        ticking.cancel()
        return loop.time()

    assert 0.02 < run(main(), loop) < 5.0
    assert took_s[0] < 0.5


def test_as_fast_as_it_goes_the_true_pace_is_told_too():
    async def main(loop):
        for _ in range(1_000_000):
            await asyncio.sleep(0.5)
            if loop.true_pace is not None:
                break
        return loop.true_pace

    loop = WarpLoop()
    assert run(main(loop), loop) > 60.0


def test_another_pace_holds_from_the_next_wait_on():
    real = FakeTime()

    async def main(loop):
        times = []
        for pace in (10.0, 1.0, 60.0, None, 4.0):
            loop.pace = pace
            begun = real.now_s, loop.time()
            await asyncio.sleep(120.0)
            times.append((real.now_s - begun[0], loop.time() - begun[1]))
        return times

    took = paced(main, 2.0, real)
    assert [round(virtual_s, 6) for _, virtual_s in took] == [120.0] * 5
    assert [real_s for real_s, _ in took] == pytest.approx([12.0, 120.0, 2.0, 0.0, 30.0], abs=0.002)


def test_a_pace_set_from_another_thread_ends_the_wait_in_hand_at_once():
    real = FakeTime()

    async def main(loop):
        real.events.append((real.now_s + 3.0, lambda: loop.call_soon_threadsafe(setattr, loop, "pace", 60.0)))
        await asyncio.sleep(63.0)
        return loop.time()

    assert paced(main, 1.0, real) == pytest.approx(63.0)
    assert real.now_s - 5000.0 == pytest.approx(3.0 + 1.0, abs=0.002)


@pytest.mark.parametrize("pace", [0.0, -1.0, float("nan"), float("inf")])
def test_a_pace_that_is_none_is_refused_and_the_old_one_stays(pace):
    loop = WarpLoop(pace=5.0, real=FakeTime())
    with pytest.raises(ValueError, match="expected virtual seconds a real second"):
        loop.pace = pace
    assert loop.pace == 5.0
    loop.close()


def test_the_true_pace_is_that_since_the_pace_was_changed():
    real = FakeTime()

    async def main(loop):
        await asyncio.sleep(100.0)
        loop.pace = 50.0
        assert loop.true_pace is None
        for _ in range(100):
            await asyncio.sleep(0.5)
        return loop.true_pace

    assert paced(main, 10.0, real) == pytest.approx(50.0, rel=0.01)
