"""Somebody on the same computer who has no card: floods, half connections, dripping, guessing; and other versions.

He can reach the port, as everybody on the computer can, and knows the whole protocol; what he lacks is the secret.
"""

import asyncio
import json
import os
import resource
import socket
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.door import messages as m
from benchctl.door.card import read_cards, write_card
from benchctl.door.client import Client, Gone, Refused
from benchctl.door.proof import CLIENT, new_nonce, proof
from benchctl.door.server import NOTES, STRANGERS
from tests.door.rooms import QUICK, Raw, numbered, opened, until
from tests.door.test_client import GREET_S, stranger

HERE = Path(__file__).parent
VERSIONS = {
    int(path.stem.split("-")[1]): [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    for path in sorted(HERE.glob("messages-*.jsonl"))
}
OTHERS = sorted(set(VERSIONS) - {m.PROTOCOL})
FLOOD = """
import socket, sys
held = []
print("begun", flush=True)
while True:
    try:
        held.append(socket.create_connection(("127.0.0.1", int(sys.argv[1])), timeout=1.0))
    except OSError:
        pass
    if len(held) >= int(sys.argv[2]):
        held.pop(0).close()
"""


def spoken(version: int, kind: str) -> bytes:
    """A line as that version says it."""
    return json.dumps(next(line for line in VERSIONS[version] if line["kind"] == kind)).encode() + b"\n"


async def shown(client: Client, number: int) -> None:
    """Wait until a scan has come."""
    await until(lambda: client.snapshot is not None and client.snapshot.number == number)


# Without the secret


async def test_a_proof_for_the_nonce_of_another_run_host_is_worth_nothing(tmp_path):
    async with opened(tmp_path / "a") as (_, one), opened(tmp_path / "b") as (door, other):
        there, here = await Raw.connect(one.port), await Raw.connect(other.port)
        nonce = new_nonce()
        for secret, challenge in ((one.secret, there), (other.secret, there), (one.secret, here)):
            raw = await Raw.connect(other.port)
            raw.say(**raw.greeting(other.secret, nonce=nonce, proof=proof(
                secret, CLIENT, challenge.challenge["nonce"], nonce)))  # fmt: skip
            assert (await raw.hear())["reason"] == "secret"
        assert door.guests == ()


async def test_a_proof_that_another_client_gave_does_not_let_in_while_that_one_waits(tmp_path):
    async with opened(tmp_path) as (door, card):
        honest = await Raw.connect(card.port)
        said = honest.greeting(card.secret)
        for _ in range(5):
            thief = await Raw.connect(card.port)
            thief.say(**said)
            assert (await thief.hear())["reason"] == "secret"
        assert door.guests == ()


async def test_every_connection_gets_a_nonce_of_its_own(tmp_path):
    async with opened(tmp_path) as (_, card):
        raws = [await Raw.connect(card.port) for _ in range(20)]
        assert len({raw.challenge["nonce"] for raw in raws}) == len(raws)


@pytest.mark.parametrize(
    "line",
    [
        b'{"kind":"pong","n":1}\n',
        b'{"kind":"order","id":1,"verb":"take over","why":"mine now"}\n',
        b'{"kind":"bye"}\n',
        b'{"kind":"hello"}\n',
        b"\n" * 10,
        b"x" * (m.STRANGERS_LINE + 1),
        "é".encode() * 3000 + b"\n",
    ],
)
async def test_before_he_is_in_nothing_that_he_says_reaches_the_bench(tmp_path, line):
    asked: list[m.Request] = []

    async def receive(guest, message):
        asked.append(message)
        return {}

    async with opened(tmp_path, receive) as (door, card):
        raw = await Raw.connect(card.port)
        raw.writer.write(line)
        assert (await raw.hear())["kind"] == "refused"
        assert await raw.hear() == {}
        assert (door.guests, asked) == ((), [])


async def test_guessing_ends_each_connection_at_the_first_guess_and_fills_no_log(tmp_path):
    lines: list[str] = []
    async with opened(tmp_path, times=replace(QUICK, ping_s=60.0), log=lines.append) as (door, card):
        for _ in range(5 * NOTES):
            raw = await Raw.connect(card.port)
            raw.hello(os.urandom(32).hex())
            assert (await raw.hear())["reason"] == "secret"
            raw.hello(card.secret)  # the right one, but too late
            assert await raw.hear() == {}
        assert len(lines) == NOTES, "so many from ping to ping; the rest are counted"
        assert door.guests == ()
        assert card.secret not in "".join(lines)


async def test_the_port_is_of_this_computer_alone(tmp_path):
    async with opened(tmp_path) as (door, card):
        assert door._server is not None
        assert [s.getsockname()[0] for s in door._server.sockets] == ["127.0.0.1"]
        for address in _addresses():
            with pytest.raises(ConnectionRefusedError):
                await asyncio.open_connection(address, card.port)


def _addresses() -> list[str]:
    """Those of this computer that others reach it by."""
    found = {str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
    return sorted(a for a in found if not a.startswith("127."))


# Without an end


async def test_half_connections_leave_nothing_behind(tmp_path):
    async with opened(tmp_path) as (door, card):
        for n in range(30):
            raw = await Raw.connect(card.port)
            if n % 3 == 0:
                raw.writer.write_eof()  # nothing more comes from there, and it may go on listening
            elif n % 3 == 1:
                reset = raw.writer.get_extra_info("socket")
                reset.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                raw.writer.close()
            else:
                raw.writer.write(b'{"kind":"hel')
                raw.writer.close()
        await until(lambda: not door._open)
        client = await Client.connect(card, "operator", "console")
        assert (await client.look())["who"] == "operator"
        await client.close()


async def test_who_drips_his_hello_is_sent_away_in_the_time_of_a_hello_and_keeps_nobody_out(tmp_path):
    async with opened(tmp_path, times=replace(QUICK, hello_s=0.5, line_s=60.0)) as (door, card):
        raws = [await Raw.connect(card.port) for _ in range(STRANGERS - 4)]
        begun_s = time.monotonic()

        async def drip(raw: Raw) -> None:
            for byte in json.dumps(raw.greeting("x" * 43)).encode():
                raw.writer.write(bytes([byte]))
                await asyncio.sleep(0.05)

        dripping = [asyncio.create_task(drip(raw)) for raw in raws]
        client = await Client.connect(card, "operator", "console")
        assert (await client.order("drop"))["who"] == "operator"
        assert (await raws[0].hear())["why"] == "nothing said for 0.5 s"
        await until(lambda: len(door._open) == 1)
        assert time.monotonic() - begun_s < 5.0
        for task in dripping:
            task.cancel()
        await asyncio.gather(*dripping, return_exceptions=True)
        await client.close()


# By number


async def test_a_thousand_connections_take_no_place_of_who_is_in_and_no_more_sockets_than_there_are_places(tmp_path):
    most, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    if most < 1200:
        pytest.skip("a process may not have so many sockets here")
    async with opened(tmp_path, times=replace(QUICK, hello_s=60.0)) as (door, card):
        inside = await Client.connect(card, "operator", "console")
        with ExitStack() as held:

            def hundred() -> None:
                for _ in range(100):
                    held.enter_context(socket.create_connection(("127.0.0.1", card.port), timeout=5.0))

            for n in range(10):
                await asyncio.to_thread(hundred)
                door.show(numbered(n))
                await shown(inside, n)
            await until(lambda: door._count == 1001)
            assert len(door._open) <= STRANGERS + 1
            late = await Client.connect(card, "witness", "console")
            assert (await late.order("drop"))["who"] == "witness"
            assert not inside.lost
            assert len(door.guests) == 2
            await late.close()
        await inside.close()


@contextmanager
def flood(port: int, held: int) -> "Iterator[subprocess.Popen[str]]":
    """A process that connects as quickly as it can, and keeps so many open."""
    process = subprocess.Popen(
        [sys.executable, "-c", FLOOD, str(port), str(held)], stdout=subprocess.PIPE, text=True, cwd=HERE
    )
    try:
        assert process.stdout is not None
        process.stdout.readline()
        yield process
    finally:
        process.kill()
        process.communicate()


@pytest.mark.parametrize("held", [1, 500])
async def test_a_flood_of_connections_keeps_no_drop_out_and_stops_no_scan(tmp_path, held):
    async with opened(tmp_path) as (door, card):
        inside = await Client.connect(card, "operator", "console")
        with flood(card.port, held):
            await until(lambda: door._count > 200)
            for n in range(5):
                client = await Client.connect(card, f"witness {n}", "visitor")
                assert (await client.order("drop"))["asked"]["verb"] == "drop"
                await client.close()
                door.show(numbered(n))
                await shown(inside, n)
        assert not inside.lost
        await inside.close()


# After the end of a run host


async def test_the_card_of_a_host_that_died_does_not_open_the_next_one_on_its_port(tmp_path):
    async with opened(tmp_path / "old") as (_, old):
        pass
    async with opened(tmp_path / "new") as (door, new):
        stale = write_card(tmp_path / "cards", old.model_copy(update={"port": new.port, "pid": 1}))
        fresh = write_card(tmp_path / "cards", new.model_copy(update={"pid": 2}))
        with pytest.raises(Gone, match="somebody else listens on its port"):
            await Client.connect(stale, "operator", "console")
        assert door.guests == ()
        assert stale.path is not None
        assert not stale.path.exists()
        assert read_cards(tmp_path / "cards") == [fresh]
        await (await Client.connect(fresh, "operator", "console")).close()


# Of another version


def test_a_recording_of_every_version_is_kept():
    assert sorted(VERSIONS) == list(range(1, m.PROTOCOL + 1))


@pytest.mark.parametrize("version", OTHERS)
async def test_a_client_of_an_earlier_version_is_told_which_is_spoken_and_what_to_do(tmp_path, version):
    async with opened(tmp_path) as (door, card):
        raw = await Raw.connect(card.port)
        raw.writer.write(spoken(version, "hello"))
        refused = await raw.hear()
        assert refused["reason"] == "version"
        assert refused["why"] == (
            f"this run host speaks version {m.PROTOCOL} of the messages, the client version {version}; "
            "use one version of benchctl for both"
        )
        assert await raw.hear() == {}
        assert door.guests == ()


@pytest.mark.parametrize("version", OTHERS)
async def test_a_host_of_an_earlier_version_is_named_with_what_to_do_and_keeps_its_card(tmp_path, version):
    async with stranger(tmp_path, spoken(version, "challenge")) as (card, heard):
        with pytest.raises(Refused, match=(
            f"speaks version {version} of the messages, this program version {m.PROTOCOL}; "
            "use one version of benchctl for both")) as refused:  # fmt: skip
            await Client.connect(card, "operator", "console", greet_s=GREET_S)
        assert not isinstance(refused.value, Gone)
        assert card.path is not None
        assert card.path.exists()
    assert heard == [b""], "nothing was said to it, no proof either"


@pytest.mark.parametrize("version", VERSIONS)
def test_what_two_versions_need_to_find_out_that_they_are_two_has_stayed_the_same(version):
    """A refusal is read by every version, and the first lines of both sides say theirs."""
    refused = m.decode(spoken(version, "refused"), {"refused": m.Refused})
    assert isinstance(refused, m.Refused)
    assert refused.reason == "version"
    for kind in m.VERSIONED:
        assert json.loads(spoken(version, kind))["protocol"] == version


async def test_the_card_of_another_version_is_found_so_that_its_host_can_be_named(tmp_path):
    async with opened(tmp_path) as (_, card):
        assert card.path is not None
        card.path.write_text(json.dumps(json.loads(card.path.read_text()) | {"protocol": 99, "more": [1]}))
        (found,) = read_cards(tmp_path)
        assert found.protocol == 99
