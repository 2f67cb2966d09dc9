"""The door against strangers, other versions and clients that fail, over real sockets on loopback."""

import asyncio
import gc
import tracemalloc
from dataclasses import replace

import pytest

from benchctl.door import messages as m
from benchctl.door.client import Client, Refused
from benchctl.door.guest import ASKED, QUEUE, RATE
from benchctl.door.server import MOST, STRANGERS, Rejected
from tests.door.rooms import LIMIT_S, QUICK, Raw, numbered, opened, until


def event(number: int, text: str = "x") -> m.Event:
    return m.Event(number=number, wall_s=1.0, what="command", text=text)


# Who comes in


async def test_a_stranger_without_the_secret_is_refused(tmp_path):
    async with opened(tmp_path) as (door, card):
        raw = await Raw.connect(card.port)
        raw.hello("x" * 43)
        assert await raw.hear() == {
            "kind": "refused", "reason": "secret", "why": "the secret is not that of this run host"}  # fmt: skip
        assert await raw.hear() == {}
        assert door.guests == ()


@pytest.mark.parametrize("key", ["proof", "nonce"])
async def test_a_hello_without_proof_is_refused(tmp_path, key):
    async with opened(tmp_path) as (door, card):
        raw = await Raw.connect(card.port)
        raw.hello(card.secret, **{key: None})
        assert (await raw.hear())["reason"] == "message"
        assert door.guests == ()


async def test_a_proof_that_was_listened_to_does_not_let_in_again(tmp_path):
    async with opened(tmp_path) as (_, card):
        first = await Raw.connect(card.port)
        said = first.greeting(card.secret)
        again = await Raw.connect(card.port)
        again.say(**said)
        assert (await again.hear())["reason"] == "secret"
        first.say(**said)
        assert (await first.hear_of("welcome"))["kind"] == "welcome"


async def test_nothing_but_hello_is_taken_from_a_stranger(tmp_path):
    called = []

    async def receive(guest, message):
        called.append(message)
        return {}

    async with opened(tmp_path, receive) as (_, card):
        raw = await Raw.connect(card.port)
        raw.say(kind="order", id=1, verb="drop")
        refused = await raw.hear()
        assert refused["reason"] == "message"
        assert "expected one of the kinds hello" in refused["why"]
    assert called == []


async def test_a_client_of_another_version_is_told_which_is_spoken(tmp_path):
    async with opened(tmp_path) as (_, card):
        raw = await Raw.connect(card.port)
        raw.hello(card.secret, protocol=m.PROTOCOL + 1, something="new")
        refused = await raw.hear()
        assert refused["reason"] == "version"
        assert f"speaks version {m.PROTOCOL} of the messages, the client version {m.PROTOCOL + 1}" in refused["why"]


async def test_the_secret_is_never_on_the_wire(tmp_path):
    async with opened(tmp_path) as (_, card):
        heard = []

        async def relay(reader, writer):
            try:
                upstream, back = await asyncio.open_connection("127.0.0.1", card.port)

                async def pump(source, sink):
                    while data := await source.read(4096):
                        heard.append(data)
                        sink.write(data)

                await asyncio.gather(pump(reader, back), pump(upstream, writer))
            finally:
                writer.close()
                back.close()

        server = await asyncio.start_server(relay, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        client = await Client.connect(card.model_copy(update={"port": port}), "operator", "console")
        await client.look()
        await client.close()
        server.close()
        assert len(b"".join(heard)) > 500
        assert card.secret.encode() not in b"".join(heard)


# What a broken client costs


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"GET / HTTP/1.1\r\n", "expected a JSON object"),
        (b"\xff\xfe\x00\n", "expected a JSON object"),
        (b"[" * 3000 + b"\n", "expected a JSON object"),
        (b"null\n", "expected one of the kinds"),
        (b'{"kind":"order"}\n', "key 'id' is missing; key 'verb' is missing"),
        (b'{"kind":"order","id":1,"verb":"drop","unit":3}\n', "unit: input should be a valid string, found 3"),
        (b'{"kind":"order","id":1,"verb":"drop","value":NaN}\n', "value: input should be a finite number"),
        (b'{"kind":"order","id":true,"verb":"drop"}\n', "id: input should be a valid integer"),
        (b'{"kind":"look","id":1,"hurry":true}\n', "unknown key 'hurry'"),
        (b'{"kind":"history","id":1,"points":100000}\n', "points: input should be less than or equal to 5000"),
        (b'{"kind":"snapshot"}\n', "expected one of the kinds"),
        (b'{"kind":"pong","n":99}\n', "pong 99 came before its ping"),
    ],
)
async def test_garbage_ends_the_connection_that_it_came_by_in_plain_words(tmp_path, line, why):
    async with opened(tmp_path) as (door, card):
        good = await Client.connect(card, "operator", "console")
        raw = await Raw.inside(card)
        raw.writer.write(line)
        bye = await raw.hear_of("bye")
        assert why in bye["why"]
        assert (await good.look())["who"] == "operator"
        await until(lambda: len(door.guests) == 1)
        await good.close()


