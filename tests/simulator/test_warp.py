"""The loop whose clock jumps."""

import asyncio
import socket
import threading
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.warp import WarpLoop, run


def test_four_hours_of_sleep_take_no_time():
    async def sleep():
        await asyncio.sleep(4 * 3600)
        return asyncio.get_running_loop().time()

    begun = time.perf_counter()
    assert run(sleep()) == pytest.approx(4 * 3600)
    assert time.perf_counter() - begun < 5.0


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(0.0, 1000.0), min_size=1, max_size=20))
def test_timers_fire_in_order_and_on_time(delays):
    async def main():
        loop, fired = asyncio.get_running_loop(), []

        def note(delay):
            fired.append((delay, loop.time()))

        for delay in delays:
            loop.call_later(delay, note, delay)
        await asyncio.sleep(1001)
        return fired

    fired = run(main())
    assert [d for d, _ in fired] == sorted(delays)
    assert all(at == pytest.approx(d, abs=1e-4) for d, at in fired)


def test_time_outs_follow_the_virtual_clock():
    async def main():
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(asyncio.Event().wait(), 30.0)
        return asyncio.get_running_loop().time()

    assert run(main()) == pytest.approx(30.0)


def test_the_clock_stands_still_while_a_thread_works():
    async def main():
        loop = asyncio.get_running_loop()
        ticking = asyncio.create_task(asyncio.sleep(1000.0))
        await asyncio.to_thread(time.sleep, 0.05)
        early = loop.time()
        await ticking
        return early

    assert run(main()) < 1000.0


def test_nothing_left_to_happen_is_an_error_and_no_hang(monkeypatch):
    monkeypatch.setattr("simulator.warp.HANG_S", 0.01)

    async def main():
        await asyncio.Event().wait()

    with pytest.raises(RuntimeError, match="deadlock"):
        run(main())


def test_half_second_steps_do_not_drift_in_four_hours():
    async def main():
        loop = asyncio.get_running_loop()
        for k in range(1, 28801):
            await asyncio.sleep(k * 0.5 - loop.time())
        return loop.time()

    assert run(main()) == pytest.approx(14400.0, abs=1e-6)


def test_what_is_left_behind_is_cancelled():
    ended, left = [], []

    async def behind():
        try:
            await asyncio.sleep(1e9)
        finally:
            ended.append(True)

    async def main():
        left.append(asyncio.create_task(behind()))
        await asyncio.sleep(1.0)

    loop = WarpLoop()
    run(main(), loop)
    assert ended == [True]
    assert loop.is_closed()


def test_a_call_from_another_thread_is_heard_while_virtual_time_runs():
    async def main():
        loop, heard = asyncio.get_running_loop(), asyncio.Event()
        caller = threading.Thread(target=loop.call_soon_threadsafe, args=(heard.set,))
        caller.start()
        turns = 0
        while not heard.is_set() and turns < 1_000_000:
            await asyncio.sleep(0.5)
            turns += 1
        caller.join()
        return heard.is_set()

    assert run(main())


def test_a_socket_in_the_loop_is_served_between_two_timers():
    async def main():
        loop = asyncio.get_running_loop()
        ours, theirs = socket.socketpair()
        with ours, theirs:
            ours.setblocking(False)
            theirs.sendall(b"hello")
            ticking = asyncio.create_task(asyncio.sleep(1000.0))
            got = await loop.sock_recv(ours, 5)
            at_s = loop.time()
            ticking.cancel()
            return got, at_s

    assert run(main()) == (b"hello", 0.0)
