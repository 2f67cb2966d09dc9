"""The client's end: what it gets, whom it believes, and how it hears that the run host is gone."""

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import fields, replace
from hashlib import sha256

import pytest

from benchctl.core.shown import Snapshot
from benchctl.door import messages as m
from benchctl.door.card import Card, read_cards, write_card
from benchctl.door.client import Client, Gone, Refused
from benchctl.door.plates import SourcePlate
from benchctl.door.proof import CLIENT, HOST, new_nonce, proof
from tests.core.worlds import stepped
from tests.door.rooms import PLACE, SHOWN, numbered, opened, until

GREET_S = 5.0
PLATES = {"units", "instruments", "source", "limits"}
SOURCE = SourcePlate.of(PLACE.nameplate)
SILENCE_S = 0.3


async def test_a_client_attaches_asks_and_sees(tmp_path):
    async with opened(tmp_path) as (door, _):
        door.show(numbered(1))
        client = await Client.connect(read_cards(tmp_path)[0], "operator", "console")
        assert client.welcome.model_dump(exclude={"proof", "version", "pid", *PLATES}) == {
            "kind": "welcome", "protocol": m.PROTOCOL, "site": "northquay", "title": "Northquay",
            "attendance": ("somebody must be there",), "rehearsal": True, "speed": 1.0, "scan_period_s": 0.5, "run": "",
            "runs": "runs", "console": "console 1"}  # fmt: skip
        await until(lambda: client.snapshot is not None)
        assert client.snapshot == numbered(1), "what has been shown before is shown to who comes late"
        told = await client.order("set load to", 120.5, unit="bank 1", text="t", why="w")
        assert told == {
            "who": "operator",
            "asked": {
                "kind": "order", "id": 1, "verb": "set load to", "value": 120.5, "text": "t", "unit": "bank 1",
                "who": "", "why": "w", "based_on": 1}}  # fmt: skip
        program = await client.program("ladder", "title: t\n", anyway=True)
        assert (program["asked"]["name"], program["asked"]["anyway"]) == ("ladder", True)
        assert (program["asked"]["choose"], program["asked"]["rule_sets"]) == (True, [])
        looked = await client.program("ladder", "title: t\n", choose=False, rule_sets=[("mine", "title: m\n")])
        (rules,) = looked["asked"]["rule_sets"]
        assert (looked["asked"]["choose"], rules["ref"], rules["text"]) == (False, "mine", "title: m\n")
        assert rules["sha256"] == sha256(b"title: m\n").hexdigest()
        with pytest.raises(Refused, match="cannot be asked: ref: "):
            await client.program("ladder", "title: t\n", rule_sets=[("", "title: m\n")])
        assert (await client.look())["asked"]["kind"] == "look"
        assert (await client.history(5.0, 10))["asked"]["points"] == 10
        assert (await client.registers("bank 1"))["asked"]["unit"] == "bank 1"
        assert (await client.past(7))["asked"]["last"] == 7
        sag = (await client.inject("volts sag", "source", "80 %", for_s=30.0))["asked"]
        assert (sag["fault"], sag["on"], sag["value"], sag["for_s"]) == ("volts sag", "source", "80 %", 30.0)
        assert (await client.heal("volts sag", "source"))["asked"]["kind"] == "heal"
        assert (await client.pace(None))["asked"]["speed"] is None
        with pytest.raises(Refused, match="speed: input should be greater than 0"):
            await client.pace(0.0)
        await client.close()
        with pytest.raises(Refused, match="closed"):
            await client.look()


