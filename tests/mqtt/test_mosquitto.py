"""A bench told to Debian's mosquitto: persistence, passwords, TLS, and everything killed in every order."""

import asyncio
import os
import signal
import ssl
import subprocess
import sys
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import aiomqtt
import pytest

from benchctl.files.broker import Secret
from tests.door.rooms import until
from tests.mqtt.mosquitto import NAME, SECRET, Mosquitto
from tests.mqtt.telling import SNAPSHOT_S, UNDER, parsed, telling, told
from tests.needs import needs

pytestmark = [needs(NAME), pytest.mark.slow]

PUBLISHER = """
import asyncio, sys
from benchctl.mqtt import wire
from tests.mqtt.telling import telling
wire.KEEPALIVE_S = 4  # for which a broker waits one and a half times, and so does the test
async def main():
    async with telling(int(sys.argv[1])):
        print("there", flush=True)
        await asyncio.sleep(600)
asyncio.run(main())
"""


@pytest.fixture
def broker(tmp_path):
    made = Mosquitto(tmp_path / "m")
    made.start()
    yield made
    made.kill()


@dataclass
class Listener:
    """What a client of the test has heard, that is none of ours: topic, payload, whether the broker had kept it."""

    heard: list[tuple[str, dict[str, Any], bool]] = field(default_factory=list)

    def of(self, leaf: str) -> list[dict[str, Any]]:
        return [found for topic, found, _ in self.heard if topic == UNDER + leaf]

    def presence(self) -> str:
        found = self.of("presence")
        return found[-1]["presence"] if found else ""


@asynccontextmanager
async def listening(port: int, **keys) -> AsyncIterator[Listener]:
    """A client that hears everything under the tree."""
    made = Listener()

    async def hear(client):
        async for message in client.messages:
            made.heard.append((str(message.topic), parsed(message.payload), message.retain))

    async with aiomqtt.Client("127.0.0.1", port, **keys) as client:
        await client.subscribe("benchctl/#", qos=1)
        task = asyncio.create_task(hear(client))
        try:
            yield made
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)


async def heard_now(port: int) -> Listener:
    """What somebody hears who comes now: what is kept."""
    async with listening(port) as listener:
        await asyncio.sleep(0.3)
        return listener


@asynccontextmanager
async def publisher(port: int) -> AsyncIterator["subprocess.Popen[str]"]:
    """A publisher that is a process of its own."""
    words = [sys.executable, "-c", PUBLISHER, str(port)]
    process = await asyncio.to_thread(
        subprocess.Popen, words, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2]
    )
    try:
        assert process.stdout is not None
        assert await asyncio.to_thread(process.stdout.readline) == "there\n"
        yield process
    finally:
        process.kill()
        process.communicate()


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
async def test_with_password_authority_and_certificate_of_our_own(protocol, tmp_path, monkeypatch):
    monkeypatch.setenv("DEPOT_PASSWORD", SECRET)
    broker = Mosquitto(tmp_path / "m", password=SECRET, tls=True)
    broker.start()
    try:
        cert, key = broker.certificate()
        tls = ssl.create_default_context(cafile=broker.ca_file)
        tls.load_cert_chain(cert, key)
        ours: dict[str, Any] = {
            "tls": True,
            "ca": broker.ca_file,
            "certificate": cert,
            "key": key,
            "protocol": protocol,
        }
        login: dict[str, Any] = {"user": "kim", "password": Secret("env", "DEPOT_PASSWORD")}
        async with listening(broker.port, username="kim", password=SECRET, tls_context=tls) as listener:
            async with telling(broker.port, **ours, **login):
                await until(lambda: len(listener.of("snapshot")) >= 3)
                assert listener.presence() == "online"
            await until(lambda: listener.presence() == "offline")
        monkeypatch.setenv("DEPOT_PASSWORD", "another")
        async with telling(broker.port, **ours, **login) as bench:
            await until(lambda: bench.said("refuses us"))
            assert not bench.said("another")
    finally:
        broker.kill()
    assert SECRET not in broker.log()


@pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning")  # paho leaves the socket of a failed handshake lying
@pytest.mark.filterwarnings("ignore:Exception ignored in:pytest.PytestUnraisableExceptionWarning")
async def test_a_broker_of_another_authority_or_name_and_one_that_wants_a_certificate_are_told(tmp_path):
    broker = Mosquitto(tmp_path / "m", tls=True, host="depot.example")
    other = Mosquitto(tmp_path / "other", tls=True)
    broker.start()
    other.start()
    try:
        cert, key = broker.certificate()
        async with telling(broker.port, tls=True, ca=broker.ca_file, certificate=cert, key=key) as bench:
            await until(lambda: bench.said("not valid for '127.0.0.1'"))
        async with telling(other.port, tls=True, ca=broker.ca_file) as bench:
            await until(lambda: bench.said("certificate verify failed"))
        async with telling(other.port, tls=True, ca=other.ca_file) as bench:
            await until(lambda: bench.said("certificate required") or bench.said("connection broke"))
        async with telling(other.port, tls=True, ca=str(tmp_path / "none.pem")) as bench:
            await until(lambda: bench.said("no certificate of an authority"))
        async with telling(other.port, tls=True, ca=other.ca_file, certificate=key, key=cert) as bench:
            await until(lambda: bench.said("our certificate (kim.key and kim.pem) cannot be used"))
    finally:
        broker.kill()
        other.kill()