async def test_hello_twice_ends_the_connection(tmp_path):
    async with opened(tmp_path) as (_, card):
        raw = await Raw.inside(card)
        raw.hello(card.secret)
        assert (await raw.hear_of("bye"))["why"] == "hello was said twice"


@pytest.mark.parametrize("with_end", [True, False])
async def test_a_line_that_is_too_long_ends_the_connection(tmp_path, with_end):
    async with opened(tmp_path) as (_, card):
        stranger = await Raw.connect(card.port)
        stranger.writer.write(b"x" * (m.STRANGERS_LINE + 1) + b"\n" * with_end)
        assert (await stranger.hear())["why"] == "a line of more than 4096 bytes"
        raw = await Raw.inside(card)
        raw.writer.write(b"x" * (m.CLIENTS_LINE + 1) + b"\n" * with_end)
        assert (await raw.hear_of("bye"))["why"] == "a line of more than 1048576 bytes"


async def test_a_program_of_nearly_the_longest_line_comes_through(tmp_path):
    async with opened(tmp_path) as (_, card):
        client = await Client.connect(card, "operator", "console")
        text = "é" * 500_000
        told = await client.program("long", text)
        assert told["asked"]["text"] == text
        with pytest.raises(Refused, match="at most 1048576 are taken"):
            await client.program("longer", text * 2)
        await client.close()


async def test_who_never_says_hello_is_sent_away(tmp_path):
    async with opened(tmp_path, times=replace(QUICK, hello_s=0.3)) as (_, card):
        raw = await Raw.connect(card.port)
        assert await raw.hear() == {"kind": "refused", "reason": "time", "why": "nothing said for 0.3 s"}


async def test_half_a_line_does_not_wait_for_ever_even_when_it_grows(tmp_path):
    async with opened(tmp_path, times=replace(QUICK, line_s=0.3)) as (door, card):
        raw = await Raw.inside(card)

        async def drip():
            while True:
                raw.writer.write(b"x")
                await asyncio.sleep(0.02)

        dripping = asyncio.create_task(drip())
        assert (await raw.hear_of("bye"))["why"] == "a line was not ended within 0.3 s"
        dripping.cancel()
        await until(lambda: not door.guests)


async def test_lines_in_pieces_are_put_together(tmp_path):
    async with opened(tmp_path) as (_, card):
        raw = await Raw.inside(card)
        for byte in b'{"kind":"look","id":5}\n{"kind":"look","id":6}\n':
            raw.writer.write(bytes([byte]))
            await asyncio.sleep(0)
        assert [(await raw.hear_of("accepted"))["id"] for _ in range(2)] == [5, 6]


async def test_a_flood_ends_the_connection_that_it_came_by(tmp_path):
    async with opened(tmp_path) as (_, card):
        raw = await Raw.inside(card)
        raw.writer.write(b'{"kind":"pong","n":0}\n' * (RATE + 10))
        assert f"more than {RATE} lines within" in (await raw.hear_of("bye"))["why"]


