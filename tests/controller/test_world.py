"""Faults by hand and another pace: a rehearsal's host with simulated units behind real frames, and its clients."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from benchctl.controller import host as room
from benchctl.controller.host import Host
from benchctl.controller.introduce import attendance
from benchctl.controller.terms import Terms
from benchctl.controller.world import REAL, fault_of
from benchctl.core.scenario import Fault, Scenario
from benchctl.core.site import Attendance
from benchctl.door import messages as m
from benchctl.door.card import read_cards
from benchctl.door.client import Client, Refused
from benchctl.door.server import Rejected
from benchctl.files import SourceFile
from benchctl.record.reader import Reader
from tests.controller.bench import KIM, bench
from tests.door.rooms import until
from tests.rehearsal.test_rehearsal import place

PACE = 30.0
END = place().units[0].endpoint


class Rehearsed:
    """A host with two clients and what one of them has heard."""

    def __init__(self, folder: Path, client: Client, late: Client) -> None:
        self.folder, self.client, self.late = folder, client, late
        self.heard: list[m.Event] = []
        self._hearing = asyncio.create_task(self._hear())

    async def _hear(self) -> None:
        async for change in self.late:
            if isinstance(change, m.Event):
                self.heard.append(change)

    def told(self, what: str) -> list[m.Event]:
        return [event for event in self.heard if event.what == what]

    @property
    def now(self) -> Any:
        """The newest snapshot."""
        assert self.client.snapshot is not None
        return self.client.snapshot

    async def close(self) -> None:
        await self.client.close()
        await self.late.close()
        await self._hearing


@asynccontextmanager
async def rehearsed(folder: Path, speed: float = PACE, scenario: Scenario | None = None) -> AsyncIterator[Rehearsed]:
    files = (SourceFile.of("site", "northquay", "northquay.yaml", "title: Northquay"),)
    terms = Terms(
        place(), files, 0.5, folder / "runs", folder / "state", rehearsal=True, speed=speed, scenario=scenario
    )
    task = asyncio.create_task(Host(terms, lambda _: None).run())
    hosts = folder / "state" / "hosts"
    await until(lambda: hosts.exists() and read_cards(hosts))
    card = read_cards(hosts)[0]
    here = Rehearsed(folder, await Client.connect(card, "Kim", "console"), await Client.connect(card, "Lee", "visitor"))
    await until(lambda: here.client.snapshot is not None)
    try:
        yield here
    finally:
        await here.close()
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


@pytest.fixture(autouse=True)
def _quick(monkeypatch):
    monkeypatch.setattr(room, "LOOK_S", 0.01)


async def test_a_fault_begins_now_is_told_to_all_and_ends_when_it_is_healed(tmp_path):
    async with rehearsed(tmp_path) as here:
        given = await here.client.inject("mute", "bank 2")
        assert given == {"fault": "mute", "on": "bank 2", "value": None, "for_s": None}
        await until(lambda: here.now.units[1].condition in ("stale", "lost"))
        await until(lambda: here.told("injected"))
        (event,) = here.told("injected")
        assert (event.text, event.unit, event.who) == ("injected: mute on bank 2", "bank 2", "Kim")
        assert event.data == given
        assert (await here.client.heal("mute", "bank 2"))["ended"] == [given]
        await until(lambda: here.now.units[1].age_s == 0.0)
        await until(lambda: here.told("healed"))
        assert [e.text for e in here.told("healed")] == ["healed: mute on bank 2"]
        with pytest.raises(Refused, match="'mute' is not in force on 'bank 2'"):
            await here.client.heal("mute", "bank 2")


async def test_a_fault_with_a_time_ends_by_itself_and_that_is_told(tmp_path):
    async with rehearsed(tmp_path) as here:
        await here.client.inject("volts sag", "source", "80 %", for_s=20.0)
        await until(lambda: here.now.source.volts_v is not None and here.now.source.volts_v < 0.85 * 400.0)
        await until(lambda: here.told("healed"))
        begun, ended = here.told("injected")[0], here.told("healed")[0]
        assert begun.text == "injected: volts sag on source (percent of rated: 80), for 20 s"
        assert ended.now_s - begun.now_s == pytest.approx(20.0, abs=1.5)
        assert (begun.who, ended.who) == ("Kim", "")
        await until(lambda: here.now.source.volts_v > 0.95 * 400.0)


async def test_a_fault_of_the_scenario_is_told_and_healed_like_one_by_hand(tmp_path):
    async with rehearsed(tmp_path, scenario=Scenario(faults=(Fault(2.0, "cut", f"{END.host}:{END.port}"),))) as here:
        await until(lambda: here.told("injected"))
        assert here.told("injected")[0].who == ""
        await until(lambda: here.now.units[0].condition in ("stale", "lost", "not met"))
        await here.client.heal("cut", "bank 1")  # a cable may be named by the device at its end
        await until(lambda: here.now.units[0].age_s == 0.0)
        assert here.told("healed")[0].who == "Kim"


async def test_a_record_shows_faults_that_began_before_it_and_in_it(tmp_path):
    async with rehearsed(tmp_path) as here:
        await here.client.inject("temperature sensor lost", "bank 1")
        await until(lambda: here.told("injected"))
        await here.client.order("take charge")
        await until(lambda: len(here.told("injected")) == 2)
        await here.client.inject("fan fails", "bank 2")
        await until(lambda: len(here.told("injected")) == 3)
    (path,) = (tmp_path / "runs").glob("*.run")
    with Reader(path) as reader:
        told = [(e.text, e.who) for e in reader.events() if e.kind == "injected"]
    assert told == [
        ("injected: temperature sensor lost on bank 1, since before this record", ""),
        ("injected: fan fails on bank 2", "Kim"),
    ]


async def test_who_comes_late_gets_the_past(tmp_path):
    async with rehearsed(tmp_path) as here:
        for remark in ("one", "two", "three"):
            await here.client.order("remark", text=remark)
        await until(lambda: len(here.told("command")) == 3)
        past = (await here.client.past(5000))["events"]
        assert [m.Event.model_validate(e) for e in past] == here.heard[-len(past) :]
        assert (await here.client.past(1))["events"] == past[-1:]


async def test_a_pace_is_another_at_once_is_told_and_its_true_factor_is_shown(tmp_path):
    async with rehearsed(tmp_path, speed=1.0) as here:
        await until(lambda: here.now.attached)  # in real time somebody has to be there
        assert await here.client.pace(20.0) == {"speed": 20.0}
        at_s = here.now.now_s
        await until(lambda: here.now.now_s > at_s + 15.0)  # in real time that would be too late
        assert here.now.attached is None
        assert [(e.text, e.who, e.data) for e in here.told("pace")] == [
            ("pace: 20 times real time", "Kim", {"speed": 20.0})
        ]
        await until(lambda: here.now.pace is not None)
        assert 1.0 < here.now.pace <= 22.0  # other work on the computer may slow it down, nothing speeds it up
        card = read_cards(here.folder / "state" / "hosts")[0]
        third = await Client.connect(card, "Max", "visitor")
        assert (third.welcome.speed, len(third.welcome.attendance)) == (20.0, 2)
        await third.close()
        await here.client.pace(None)
        await until(lambda: len(here.told("pace")) == 2)
        assert here.told("pace")[1].text == "pace: as fast as it goes"
        await here.client.pace(1.0)
        await until(lambda: here.now.attached)
        with pytest.raises(Refused, match="speed"):
            await here.client.pace(-1.0)


async def test_registers_of_simulated_units_say_what_the_snapshot_says(tmp_path):
    async with rehearsed(tmp_path, speed=1.0) as here:
        await until(lambda: all(u.age_s == 0.0 for u in here.now.units))
        for unit in here.now.units:
            told = await here.client.registers(unit.name)
            texts = {r["name"]: r["text"] for r in told["rows"]}
            assert float(texts["exhaust_c"].split()[0]) == pytest.approx(unit.exhaust_c, abs=2.0)
            assert "ok" in {b["ended"] for b in told["blocks"]} <= {"ok", "not read yet"}
        with pytest.raises(Refused, match="'bank 9': no such unit or instrument; there are bank 1, "):
            await here.client.registers("bank 9")


async def test_real_units_have_no_faults_by_hand_and_no_other_pace(tmp_path):
    async with bench(tmp_path) as here:
        for message in (
            m.Inject(id=1, fault="mute", on="bank 1"),
            m.Heal(id=1, fault="mute", on="bank 1"),
            m.Pace(id=1, speed=10.0),
        ):
            with pytest.raises(Rejected) as refused:
                await here.requests.receive(KIM, message)
            assert str(refused.value) == REAL


@pytest.mark.parametrize(
    ("fault", "on", "value", "found"),
    [
        ("fan fails", "bank 1", None, ("bank 1", None)),
        ("volts sag", "source", "80 %", ("source", 80.0)),
        ("volts sag", "source", 80.0, ("source", 80.0)),
        ("site load", "source", "0.02 MW", ("source", 20.0)),
        ("site load", "source", 20.0, ("source", 20.0)),
        ("delay", "bank 1", "200 ms", (f"{END.host}:{END.port}", 0.2)),
        ("delay", f"{END.host}:{END.port}", 0.2, (f"{END.host}:{END.port}", 0.2)),
        ("contactor will not close", "bank 1", 2.0, ("bank 1", 2.0)),
        ("fuse blown", "bank 1", "2.3", ("bank 1", 2.3)),
    ],
)
def test_a_fault_is_read_as_in_a_scenarios_file(fault, on, value, found):
    read = fault_of(place(), m.Inject(id=1, fault=fault, on=on, value=value, for_s=9.0))
    assert (read.fault, read.on, read.for_s) == (fault, found[0], 9.0)
    assert read.value == (None if found[1] is None else pytest.approx(found[1]))


@pytest.mark.parametrize(
    ("fault", "on", "value", "says"),
    [
        ("fan failed", "bank 1", None, "'fan failed' is no fault, did you mean 'fan fails'?"),
        ("fan fails", "bank 9", None, "'bank 9' is no unit of the site 'northquay'"),
        ("fan fails", "bank 1", 1.0, "'fan fails' takes no value"),
        ("volts sag", "source", None, "'volts sag' takes percent of rated"),
        ("volts sag", "source", "80", "percent of rated"),
        ("contactor will not close", "bank 1", 99.0, "expected stage number, from 1; 'bank 1' has"),
        ("fan fails", 'bank "1"\\', None, "is no unit of the site"),
    ],
)
def test_what_is_wrong_with_a_fault_is_told_in_words(fault, on, value, says):
    with pytest.raises(Rejected) as refused:
        fault_of(place(), m.Inject(id=1, fault=fault, on=on, value=value))
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


def test_who_must_be_there_is_told_in_words():
    rules = Attendance(unattended=True, check_in_s=240.0, console_lost_s=90.0, alarm_after_s=60.0, unload_after_s=300.0)
    assert attendance(rules, needed=True) == (
        "load found on that nobody decides about comes off in steps after 90 s",
        "while no console is attached the program goes on; load comes off in steps after 90 s",
        (
            "after 4 min without a sign of a person it is asked whether somebody is there; from then on, an alarm "
            "after 60 s, load off in steps after 5 min"
        ),
        "a session may be declared unattended: then nobody has to be there",
    )
    assert len(attendance(rules, needed=False)) == 2