async def test_G1_a_publisher_that_is_killed_is_offline_for_those_who_come_later_too_and_online_when_back(broker):
    async with listening(broker.port) as listener:
        async with publisher(broker.port) as process:
            await until(lambda: listener.presence() == "online")
            process.kill()
            await until(lambda: listener.presence() == "offline")
            assert listener.of("presence")[-1]["at"] is None
        late = await heard_now(broker.port)
        assert late.presence() == "offline"
        assert all(kept for _, _, kept in late.heard)
        assert not late.of("snapshot"), "nothing old arrives as a snapshot"
        assert late.of("state"), "but what is left of the bench is there, and says of when"
        async with publisher(broker.port):
            await until(lambda: listener.presence() == "online")
        assert (await heard_now(broker.port)).presence() == "offline"


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
async def test_G5_a_broker_that_is_killed_and_started_again_is_told_the_present(broker, number):
    async with telling(broker.port) as bench:
        await until(lambda: bench.said("connected"))
        await asyncio.to_thread(broker.kill, number)
        await until(lambda: bench.said("connection lost"))
        bench.publisher.tell(told(1))
        missed = bench.number
        await asyncio.sleep(1.0)
        await asyncio.to_thread(broker.start)
        async with listening(broker.port) as listener:
            await until(lambda: listener.of("snapshot"))
            assert listener.of("snapshot")[0]["scan"] > missed
            await until(lambda: listener.presence() == "online")
            await until(lambda: sum("connected" in line for line in bench.lines) == 2)
        kept = await heard_now(broker.port)
        assert {topic for topic, *_ in kept.heard} >= {
            UNDER + leaf for leaf in ("presence", "plate", "state", "alarms")
        }
        assert kept.presence() == "online"


async def test_a_broker_that_stores_keeps_the_presence_over_its_own_end(broker):
    async with publisher(broker.port) as process:
        async with listening(broker.port) as listener:
            await until(lambda: listener.presence() == "online")
        process.send_signal(signal.SIGKILL)
        await asyncio.sleep(0.3)
        await asyncio.to_thread(broker.kill, signal.SIGTERM)
    await asyncio.to_thread(broker.start)
    assert (await heard_now(broker.port)).presence() == "offline"


async def test_a_broker_and_then_its_publisher_killed_leave_an_old_online_and_nothing_that_is_live(broker):
    """The broker could tell nobody's will, so `online` is what its store has: of an old moment, by its own words."""
    async with publisher(broker.port) as process:
        async with listening(broker.port) as listener:
            await until(lambda: listener.presence() == "online")
            await until(lambda: listener.of("snapshot"))
            await asyncio.sleep(1.5)  # it has stored that
        await asyncio.to_thread(broker.kill)
        process.kill()
    began_s = time.time()
    await asyncio.to_thread(broker.start)
    async with listening(broker.port) as late:
        await until(late.presence)
        await asyncio.sleep(5.0 * SNAPSHOT_S)  # in which a bench that lives would have told of itself
    assert late.presence() == "online"
    assert all(kept for _, _, kept in late.heard)
    assert not late.of("snapshot"), "nothing old arrives as a snapshot"
    sent = datetime.fromisoformat(late.of("presence")[-1]["sent_at"])
    assert sent.timestamp() < began_s, "and what it keeps says of when it is"


async def test_a_broker_that_stands_still_is_left_and_found_again(broker, monkeypatch):
    monkeypatch.setattr("benchctl.mqtt.wire.ANSWER_S", 1.0)
    async with telling(broker.port) as bench:
        await until(lambda: bench.said("connected"))
        broker.stop()
        for number in range(30):
            bench.publisher.tell(told(number))
        await until(lambda: bench.said("connection lost"), 20.0)
        assert bench.slowest_s < 0.2
        broker.go_on()
        async with listening(broker.port) as listener:
            await until(lambda: sum("connected" in line for line in bench.lines) >= 2, 20.0)
            await until(lambda: listener.presence() == "online", 20.0)


async def test_no_packet_that_subscribes_ever_leaves_us_and_nothing_published_comes_back(broker):
    async with telling(broker.port) as bench, listening(broker.port) as listener:
        await until(lambda: len(listener.of("snapshot")) >= 2)
        async with aiomqtt.Client("127.0.0.1", broker.port) as stranger:
            for topic in {topic for topic, *_ in listener.heard} | {UNDER + "command", UNDER + "state/set"}:
                await stranger.publish(topic, b'{"kind":"order","verb":"set load","value":400}', qos=1, retain=True)
        count = len(listener.of("snapshot"))
        await until(lambda: len(listener.of("snapshot")) >= count + 3)
        assert sum("connected" in line for line in bench.lines) == 1
    ours = [line for line in broker.log().splitlines() if " bc" in line]
    assert any("Received PUBLISH from bc" in line for line in ours)
    assert not [line for line in ours if "SUBSCRIBE" in line or "Sending PUBLISH" in line]


@pytest.mark.skipif(os.name != "posix", reason="stops a process by a signal of POSIX")
async def test_a_publisher_that_stands_still_is_missed(broker):
    async with listening(broker.port) as listener, publisher(broker.port) as process:
        await until(lambda: listener.presence() == "online")
        process.send_signal(signal.SIGSTOP)
        await until(lambda: listener.presence() == "offline", 40.0)
        process.send_signal(signal.SIGCONT)
        await until(lambda: listener.presence() == "online", 20.0)