async def test_a_welcome_has_what_a_screen_draws_the_bench_with(tmp_path):
    units = (*PLACE.units, replace(PLACE.units[0], name="bank 3", unit_id=7, profile=stepped(100, 5)))
    async with opened(tmp_path, site=replace(PLACE, units=units)) as (_, card):
        client = await Client.connect(card, "operator", "console")
        welcome = client.welcome
        await client.close()
    assert [(u.name, u.rated_kw, u.stages, u.step_kw) for u in welcome.units] == [
        ("bank 1", 100.0, (("1", 40.0), ("2", 60.0)), None),
        ("bank 2", 100.0, (("1", 20.0), ("2", 80.0)), None),
        ("bank 3", 100.0, (), 5.0),
    ]
    end = PLACE.units[0].endpoint
    assert welcome.units[2].endpoint == f"{end.host}:{end.port}/7"
    assert [u.title for u in welcome.units] == [u.profile.title for u in units]
    assert [(i.name, i.role, i.place) for i in welcome.instruments] == [
        (i.name, i.role, i.place) for i in PLACE.instruments
    ]
    plate = PLACE.nameplate
    assert (welcome.source.power_kw, welcome.source.apparent_kva) == (plate.power_kw, plate.apparent_kva)
    assert (welcome.source.volts_v, welcome.source.hertz) == (plate.volts, plate.hertz)
    assert (welcome.source.power_factor, welcome.source.rating_class) == (plate.power_factor, plate.rating_class)
    assert set(welcome.limits) == {f.name for f in fields(PLACE.limits)}
    assert welcome.limits["hertz_low_percent"] == PLACE.limits.hertz_low_percent


async def test_a_snapshot_comes_out_as_it_went_in(tmp_path):
    async with opened(tmp_path) as (door, card):
        client = await Client.connect(card, "operator", "console")
        door.show(SHOWN)
        await until(lambda: client.snapshot is not None)
        assert client.snapshot == SHOWN
        assert type(client.snapshot.units) is tuple
        assert type(client.snapshot.permissives) is tuple
        await client.close()


async def test_an_order_is_based_on_the_snapshot_that_was_seen_unless_said_otherwise(tmp_path):
    async with opened(tmp_path) as (door, card):
        client = await Client.connect(card, "operator", "console")
        assert (await client.order("drop"))["asked"]["based_on"] is None
        door.show(numbered(41))
        await until(lambda: client.snapshot)
        assert (await client.order("pause"))["asked"]["based_on"] == 41
        assert (await client.order("pause", based_on=40))["asked"]["based_on"] == 40
        assert (await client.order("pause", based_on=None))["asked"]["based_on"] is None
        await client.close()


async def test_answers_find_those_who_asked_in_any_order(tmp_path):
    async def receive(guest, message):
        await asyncio.sleep(0.05 if message.verb == "slow" else 0.0)
        return {"verb": message.verb}

    async with opened(tmp_path, receive) as (_, card):
        client = await Client.connect(card, "operator", "console")
        answers = await asyncio.gather(*[client.order(verb) for verb in ("slow", "a", "b")])
        assert [a["verb"] for a in answers] == ["slow", "a", "b"]
        await client.close()


async def test_who_gives_up_waiting_is_told_and_disturbs_nobody(tmp_path):
    never = asyncio.Event()

    async def receive(guest, message):
        if message.kind == "look":
            await never.wait()
        return {}

    async with opened(tmp_path, receive) as (_, card):
        client = await Client.connect(card, "operator", "console")
        with pytest.raises(Refused, match=r"has not answered within 0\.05 s"):
            await client.look(reply_s=0.05)
        asked = asyncio.create_task(client.look())
        await asyncio.sleep(0)
        asked.cancel()
        never.set()
        assert await client.history() == {}
        await client.close()


async def test_what_cannot_be_a_message_is_refused_before_it_is_sent(tmp_path):
    async with opened(tmp_path) as (_, card):
        client = await Client.connect(card, "operator", "console")
        with pytest.raises(Refused, match="value: input should be a finite number, found nan"):
            await client.order("set load", float("nan"))
        with pytest.raises(Refused, match="text: has characters that cannot be printed"):
            await client.order("remark", text="a\nb")
        with pytest.raises(Refused, match="who: string should have at least 1 character"):
            await Client.connect(card, "", "console")
        await client.close()


