"""Several clients of a host put together: one has charge, the others watch; what each is told, and what is recorded."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from benchctl.core.command import Verb
from benchctl.core.shown import Snapshot
from benchctl.door import messages as m
from benchctl.door.card import read_cards
from benchctl.door.client import Client, Refused
from benchctl.record.reader import Reader
from tests.controller import test_host
from tests.controller.bench import LONG, SHORT
from tests.controller.test_host import Running, running
from tests.door.rooms import until

_quick = test_host._quick


@asynccontextmanager
async def joined(folder: Path, who: str, role: m.Role = "console") -> AsyncIterator[Client]:
    """One more client of the host in this folder, that has been seen."""
    client = await Client.connect(read_cards(folder / "state" / "hosts")[0], who, role)
    try:
        await until(
            lambda: client.snapshot is not None and (role != "console" or here(client) in client.snapshot.consoles)
        )
        yield client
    finally:
        await client.close()


def here(client: Client) -> str:
    return client.welcome.console


def now(client: Client) -> Snapshot:
    """The newest scan that has come."""
    assert client.snapshot is not None
    return client.snapshot


async def refused(client: Client, verb: str, value: float | None = None, **keys: Any) -> str:
    """Why an order is refused; fails where it is not."""
    with pytest.raises(Refused) as fault:
        await client.order(verb, value, **keys)
    return str(fault.value)


async def charged(bench: Running) -> None:
    await bench.client.order("take charge")
    await until(lambda: now(bench.client).charge == "Kim")


async def test_a_client_is_told_its_name_which_nobody_else_gets(tmp_path):
    async with running(tmp_path) as bench:
        names = [here(bench.client)]
        comers: tuple[tuple[str, m.Role], ...] = (("Lee", "console"), ("Lee", "visitor"), ("Kim", "console"))
        for who, role in comers:
            async with joined(tmp_path, who, role) as other:
                names.append(here(other))
    assert names == ["console 1", "console 2", "shell 1", "console 3"]


async def test_the_snapshot_tells_who_has_charge_where_and_who_is_attached(tmp_path):
    async with running(tmp_path) as bench, joined(tmp_path, "Lee") as other:
        await charged(bench)
        await until(lambda: now(other).consoles == ("console 1", "console 2"))
        assert (now(other).charge, now(other).charge_console) == ("Kim", "console 1")
        await bench.client.close()
        await until(lambda: now(other).consoles == ("console 2",))
        assert (now(other).charge, now(other).charge_console) == ("Kim", "console 1")


async def test_who_watches_is_refused_by_name_and_may_unload_and_drop_at_any_time(tmp_path):
    async with (
        running(tmp_path) as bench,
        joined(tmp_path, "Lee") as other,
        joined(tmp_path, "Lee", "visitor") as shell,
    ):
        await bench.load()
        for client in (other, shell):
            why = await refused(client, "set load", 40.0)
            assert why == "Kim at console 1 has charge: take over, with a reason, to order"
        assert "say why" in await refused(other, "take over")
        assert "take over" in await refused(other, "take charge", why="cautions confirmed")
        await shell.order("unload")
        await until(lambda: not bench.host.loaded())
        await bench.client.order("check in")
        await other.order("drop")
        assert now(bench.client).charge == "Kim"


async def test_a_take_over_is_told_to_everybody_and_recorded_and_the_one_before_only_watches(tmp_path):
    async with running(tmp_path) as bench, joined(tmp_path, "Lee") as other:
        await bench.load()
        await other.order("take over", why="shift change", who="Robin")
        assert (await refused(bench.client, "set load", 0.0)).startswith("Robin at console 2 has charge")
        await other.order("set load", 40.0, who="Robin")
        for client in (bench.client, other):
            told = [e for e in (await client.past())["events"] if e["what"] == "taken over"]
            assert [(e["text"], e["who"], e["data"]["from_console"]) for e in told] == [
                ("Robin at console 2 has taken over from Kim at console 1: shift change", "Robin", "console 1")
            ]
        (run,) = (tmp_path / "runs").glob("*.run")
    with Reader(run) as reader:
        kinds = [(e.kind, e.who, e.text) for e in reader.events() if "over" in e.text and e.kind != "refused"]
        given = [c for scan in reader.scans() for c in scan.inputs(reader.settings.site).commands]
    assert kinds[:2] == [
        ("command", "Robin", "take over shift change"),
        ("taken over", "Robin", "Robin at console 2 has taken over from Kim at console 1: shift change"),
    ]
    assert [(c.verb, c.who, c.console) for c in given] == [
        (Verb.TAKE_CHARGE, "Kim", "console 1"),
        (Verb.SET_LOAD, "Kim", "console 1"),
        (Verb.TAKE_OVER, "Robin", "console 2"),
        (Verb.SET_LOAD, "Kim", "console 1"),
        (Verb.SET_LOAD, "Robin", "console 2"),
    ]


async def test_every_command_of_another_is_an_event_with_its_console(tmp_path):
    async with running(tmp_path) as bench, joined(tmp_path, "Lee") as other:
        await charged(bench)
        asked = asyncio.create_task(bench.client.order("remark", text="rain"))
        async for news in other:
            if isinstance(news, m.Event) and news.text == "remark rain":
                break
        await asked
        assert isinstance(news, m.Event)
        assert (news.what, news.who, news.data) == ("command", "Kim", {"console": "console 1"})


async def test_whose_console_has_died_goes_on_from_another_under_the_same_name(tmp_path):
    async with running(tmp_path) as bench:
        await bench.load()
        await bench.client.close()
        async with joined(tmp_path, "Kim") as again:
            await again.order("set load", 40.0)
            await until(lambda: now(again).charge_console == here(again))
            told = [e["text"] for e in (await again.past())["events"] if e["what"] == "charge"]
            assert told == ["Kim at console 2 has charge; console 1 is not attached any more"]


async def test_who_watches_has_a_program_judged_and_chooses_none(tmp_path):
    async with running(tmp_path) as bench, joined(tmp_path, "Lee") as other:
        await charged(bench)
        await bench.client.program("short", SHORT)
        told = await other.program("long", LONG)
        assert told["feasible"] is True
        assert told["barred"].startswith("Kim at console 1 has charge")
        assert "run" not in told
        assert (await refused(other, "start")).startswith("Kim at console 1 has charge")
        told = await bench.client.program("short", SHORT)
        assert (told["barred"], told["in_hand"]) == ("", False)
        await other.order("take over", why="the long one first")
        assert "run" in await other.program("long", LONG)
        assert (await bench.client.program("short", SHORT))["barred"].startswith("Lee at console 2 has charge")


async def test_a_refused_order_of_who_watches_begins_no_record(tmp_path):
    async with running(tmp_path, idle_s=60.0) as bench, joined(tmp_path, "Lee") as other:
        await charged(bench)
        session = bench.host._requests._session
        await until(lambda: session.current is None, 20.0)  # nothing goes on: the first one is closed
        runs = len(list((tmp_path / "runs").glob("*.run")))
        assert (await refused(other, "set load", 20.0)).startswith("Kim at console 1")
        assert len(list((tmp_path / "runs").glob("*.run"))) == runs
        await other.order("take over", why="a test of mine")  # that one stands in a record
        assert len(list((tmp_path / "runs").glob("*.run"))) == runs + 1
