"""A bench told to a broker in the test's loop: what arrives, in which order, and what a bad broker cannot do."""

import asyncio
import logging
import time
from dataclasses import replace
from itertools import pairwise

import pytest
from jsonschema import Draft202012Validator

from benchctl.files.broker import Secret
from benchctl.mqtt import outbox, page, publisher, topics
from tests.door.rooms import PLACE
from tests.mqtt.broker import Message, serving
from tests.mqtt.telling import TERMS, UNDER, parsed, ran, telling, told

SECRET = "S3cr@t!"  # noqa: S105 - invented
ONLY = {"CONNECT", "PUBLISH", "PINGREQ", "DISCONNECT"}


def of(broker, leaf):
    """The objects that were published under a topic, in their order."""
    return [parsed(m.payload) for m in broker.published if m.topic == UNDER + leaf]


def snapshots(broker):
    return [m for m in broker.published if m.topic == UNDER + "snapshot"]


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
async def test_G1_birth_state_and_farewell_are_retained_on_one_topic(protocol):
    async with serving() as broker:
        async with telling(broker.port, protocol=protocol):
            await broker.until(lambda: len(snapshots(broker)) >= 2)
            kept = broker.retained[UNDER + "presence"]
            assert (parsed(kept.payload)["presence"], kept.qos) == ("online", 1)
            assert set(broker.retained) >= {UNDER + leaf for leaf in ("presence", "plate", "state", "alarms")}
        kept = broker.retained[UNDER + "presence"]
        assert (parsed(kept.payload)["presence"], parsed(kept.payload)["why"]) == ("offline", "the test is over")
        assert not broker.wills, "a will is not told after a farewell"


async def test_G1_the_broker_tells_of_a_bench_that_it_misses_and_the_bench_comes_back():
    async with serving() as broker, telling(broker.port) as bench:
        await broker.until(lambda: of(broker, "presence"))
        broker.tear()
        await broker.until(lambda: broker.wills)
        will = broker.wills[0]
        assert (will.topic, will.retain, will.qos) == (UNDER + "presence", True, 1)
        assert (parsed(will.payload)["presence"], parsed(will.payload)["at"]) == ("offline", None)
        assert parsed(broker.retained[UNDER + "presence"].payload)["presence"] == "offline"
        await broker.until(lambda: len(of(broker, "presence")) == 2)
        assert parsed(broker.retained[UNDER + "presence"].payload)["presence"] == "online"
        assert len({login[0] for login in broker.logins}) == 2, "each connection has a name of its own"
        assert bench.said("connection lost")


async def test_everything_that_is_told_is_of_its_schema_its_topic_and_its_rank():
    async with serving() as broker:
        async with telling(broker.port) as bench:
            bench.publisher.ran(ran())
            bench.publisher.tell(told(1, "returned to normal"))
            await broker.until(lambda: len(snapshots(broker)) >= 2)
        assert broker.published
        kinds = set()
        for message in broker.published:
            place = topics.placed(message.topic, "benchctl")
            assert place is not None
            assert (place.world, place.bench) == ("real", "northquay")
            assert (message.retain, message.qos) == (place.leaf.retained, place.leaf.qos)
            found = parsed(message.payload)
            assert not list(Draft202012Validator(page.schema(f"mqtt-{place.leaf.name}")).iter_errors(found))
            kinds.add(place.leaf)
        assert kinds == set(topics.LEAVES)
        assert any(m.topic == UNDER + "event/returned_to_normal" for m in broker.published)


async def test_snapshots_come_at_their_rate_and_are_numbered():
    async with serving() as broker:
        async with telling(broker.port):
            await broker.until(lambda: snapshots(broker))
            begun_s = time.monotonic()
            await asyncio.sleep(2.0)
            count, took_s = len(snapshots(broker)), time.monotonic() - begun_s
        assert abs(count - took_s / TERMS.snapshot_s) <= 2.0
        found = of(broker, "snapshot")
        assert [one["seq"] for one in found] == list(range(1, len(found) + 1))
        assert all(a["scan"] < b["scan"] for a, b in pairwise(found))
        assert len({one["session"] for one in found}) == 1


async def test_a_state_whose_words_are_the_same_is_not_told_again_at_once():
    async with serving() as broker, telling(broker.port):
        await broker.until(lambda: len(snapshots(broker)) >= 5)
        assert len(of(broker, "state")) == len(of(broker, "alarms")) == 1