async def test_changes_come_in_their_order_and_snapshots_that_nobody_looked_at_are_one(tmp_path):
    async with opened(tmp_path) as (door, card):
        client = await Client.connect(card, "operator", "console")
        for number in range(6):
            door.show(numbered(number))
            if number in (2, 5):
                door.tell(m.Event(number=number, wall_s=1.0, what="command", text="x"))
        await client.look()  # all that was sent before it is here
        await door.close("over")
        seen = [(type(change), change.number) async for change in client]
        assert seen == [(Snapshot, 2), (m.Event, 2), (Snapshot, 5), (m.Event, 5)]
        assert client.lost == "the run host has ended: over"


async def test_a_consumer_that_waits_is_woken_by_the_end(tmp_path):
    async with opened(tmp_path) as (door, card):
        client = await Client.connect(card, "operator", "console")

        async def consume() -> int:
            return len([change async for change in client])

        consuming = asyncio.create_task(consume())
        await asyncio.sleep(0.01)
        door.show(numbered(1))
        await asyncio.sleep(0.01)
        await door.close("over")
        assert await asyncio.wait_for(consuming, 5.0) == 1


async def test_who_asked_when_the_host_went_away_hears_that_it_is_not_known(tmp_path):
    async def receive(guest, message):
        await asyncio.Event().wait()
        return {}

    async with opened(tmp_path, receive) as (door, card):
        client = await Client.connect(card, "operator", "console")
        asked = asyncio.create_task(client.order("drop"))
        await asyncio.sleep(0.05)
        await door.close("killed")
        with pytest.raises(Refused, match="has ended: killed; whether it was done is not known"):
            await asked
        with pytest.raises(Refused, match="has ended: killed"):
            await client.look()


async def test_a_host_that_falls_silent_shows_in_the_clients_own_time(tmp_path):
    async with opened(tmp_path) as (door, card):
        client = await Client.connect(card, "operator", "console")
        await asyncio.sleep(0.5)
        assert client.quiet_s < 0.4, "it is pinged each 0.05 s"
        assert door._ticking is not None
        door._ticking.cancel()
        await until(lambda: client.quiet_s > 0.6)
        assert not client.lost
        await client.close()


async def test_a_card_whose_port_refuses_is_removed(tmp_path):
    async with opened(tmp_path / "other") as (_, card):
        pass
    stale = write_card(tmp_path, card)
    with pytest.raises(Gone, match=f"nobody listens on its port {card.port}; its card is removed"):
        await Client.connect(stale, "operator", "console")
    assert stale.path is not None
    assert not stale.path.exists()


# Strangers on the port of a card


@asynccontextmanager
async def stranger(
    folder, *lines: bytes | Callable[[bytes], bytes], closes: bool = False
) -> AsyncIterator[tuple[Card, list[bytes]]]:
    """Listens on the port of a card and says these lines, one after each that it hears; keeps what it heard."""
    heard: list[bytes] = []
    served = asyncio.Event()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        for line in lines:
            writer.write(line if isinstance(line, bytes) else line(heard[-1]))
            heard.append(await reader.readline())
        with suppress(ConnectionError):
            await reader.read(0 if closes else -1)
        writer.close()
        served.set()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    async with opened(folder / "true") as (_, card):
        made = card.model_copy(update={"port": server.sockets[0].getsockname()[1]})
    try:
        yield write_card(folder, made), heard
        await asyncio.wait_for(served.wait(), 5.0)
    finally:
        server.close()


CHALLENGE = m.encode(m.Challenge(nonce=new_nonce()))


def welcomed(shown: str) -> bytes:
    return m.encode(
        m.Welcome(
            proof=shown, version="0", site="x", title="x", units=(), instruments=(), source=SOURCE, limits={},
            attendance=(), rehearsal=False, speed=1.0, pid=1, scan_period_s=0.5, run="", runs="",
            console=""))  # fmt: skip


