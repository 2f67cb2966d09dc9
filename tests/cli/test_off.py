"""Unload and drop from any shell: confirmed, not confirmed, and nobody there to ask."""

import argparse
import asyncio
from dataclasses import replace

import pytest

from benchctl.cli import attach as door
from benchctl.cli import off as room
from benchctl.cli.attach import NoHost
from benchctl.cli.off import NOT_CONFIRMED, take_off
from benchctl.door.client import Gone, Refused
from tests.cli.desk import Played, Quiet, shown

ARGS = argparse.Namespace(site=None, rehearse=False)
OFF = shown(mode="cooling down", off=True, loaded=False)


@pytest.fixture
def client(monkeypatch):
    """A run host that is played, whose scans are numbered from 1."""
    played = Played(shown(number=1))

    async def attach(*_, **__):
        return played

    monkeypatch.setattr(door, "attach", attach)
    monkeypatch.setattr(room, "CONFIRM_S", 0.2)
    monkeypatch.setattr(room, "WATCH_S", 0.3)
    monkeypatch.setattr(room, "UNLOAD_S", 0.6)
    return played


def scans(client, *snapshots, answers_scan=3):
    """Have these come one after the other once an order is given; it is obeyed in scan 3."""
    given = client.order

    async def order(verb, *args, **keys):
        told = await given(verb, *args, **keys)
        asyncio.get_running_loop().create_task(come())
        return told | {"scan": answers_scan}

    async def come():
        for number, snapshot in enumerate(snapshots, 2):
            await asyncio.sleep(0.03)
            client.snapshot = replace(snapshot, number=number)

    client.order = order


@pytest.mark.parametrize("verb", ["drop", "unload"])
def test_load_that_is_read_back_open_after_the_order_was_obeyed_is_off(client, verb):
    scans(client, shown(), shown(), OFF)
    voice = Quiet()
    assert take_off(ARGS, voice, verb) == 0
    assert [verb for verb, _ in client.orders] == [verb]
    assert voice.texts[0].startswith("LOAD OFF: every unit reads back open, after 0.")
    assert voice.rows[0] == {"outcome": "off", "confirmed": True, "took_s": voice.rows[0]["took_s"]}
    assert client.closed


def test_what_was_read_before_the_order_was_obeyed_confirms_nothing(client):
    client.snapshot = replace(OFF, number=1)
    scans(client, OFF, OFF)  # scan 3 has obeyed: what it read is from before its writes
    voice = Quiet()
    assert take_off(ARGS, voice, "drop") == 1
    assert voice.said == [NOT_CONFIRMED + " (bank 1)"]


@pytest.mark.parametrize("off", [False, None], ids=["still on", "not known"])
def test_a_drop_that_is_not_read_back_says_so_once_and_names_the_units(client, off):
    scans(client, *[shown(off=off)] * 5)
    voice = Quiet()
    assert take_off(ARGS, voice, "drop") == 1
    assert voice.said == [NOT_CONFIRMED + " (bank 1)"]
    assert voice.rows[0]["outcome"] == "not confirmed"


def test_a_drop_that_is_confirmed_late_is_still_confirmed(client):
    scans(client, *[shown()] * 10, OFF)
    voice = Quiet()
    assert take_off(ARGS, voice, "drop") == 0
    assert voice.said == [NOT_CONFIRMED + " (bank 1)"]
    assert voice.texts[0].startswith("LOAD OFF")


def test_an_unload_tells_how_far_it_is(client, monkeypatch):
    monkeypatch.setattr(room, "TELL_S", 0.1)
    scans(client, *[shown(read_back_kw=60.0)] * 10, OFF)
    voice = Quiet()
    assert take_off(ARGS, voice, "unload") == 0
    assert voice.said[0] == "unloading, 0 s: read back 60.0 kW"


def test_an_unload_that_takes_too_long_is_not_confirmed(client):
    scans(client, *[shown()] * 3)
    voice = Quiet()
    assert take_off(ARGS, voice, "unload") == 1
    assert voice.said[-1].startswith(NOT_CONFIRMED)


def test_a_run_host_that_does_not_answer_is_told(client):
    client.refuses = "given to the bench, but no scan has answered"
    voice = Quiet()
    assert take_off(ARGS, voice, "drop") == 1
    assert voice.said[0] == "drop: given to the bench, but no scan has answered"
    assert voice.said[1].startswith(NOT_CONFIRMED)


def test_a_run_host_that_goes_meanwhile_is_told_and_nothing_is_confirmed(client):
    async def order(verb, **keys):
        client.lost = "the run host has ended: killed"
        raise Refused(client.lost + "; whether it was done is not known")

    client.order = order
    voice = Quiet()
    assert take_off(ARGS, voice, "drop") == 1
    assert "the run host has ended: killed" in voice.said
    assert voice.said[-1].startswith(NOT_CONFIRMED)


@pytest.mark.parametrize(
    ("fault", "way"),
    [
        (NoHost("no run host on this computer"), room.NOBODY),
        (Gone("is gone: nobody listens on its port"), room.NOBODY),
        (Refused("speaks version 2 of the messages"), room.NOT_LET_IN),  # it owns the chain, and cannot be asked
    ],
)
def test_where_nobody_can_be_asked_the_emergency_stops_are_named(client, monkeypatch, fault, way):
    async def nobody(*_, **__):
        raise fault

    monkeypatch.setattr(door, "attach", nobody)
    voice = Quiet()
    assert take_off(ARGS, voice, "drop") == 4
    assert voice.said == [f"{fault}; {way}"]
    assert "emergency stop" in voice.said[0]
    assert voice.rows == [{"outcome": "chain lost", "confirmed": False}]
