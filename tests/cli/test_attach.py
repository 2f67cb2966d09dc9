"""Finding the run host that is meant, attaching to it, and what is told where none is there."""

import argparse
import getpass
import os
import socket
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from benchctl.cli import attach as room
from benchctl.cli import main
from benchctl.cli.attach import NoHost, attach, first, operator, site_name, the_card
from benchctl.controller.spawn import StartFault
from benchctl.door.card import Card, write_card
from benchctl.door.client import Client
from benchctl.door.proof import new_secret
from benchctl.folders import VARIABLE
from tests.cli.desk import Quiet
from tests.door.rooms import PLACE, SHOWN, opened


@pytest.fixture
def state(tmp_path, monkeypatch):
    """The user's state folder; cards go into its folder `hosts`."""
    folder = tmp_path / "state"
    folder.mkdir(mode=0o700)
    monkeypatch.setenv(VARIABLE, str(folder))
    return folder


def args(**changes: Any) -> argparse.Namespace:
    return argparse.Namespace(**({"site": None, "rehearse": False} | changes))


def stale(folder: Path, site: str = "northquay", **changes: Any) -> Card:
    """The card of a host that was killed: nobody listens on its port."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
    keys: dict[str, Any] = {
        "site": site, "site_sha256": "0" * 64, "rehearsal": False, "pid": os.getpid(), "port": port,
        "secret": new_secret(), "started_wall_s": 1_700_000_000.0}  # fmt: skip
    return write_card(folder, Card(**(keys | changes)))


def test_without_a_run_host_that_is_told(state):
    with pytest.raises(NoHost, match=r"^no run host on this computer$"):
        the_card(args(), Quiet())
    with pytest.raises(NoHost, match=r"^no run host for northquay on this computer$"):
        the_card(args(site="northquay"), Quiet())
    with pytest.raises(NoHost, match=r"^no rehearsal's run host for northquay on this computer$"):
        the_card(args(site="northquay", rehearse=True), Quiet())


async def test_the_only_run_host_need_not_be_named(state):
    async with opened(state / "hosts", rehearsal=False) as (_, card):
        assert the_card(args(), Quiet()).port == card.port
        assert the_card(args(site="northquay"), Quiet()).port == card.port
        with pytest.raises(NoHost, match="rehearsal's run host"):
            the_card(args(site="northquay", rehearse=True), Quiet())


async def test_of_several_run_hosts_one_has_to_be_named(state):
    async with (
        opened(state / "hosts", rehearsal=False),
        opened(state / "hosts", rehearsal=False, site=replace(PLACE, name="millrace")) as (_, second),
    ):
        with pytest.raises(NoHost, match=r"^several run hosts: say --site \(millrace, northquay\)$"):
            the_card(args(), Quiet())
        assert the_card(args(site="millrace"), Quiet()).port == second.port


async def test_real_units_come_before_a_rehearsal(state):
    async with (
        opened(state / "hosts", rehearsal=False) as (_, real),
        opened(state / "hosts", rehearsal=True, site=replace(PLACE, name="millrace")) as (_, rehearsal),
    ):
        assert the_card(args(), Quiet()).port == real.port
        assert the_card(args(rehearse=True), Quiet()).port == rehearsal.port


def test_a_card_whose_host_was_killed_is_told_and_taken_away(state):
    card = stale(state / "hosts")
    voice = Quiet()
    with pytest.raises(NoHost, match="no run host"):
        the_card(args(), voice)
    assert voice.heard("nobody listens on port")
    assert card.path is not None
    assert not card.path.exists()


async def test_beside_a_card_whose_host_was_killed_the_living_one_is_the_only_one(state):
    stale(state / "hosts", "millrace")
    async with opened(state / "hosts", rehearsal=False) as (_, card):
        assert the_card(args(), Quiet()).port == card.port


async def test_attaching_tells_who_comes_and_as_what(state):
    async with opened(state / "hosts", rehearsal=False) as (door, _):
        client = await attach(args(), Quiet(), "visitor", "Kim", starting=False)
        (guest,) = door.guests
        assert (guest.who, guest.role) == ("Kim", "visitor")
        await client.close()


async def test_where_none_is_there_and_none_may_be_started_that_is_told(state):
    with pytest.raises(NoHost):
        await attach(args(), Quiet(), "visitor", "Kim", starting=False)


@pytest.mark.parametrize("card", [False, True], ids=["no card", "a card whose host was killed"])
async def test_where_none_is_there_one_is_started_and_told(state, monkeypatch, card):
    if card:
        stale(state / "hosts")
    async with opened(state / "elsewhere", rehearsal=False) as (_, fresh):
        monkeypatch.setattr(room, "start_apart", lambda *_: (fresh, Path("/runs/northquay.log")))
        voice = Quiet()
        client = await attach(args(site="northquay"), voice, "console", "Kim", starting=True)
        assert isinstance(client, Client)
        assert voice.heard(f"run host started: process {fresh.pid}; log: /runs/northquay.log")
        await client.close()


async def test_a_run_host_that_goes_between_its_card_and_us_is_replaced(state, monkeypatch):
    gone = stale(state / "hosts")
    async with opened(state / "elsewhere", rehearsal=False) as (_, fresh):
        monkeypatch.setattr(room, "the_card", lambda *_: gone)
        monkeypatch.setattr(room, "start_apart", lambda *_: (fresh, Path("/runs/northquay.log")))
        client = await attach(args(site="northquay"), Quiet(), "console", "Kim", starting=True)
        await client.close()


async def test_the_newest_scan_is_waited_for(state):
    async with opened(state / "hosts", rehearsal=False) as (door, card):
        client = await Client.connect(card, "Kim", "visitor")
        assert await first(client, 0.1) is None
        door.show(SHOWN)
        assert await first(client, 5.0) == SHOWN
        await client.close()


def test_a_site_is_known_by_its_files_name(tmp_path):
    (tmp_path / "Old Mill.yaml").write_text("title: Old Mill")
    assert site_name(str(tmp_path / "Old Mill.yaml")) == "Old Mill"
    assert site_name("northquay") == "northquay"
    assert site_name("old-mill") == "old-mill"  # its file is elsewhere: a drop must not need it


def test_a_name_is_found_for_everybody(monkeypatch):
    assert operator("Kim") == "Kim"
    monkeypatch.setattr(getpass, "getuser", lambda: "kim")
    assert operator() == "kim"

    def unknown():
        raise KeyError("uid not found: 4711")

    monkeypatch.setattr(getpass, "getuser", unknown)
    assert operator("") == "operator"


@pytest.mark.parametrize(
    ("words", "code"), [(["attach"], 4), (["status"], 4), (["unload"], 4), (["drop", "--site", "northquay"], 4)]
)
def test_every_verb_says_in_a_line_that_nobody_owns_the_chain(state, capsys, words, code):
    assert main(words) == code
    said = capsys.readouterr().err
    assert "no run host" in said
    assert len(said.splitlines()) == 1


def test_run_tells_what_a_run_host_that_does_not_come_up_has_said(state, monkeypatch, capsys):
    def fails(*_):
        raise StartFault("127.0.0.1:15020 (bank 1) is held by `benchctl probe` (process 4711, since 10:12)")

    monkeypatch.setattr(room, "start_apart", fails)
    assert main(["run", "ladder", "--site", "northquay"]) == 2
    assert capsys.readouterr().err.splitlines() == [
        "127.0.0.1:15020 (bank 1) is held by `benchctl probe` (process 4711, since 10:12)"
    ]