@pytest.mark.parametrize(
    "lines",
    [
        (b"SSH-2.0-OpenSSH_9.6\r\n",),
        (b"\x00" * 100_000 + b"\n",),
        (CHALLENGE, welcomed("x" * 64)),
        (CHALLENGE, b"{}\n"),
        (CHALLENGE, m.encode(m.Refused(reason="secret", why="the secret is not that of this run host"))),
    ],
)
async def test_a_stranger_on_the_port_is_not_believed_and_the_card_is_removed(tmp_path, lines):
    async with stranger(tmp_path, *lines) as (card, heard):
        with pytest.raises(Gone, match="somebody else listens on its port"):
            await Client.connect(card, "operator", "console", greet_s=GREET_S)
        assert card.path is not None
        assert not card.path.exists()
        assert card.secret.encode() not in b"".join(heard)


async def test_a_stranger_who_gives_back_the_clients_own_proof_is_not_believed(tmp_path):
    async with stranger(tmp_path, CHALLENGE, lambda hello: welcomed(json.loads(hello)["proof"])) as (card, _):
        with pytest.raises(Gone):
            await Client.connect(card, "operator", "console")


def test_either_side_has_a_proof_of_its_own_that_hangs_on_every_part():
    a, b = new_nonce(), new_nonce()
    proofs = [proof("s", CLIENT, a, b), proof("s", HOST, a, b), proof("t", CLIENT, a, b), proof("s", CLIENT, b, a)]
    assert len(set(proofs)) == 4


def test_a_proof_is_that_of_rfc_2104():
    """HMAC-SHA-256 written out: H(K ^ opad, H(K ^ ipad, text)), RFC 2104 section 2, key padded to 64 bytes."""
    key = b"secret".ljust(64, b"\0")
    inner = sha256(bytes(k ^ 0x36 for k in key) + f"benchctl {m.PROTOCOL} client aaa bbb".encode()).digest()
    assert proof("secret", CLIENT, "aaa", "bbb") == sha256(bytes(k ^ 0x5C for k in key) + inner).hexdigest()


async def test_a_host_without_a_word_keeps_its_card(tmp_path):
    """It may be stopped, or have no time for strangers: only words that are wrong show that it is somebody else."""
    async with stranger(tmp_path) as (card, _):
        with pytest.raises(Refused, match=r"has said nothing for 0\.3 s; is the process stopped\?"):
            await Client.connect(card, "operator", "console", greet_s=SILENCE_S)
        assert card.path is not None
        assert card.path.exists()
    async with stranger(tmp_path, closes=True) as (card, _):
        with pytest.raises(Refused, match="closed the connection"):
            await Client.connect(card, "operator", "console", greet_s=GREET_S)
        assert card.path is not None
        assert card.path.exists()


@pytest.mark.parametrize(("protocol", "told"), [("1", "version 1"), ("0", "version 0"), ('"x"', "none")])
async def test_a_host_of_another_version_is_named(tmp_path, protocol, told):
    line = f'{{"kind": "challenge", "protocol": {protocol}, "salt": "new"}}\n'.encode()
    async with stranger(tmp_path, line) as (card, _):
        both = f"speaks {told} of the messages, this program version {m.PROTOCOL}"
        with pytest.raises(Refused, match=both) as refused:
            await Client.connect(card, "operator", "console", greet_s=GREET_S)
        assert not isinstance(refused.value, Gone)
        assert card.path is not None
        assert card.path.exists()


async def test_the_words_of_who_refuses_cannot_draw_on_a_terminal(tmp_path):
    line = m.encode(m.Refused(reason="full", why="\x1b[2J\x1b]0;hello\x07full"))
    async with stranger(tmp_path, CHALLENGE, line) as (card, _):
        with pytest.raises(Refused, match=r"\?\[2J\?\]0;hello\?full"):
            await Client.connect(card, "operator", "console", greet_s=GREET_S)


async def test_a_host_that_says_what_is_not_understood_is_lost(tmp_path):
    async with opened(tmp_path) as (door, card):
        client = await Client.connect(card, "operator", "console")
        (inside,) = door._inside
        inside.send(b'{"kind": "snapshot", "snapshot": {"number": 1}}\n')
        await until(lambda: client.lost)
        assert "says what is not understood: snapshot: key 'snapshot.wall_s' is missing" in client.lost
        await client.close()