async def test_nothing_is_ever_subscribed_to_and_what_a_broker_sends_unasked_does_nothing():
    async with serving() as broker, telling(broker.port) as bench:
        await broker.until(lambda: len(snapshots(broker)) >= 1)
        for topic in (UNDER + "snapshot", UNDER + "command", UNDER + "set load", "benchctl/real/northquay"):
            broker.publish(Message(topic, b'{"verb":"set load","value":400}', 1, retain=True))
            for client in broker.clients:
                broker._deliver(client, Message(topic, b'{"verb":"drop"}', 1, retain=False), 1, retained=False)
        count = len(snapshots(broker))
        await broker.until(lambda: len(snapshots(broker)) >= count + 3)
        assert len(broker.logins) == 1, "the connection stands"
        assert {p.kind for p in broker.packets} <= ONLY | {"PUBACK"}
        assert not bench.said("fault")


async def test_G5_a_broker_that_was_gone_gets_the_present_and_not_the_past():
    async with serving() as broker, telling(broker.port) as bench:
        await broker.until(lambda: len(snapshots(broker)) >= 2)
        await broker.stop()
        before, missed_from = len(broker.published), bench.number
        for number in range(5):
            bench.publisher.tell(told(number))
        await asyncio.sleep(1.0)
        missed = bench.number
        assert missed > missed_from + 10
        broker.retained.clear()  # it keeps nothing over a restart
        await broker.start()
        await broker.until(lambda: len(broker.published) >= before + 10)
        again = [parsed(m.payload) for m in broker.published[before:] if m.topic == UNDER + "snapshot"]
        assert all(one["scan"] >= missed for one in again)
        assert [one["text"] for one in of(broker, "event/alarm")] == [f"event {k}" for k in range(5)]
        assert set(broker.retained) >= {UNDER + leaf for leaf in ("presence", "plate", "state", "alarms")}
        assert parsed(broker.retained[UNDER + "presence"].payload)["presence"] == "online"
        assert bench.slowest_s < 0.2, "whoever tells never waits"


async def test_G5_events_beyond_the_bound_are_given_up_counted_and_told(monkeypatch):
    monkeypatch.setattr(outbox, "EVENTS", 10)
    async with serving() as broker:
        await broker.stop()
        async with telling(broker.port) as bench:
            bench.publisher.outbox._most = 10
            for number in range(1, 26):
                bench.publisher.tell(told(number))
            await asyncio.sleep(0.3)
            await broker.start()
            await broker.until(lambda: len(of(broker, "event/alarm")) == 10)
            found = of(broker, "event/alarm")
            assert [one["seq"] for one in found] == list(range(16, 26))
            assert {one["lost"] for one in found} == {15}


async def test_G5_two_publishers_alike_are_two_clients_and_neither_takes_over():
    async with serving() as broker, telling(broker.port) as one, telling(broker.port) as other:
        await broker.until(lambda: len(snapshots(broker)) >= 8)
        assert len(broker.logins) == len({login[0] for login in broker.logins}) == 2
        assert not one.said("lost")
        assert not other.said("lost")
        assert len({found["session"] for found in of(broker, "snapshot")}) == 2, "a listener can tell them apart"


async def test_G5_a_broker_that_throws_out_again_and_again_is_told_once_and_tried_less_often(monkeypatch):
    monkeypatch.setattr("benchctl.mqtt.patience.FIRST_S", 0.02)
    async with serving(throws_out=True) as broker, telling(broker.port) as bench:
        await broker.until(lambda: len(broker.logins) >= 5)
        assert sum(publisher.THROWN_OUT in line for line in bench.lines) == 1
        assert bench.publisher._patience.wait_s(1.0) > 0.02 * 2**3
        bench.publisher._patience.thrown_out = 0


async def test_G3_a_wrong_password_is_told_without_the_password(monkeypatch, caplog):
    monkeypatch.setenv("WRONG", SECRET + "x")
    caplog.set_level(logging.DEBUG, "mqtt")
    async with serving(users={"kim": SECRET}) as broker:
        async with telling(broker.port, user="kim", password=Secret("env", "WRONG")) as bench:
            await broker.until(lambda: len(broker.logins) >= 2)
            assert bench.said("refuses us")
        assert SECRET not in "\n".join(bench.lines) + caplog.text + repr(bench.publisher._broker)
        assert not broker.published