async def test_too_many_requests_at_once_are_rejected_one_by_one(tmp_path):
    free = asyncio.Event()

    async def receive(guest, message):
        await free.wait()
        return {}

    async with opened(tmp_path, receive) as (_, card):
        raw = await Raw.inside(card)
        for number in range(ASKED + 1):
            raw.say(kind="look", id=number)
        rejected = await raw.hear_of("rejected")
        assert (rejected["id"], rejected["why"]) == (ASKED, "32 requests of yours are in hand already")
        free.set()
        assert {(await raw.hear_of("accepted"))["id"] for _ in range(ASKED)} == set(range(ASKED))


async def test_a_client_that_never_reads_costs_no_other_a_scan_and_no_memory(tmp_path):
    async with opened(tmp_path) as (door, card):
        blocked = await Raw.inside(card)
        blocked.stop_reading()
        good = await Raw.inside(card, who="witness")
        sizes = []
        tracemalloc.start()
        for number in range(800):
            door.show(numbered(number))
            while (await good.hear_of("snapshot"))["snapshot"]["number"] != number:
                pass
            if number % 200 == 199:
                gc.collect()
                sizes.append(tracemalloc.get_traced_memory()[0])
        tracemalloc.stop()
        assert sizes[-1] - sizes[0] < 300_000, sizes
        assert len(door.guests) == 2, "it is left alone: it may only be stopped"
        await blocked.close()
        await good.close()


async def test_a_client_that_reads_no_events_is_dropped_when_too_many_wait(tmp_path):
    async with opened(tmp_path) as (door, card):
        blocked = await Raw.inside(card)
        blocked.stop_reading()
        good = await Raw.inside(card, who="witness")
        for number in range(100_000):
            door.tell(event(number, "y" * 500))
            assert (await good.hear_of("event"))["number"] == number
            if len(door.guests) == 1:
                break
        assert [g.who for g in door.guests] == ["witness"]
        assert number >= QUEUE
        await good.close()


async def test_a_slow_client_gets_every_event_in_order_and_then_the_newest_snapshot(tmp_path):
    async with opened(tmp_path) as (door, card):
        raw = await Raw.inside(card)
        raw.stop_reading()
        for number in range(1500):
            door.show(numbered(number))
            if number % 10 == 0:
                door.tell(event(number))
            if number % 50 == 0:
                await asyncio.sleep(0)
        raw.read_on()
        events: list[int] = []
        snapshots: list[int] = []
        while not snapshots or snapshots[-1] != 1499:
            heard = await raw.hear()
            if heard["kind"] == "event":
                events.append(heard["number"])
            elif heard["kind"] == "snapshot":
                snapshots.append(heard["snapshot"]["number"])
        assert events == list(range(0, 1500, 10))
        assert snapshots == sorted(set(snapshots))
        assert len(snapshots) < 1500
        await raw.close()


# How many


async def test_the_client_after_the_last_place_is_refused_in_words(tmp_path):
    async with opened(tmp_path, times=replace(QUICK, attached_s=60.0)) as (door, card):
        inside = [await Raw.inside(card) for _ in range(MOST)]
        with pytest.raises(Refused, match="32 clients are attached already"):
            await Client.connect(card, "operator", "console")
        await inside[0].close()
        await until(lambda: len(door.guests) == MOST - 1)
        await (await Client.connect(card, "operator", "console")).close()
        for raw in inside:
            await raw.close()


async def test_a_client_that_does_not_answer_makes_room_for_one_that_drops(tmp_path):
    async with opened(tmp_path, times=replace(QUICK, attached_s=0.3)) as (_, card):
        inside = [await Raw.inside(card, who=f"stuck {n}") for n in range(MOST)]
        await asyncio.sleep(0.4)
        client = await Client.connect(card, "operator", "visitor")
        assert (await client.order("drop"))["asked"]["verb"] == "drop"
        assert "another client needs the place" in (await inside[0].hear_of("bye"))["why"]
        await client.close()
        for raw in inside:
            await raw.close()


async def test_strangers_who_say_nothing_keep_nobody_out(tmp_path):
    async with opened(tmp_path, times=replace(QUICK, hello_s=60.0)) as (door, card):
        strangers = [await Raw.connect(card.port) for _ in range(STRANGERS + 8)]
        client = await Client.connect(card, "operator", "console")
        assert (await client.look())["who"] == "operator"
        assert len(door._open) <= STRANGERS + 1
        await client.close()
        for raw in strangers:
            await raw.close()


# Who is attached


