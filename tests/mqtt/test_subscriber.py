"""A watcher at a broker: what it sees while publisher, broker and watcher come and go in all orders."""

import asyncio
import itertools
import time
from contextlib import asynccontextmanager

import pytest

from benchctl.files.broker import Broker as Noun
from benchctl.mqtt.gathered import Gathered
from benchctl.mqtt.picture import Life
from benchctl.mqtt.subscriber import Subscriber
from tests.mqtt.broker import Message, serving
from tests.mqtt.telling import telling

KEY = "real/northquay"


class Watcher:
    """Listens at a broker of the test."""

    def __init__(self, port, **keys):
        self.gathered = Gathered(keys.get("root", "benchctl"), time.monotonic, time.time)
        self.changes: list[str | None] = []
        noun = Noun("127.0.0.1", port, **keys)
        subscriber = Subscriber(noun, self.gathered, self.changes.append, chance=lambda: 0.0)
        self.task = asyncio.create_task(subscriber.run())

    @property
    def bench(self):
        return self.gathered.bench(KEY)

    async def until(self, test, limit_s=20.0):
        end_s = time.monotonic() + limit_s
        while not test(self.bench):
            assert not self.task.done() or self.task.result()
            assert time.monotonic() < end_s, f"it does not come: {self.bench}, {self.gathered.cut}"
            await asyncio.sleep(0.01)

    async def sees(self, life):
        await self.until(lambda b: b is not None and b.life is life)

    async def close(self):
        self.task.cancel()
        await asyncio.gather(self.task, return_exceptions=True)


@asynccontextmanager
async def watching(port, **keys):
    watcher = Watcher(port, **keys)
    try:
        yield watcher
    finally:
        await watcher.close()


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
async def test_a_watcher_sees_a_bench_live_and_its_farewell(protocol):
    async with serving() as broker, watching(broker.port, protocol=protocol) as watcher:
        async with telling(broker.port, protocol=protocol) as bench:
            await watcher.sees(Life.LIVE)
            await watcher.until(lambda b: b.plate is not None and b.state is not None and b.missed == 0)
            assert watcher.bench.plate.title == "Northquay"
            assert KEY in watcher.changes
            bench.going = False
            await watcher.sees(Life.SILENT)
        await watcher.sees(Life.LEFT)
        assert watcher.bench.flaws == 0, watcher.bench.flaw


async def test_a_watcher_never_publishes_and_asks_for_nothing_but_the_tree():
    async with serving() as broker, telling(broker.port), watching(broker.port) as watcher:
        await watcher.sees(Life.LIVE)
        publishers = {m.client for m in broker.published}
        others = {p.kind for p in broker.packets if p.client not in publishers}
        assert others <= {"CONNECT", "SUBSCRIBE", "PINGREQ", "PUBACK"}
        filters = [at for client in broker.clients for at in client.filters]
        assert filters == ["benchctl/+/+/#"]


async def test_the_broker_s_will_is_seen_when_a_bench_is_gone_without_a_word():
    async with serving() as broker, watching(broker.port) as watcher, telling(broker.port) as bench:
        await watcher.sees(Life.LIVE)
        bench.going = False
        for client in tuple(broker.clients):
            if client.will is not None:
                client.writer.transport.abort()
        await watcher.until(lambda b: b.life is Life.LOST or b.life is Life.SILENT)


@pytest.mark.parametrize("order", list(itertools.permutations(("broker", "publisher", "watcher"))))
async def test_broker_publisher_and_watcher_are_ended_and_begun_in_any_order(order):
    """Each is ended in turn while the others stay, and all come together again; nothing old is ever live meanwhile."""
    async with serving() as broker:
        ended = []
        watcher = Watcher(broker.port)
        publisher = telling(broker.port)
        await publisher.__aenter__()
        try:
            await watcher.sees(Life.LIVE)
            for what in order:
                ended.append(what)
                if what == "broker":
                    await broker.stop()
                elif what == "publisher":
                    await publisher.__aexit__(None, None, None)
                else:
                    await watcher.close()
                if "watcher" not in ended:
                    await watcher.until(lambda b: b is None or b.life is not Life.LIVE)
            for what in order:
                if what == "broker":
                    await broker.start()
                elif what == "publisher":
                    publisher = telling(broker.port)
                    await publisher.__aenter__()
                else:
                    watcher = Watcher(broker.port)
            await watcher.sees(Life.LIVE)
        finally:
            await watcher.close()
            await publisher.__aexit__(None, None, None)


async def test_a_broker_that_is_not_there_or_refuses_is_told_and_tried_again():
    async with serving(users={"kim": "good"}) as broker:
        async with watching(broker.port, user="kim") as watcher:
            await watcher.until(lambda _: "refuses us" in watcher.gathered.cut)
            assert "tried again in" in watcher.gathered.cut
            broker.users.clear()
            await watcher.until(lambda _: not watcher.gathered.cut)
        await broker.stop()
        async with watching(broker.port) as watcher:
            await watcher.until(lambda _: "tried again" in watcher.gathered.cut)
            await broker.start()
            await watcher.until(lambda _: not watcher.gathered.cut)


async def test_what_strangers_publish_is_told_and_ends_nothing():
    async with serving() as broker, telling(broker.port), watching(broker.port) as watcher:
        await watcher.sees(Life.LIVE)
        for topic, payload in (
            ("benchctl/real/northquay/snapshot", b"\xff\x00"),
            ("benchctl/real/northquay/snapshot", b"{" * 1000),
            ("benchctl/real/north/quay/snapshot", b"{}"),
            ("benchctl/real/\u202eevil/presence", b"[]"),
            ("benchctl/real/northquay/state", b'{"schema": 99}'),
        ):
            broker.publish(Message(topic, payload, 0, False))
        await watcher.until(lambda b: b.flaws == 3 and watcher.gathered.strays == 1)
        await watcher.sees(Life.LIVE)