async def test_a_right_password_comes_in_and_one_in_a_file_is_read_anew_for_each_try(tmp_path):
    file = tmp_path / "password"
    file.write_text("old\n")
    secret = Secret("file", str(file))
    async with serving(users={"kim": SECRET}) as broker, telling(broker.port, user="kim", password=secret):
        await broker.until(lambda: broker.logins)
        file.write_text(SECRET + "\n")
        await broker.until(lambda: snapshots(broker))


async def test_a_password_that_cannot_be_had_is_told_by_the_name_of_its_place(monkeypatch):
    monkeypatch.delenv("NOWHERE", raising=False)
    async with serving() as broker, telling(broker.port, user="kim", password=Secret("env", "NOWHERE")) as bench:
        await broker.until(lambda: bench.said("NOWHERE"))
        assert not broker.logins


async def test_a_broker_that_does_not_take_what_is_published_is_told():
    async with serving(refuses=UNDER + "state") as broker, telling(broker.port) as bench:
        await broker.until(lambda: bench.said("does not take what we publish"))
        assert bench.said("Not authorized")


async def test_a_bench_without_scans_is_silent_and_its_last_scan_is_not_told_again(monkeypatch):
    monkeypatch.setattr(publisher, "SILENT_S", 0.5)
    async with serving() as broker, telling(broker.port) as bench:
        await broker.until(lambda: len(snapshots(broker)) >= 2)
        bench.going = False
        await broker.until(lambda: of(broker, "presence")[-1]["presence"] == "silent")
        count = len(snapshots(broker))
        await asyncio.sleep(0.6)
        assert len(snapshots(broker)) == count
        assert of(broker, "snapshot")[-1]["scan"] <= bench.number
        bench.going = True
        await broker.until(lambda: of(broker, "presence")[-1]["presence"] == "online")


async def test_a_broker_that_falls_silent_holds_up_nobody_and_the_end_comes_in_time(monkeypatch):
    monkeypatch.setattr("benchctl.mqtt.wire.ANSWER_S", 0.5)
    async with serving() as broker, telling(broker.port) as bench:
        await broker.until(lambda: snapshots(broker))
        broker.mute.set()
        begun_s = time.perf_counter()
        for number in range(3000):
            bench.publisher.tell(told(number))
        assert time.perf_counter() - begun_s < 2.0
        await broker.until(lambda: bench.said("connection lost"))
        assert bench.slowest_s < 0.2
        begun_s = time.monotonic()
        await asyncio.to_thread(bench.publisher.close, "the end", 3.0)
        assert time.monotonic() - begun_s < 4.0


async def test_what_is_told_last_arrives_before_the_farewell():
    async with serving() as broker:
        async with telling(broker.port) as bench:
            await broker.until(lambda: snapshots(broker))
            for number in range(50):
                bench.publisher.tell(told(number))
            bench.publisher.ran(ran("last", in_hand=False, outcome="completed"))
        assert [one["scan"] for one in of(broker, "event/alarm")] == list(range(50))
        assert of(broker, "run")[-1]["outcome"] == "completed"
        assert broker.published[-1].topic == UNDER + "presence"


async def test_a_rehearsal_never_arrives_where_real_benches_are_looked_for():
    async with serving() as broker, telling(broker.port, terms=replace(TERMS, rehearsal=True), root="a/b", bench="x y"):
        await broker.until(lambda: len(broker.published) > 5)
        assert all(topic.startswith("a/b/rehearsal/x y/") for topic in broker.topics())
        assert parsed(broker.retained["a/b/rehearsal/x y/plate"].payload)["site"] == PLACE.name


async def test_a_fault_in_telling_ends_the_telling_and_nothing_else(monkeypatch):
    def breaks(*_):
        raise ZeroDivisionError("invented")

    async with serving() as broker, telling(broker.port) as bench:
        await broker.until(lambda: snapshots(broker))
        monkeypatch.setattr("benchctl.mqtt.drawn.live", breaks)
        await broker.until(lambda: bench.said("a fault of benchctl itself"))
        await broker.until(lambda: broker.wills)
        bench.publisher.tell(told(1))  # and goes nowhere


@pytest.mark.parametrize("keys", [{}, {"user": "nobody"}, {"user": "nobody", "password": Secret("env", "WRONG")}])
async def test_who_has_no_name_or_one_that_the_broker_does_not_know_does_not_come_in(keys, monkeypatch):
    monkeypatch.setenv("WRONG", SECRET)
    async with serving(users={"kim": SECRET}) as broker, telling(broker.port, **keys) as bench:
        await broker.until(lambda: len(broker.logins) >= 2)
        assert bench.said("refuses us")
        assert not broker.published