async def test_attached_are_consoles_whose_loop_answers(tmp_path):
    async with opened(tmp_path) as (door, card):
        assert door.attached == 0
        visitor = await Client.connect(card, "witness", "visitor")
        console = await Client.connect(card, "operator", "console")
        await until(lambda: door.attached == 1)
        await asyncio.sleep(1.5 * QUICK.attached_s)
        assert door.attached == 1, "pings are answered without anybody asking for it"
        assert {(g.who, g.role) for g in door.guests} == {("operator", "console"), ("witness", "visitor")}
        await console.close()
        await until(lambda: door.attached == 0)
        await visitor.close()


async def test_a_console_that_answers_no_ping_is_not_attached(tmp_path):
    async with opened(tmp_path) as (door, card):
        raw = await Raw.inside(card)
        await asyncio.sleep(QUICK.ping_s)
        assert door.attached == 0
        assert door.guests[0].pong_age_s is None
        ping = await raw.hear_of("ping")
        raw.say(kind="pong", n=ping["n"])
        await until(lambda: door.attached == 1)
        await until(lambda: door.attached == 0)
        raw.say(kind="pong", n=ping["n"])
        await asyncio.sleep(2 * QUICK.ping_s)
        assert door.attached == 0, "a pong that was given before is worth nothing"
        await raw.close()


# The end


async def test_who_is_in_hears_why_it_ends_after_the_last_events(tmp_path):
    async with opened(tmp_path) as (door, card):
        raw = await Raw.inside(card)
        door.tell(event(1, "completed"))
        await door.close("nobody needs it")
        assert (await raw.hear_of("event"))["text"] == "completed"
        assert (await raw.hear_of("bye"))["why"] == "nobody needs it"
        with pytest.raises(ConnectionRefusedError):
            await asyncio.open_connection("127.0.0.1", card.port)
        assert not list(tmp_path.glob("*"))


async def test_a_slow_client_still_gets_the_last_events(tmp_path):
    async with opened(tmp_path) as (door, card):
        raw = await Raw.inside(card)
        raw.stop_reading()
        count = 0
        while door._inside[0].idle or count % 100:  # until the system's buffers are full, and some more
            door.tell(event(count, "y" * 900))
            count += 1
            await asyncio.sleep(0)
        closing = asyncio.create_task(door.close("nobody needs it"))
        await asyncio.sleep(0.05)
        raw.read_on()
        assert [(await raw.hear_of("event"))["number"] for _ in range(count)] == list(range(count))
        assert (await raw.hear_of("bye"))["why"] == "nobody needs it"
        await closing


async def test_an_identity_that_cannot_be_told_is_found_before_anybody_comes(tmp_path):
    with pytest.raises(ValueError, match="finite number"):
        async with opened(tmp_path, speed=float("inf")):
            pass
    assert not list(tmp_path.glob("*"))


async def test_what_was_asked_is_done_though_the_client_is_gone(tmp_path):
    free, done = asyncio.Event(), asyncio.Event()

    async def receive(guest, message):
        await free.wait()
        done.set()
        return {}

    async with opened(tmp_path, receive) as (door, card):
        raw = await Raw.inside(card)
        raw.say(kind="order", id=1, verb="drop")
        raw.say(kind="bye")
        await until(lambda: not door.guests)
        free.set()
        await asyncio.wait_for(done.wait(), LIMIT_S)


async def test_an_order_may_name_its_own_person(tmp_path):
    async with opened(tmp_path) as (_, card):
        client = await Client.connect(card, "operator", "console")
        assert (await client.order("check in", who="witness"))["who"] == "witness"
        await client.close()


async def test_a_refusal_and_a_failure_are_answers(tmp_path):
    async with opened(tmp_path) as (_, card):
        client = await Client.connect(card, "operator", "console")
        with pytest.raises(Refused, match=r"^nobody has taken charge$"):
            await client.order("set load", 100.0)
        with pytest.raises(Refused, match="order failed: KeyError: 'bank 9'"):
            await client.order("reset")
        assert not client.lost
        await client.close()


async def test_rejected_is_told_as_it_was_said(tmp_path):
    assert str(Rejected("a trip is latched")) == "a trip is latched"
