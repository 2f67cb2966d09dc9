"""Who watches at Debian's mosquitto, with a store: broker, publisher and watcher killed in every order."""

import asyncio
import itertools
import os
import signal
import time

import pytest

from benchctl.mqtt.picture import Life
from tests.mqtt.mosquitto import NAME, Mosquitto
from tests.mqtt.test_mosquitto import publisher
from tests.mqtt.test_subscriber import Watcher, watching
from tests.needs import needs

pytestmark = [needs(NAME), pytest.mark.slow]


@pytest.fixture
def broker(tmp_path):
    made = Mosquitto(tmp_path / "m")
    made.start()
    yield made
    made.kill()


async def test_a_publisher_that_is_killed_is_lost_by_the_broker_s_will(broker):
    async with watching(broker.port) as watcher, publisher(broker.port) as bench:
        await watcher.sees(Life.LIVE)
        bench.kill()
        await watcher.sees(Life.LOST)
        assert "without a farewell" in watcher.bench.why


async def test_a_bench_that_died_with_its_broker_is_online_for_the_broker_and_never_live_for_us(broker):
    """The store keeps `online`, and nobody is left who could tell the will."""
    async with publisher(broker.port) as bench, watching(broker.port) as watcher:
        await watcher.sees(Life.LIVE)
        await asyncio.sleep(1.5)  # mosquitto stores what it keeps once a second here
        bench.send_signal(signal.SIGSTOP)
        broker.kill()
        bench.kill()
        broker.start()
        await watcher.until(lambda b: not watcher.gathered.cut and b.life is Life.STALE)  # the last is 2.5 s old
        seen = set()
        async with watching(broker.port) as late:  # and somebody who comes only now
            end_s = time.monotonic() + 8.0
            while time.monotonic() < end_s:
                seen |= {w.bench.life for w in (watcher, late) if w.bench is not None}
                await asyncio.sleep(0.05)
            assert late.bench.presence.presence == "online"
            assert late.bench.life is Life.STALE
        assert seen <= {Life.STALE, Life.LOST, Life.WAITING}


async def test_a_broker_that_stands_still_makes_everything_stale_and_what_it_held_back_is_not_live(broker):
    async with publisher(broker.port), watching(broker.port) as watcher:
        await watcher.sees(Life.LIVE)
        broker.stop()
        await watcher.sees(Life.STALE)
        broker.go_on()
        await watcher.sees(Life.LIVE)
        assert watcher.bench.age_s < 3.0


@pytest.mark.parametrize("order", list(itertools.permutations(("broker", "publisher", "watcher"))))
async def test_all_three_are_killed_in_every_order_and_come_back(broker, order):
    watcher, ended = Watcher(broker.port), []
    begun = publisher(broker.port)
    bench = await begun.__aenter__()
    try:
        await watcher.sees(Life.LIVE)
        for what in order:
            ended.append(what)
            if what == "broker":
                broker.kill()
            elif what == "publisher":
                os.kill(bench.pid, signal.SIGKILL)
            else:
                await watcher.close()
            if "watcher" not in ended:
                await watcher.until(lambda b: b.life is not Life.LIVE)
        for what in order:
            if what == "broker":
                broker.start()
            elif what == "publisher":
                await begun.__aexit__(None, None, None)
                begun = publisher(broker.port)
                bench = await begun.__aenter__()
            else:
                watcher = Watcher(broker.port)
        await watcher.sees(Life.LIVE)
        assert watcher.bench.flaws == 0, watcher.bench.flaw
    finally:
        await watcher.close()
        await begun.__aexit__(None, None, None)
