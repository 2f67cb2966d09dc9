"""What only a page needs is asked for while that page is shown, no more often than it moves, one question at a time."""

import asyncio
import time
from types import SimpleNamespace
from typing import Any, cast

import pytest

from benchctl.door.client import Refused
from benchctl.tui import fetch
from benchctl.tui.extras import Extras
from benchctl.tui.fetch import Fetch
from benchctl.tui.link import Link, place_of
from benchctl.tui.view.picture import Page, Picture
from tests.tui.desk import welcome
from tests.tui.pictures import bank, picture

ROW = {
    "table": "holding",
    "address": 102,
    "bit": None,
    "words": "4248 0000",
    "name": "power_kw",
    "text": "50 kW",
    "age_s": 0.5,
}
LIMIT_S = 5.0


class Played:
    """A run host's client: counts what it is asked, answers when it is let."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.refuses = ""
        self.answers = asyncio.Event()
        self.answers.set()

    async def registers(self, unit: str) -> dict[str, Any]:
        self.asked.append(unit)
        await self.answers.wait()
        if self.refuses:
            raise Refused(self.refuses)
        return {"name": unit, "number": 7, "blocks": [], "rows": [ROW]}

    async def look(self) -> dict[str, Any]:
        self.asked.append("look")
        if self.refuses:
            raise Refused(self.refuses)
        return {"rows": [{"name": "bank\x1b[31m 1", "faults": ["a\x07b"]}]}


class Time:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def monotonic(self) -> float:
        return self.now_s


@pytest.fixture
def clock(monkeypatch):
    """The clock of `fetch`."""
    made = Time()
    monkeypatch.setattr(fetch, "time", made)
    return made


def desk(page: Page, extras: Extras | None = None) -> tuple[Fetch, Picture, Played]:
    p, client = picture(page, bank("bank 1"), bank("bank 2")), Played()
    link = cast("Link", SimpleNamespace(picture=p, client=client))
    return Fetch(link, extras or Extras(), lambda: None), p, client


async def settled(test) -> None:
    end_s = time.monotonic() + LIMIT_S
    while not test():
        assert time.monotonic() < end_s
        await asyncio.sleep(0.001)


async def test_registers_are_asked_for_when_a_bank_is_shown_and_once_a_second_then(clock):
    f, p, client = desk(Page.BANK)
    f.opened(Page.BANK)
    await settled(lambda: p.registers)
    assert p.registers is not None
    assert (p.registers.bank, p.registers.number, p.registers.rows[0].words) == ("bank 1", 7, "4248 0000")
    for _ in range(9):
        clock.now_s += 0.1
        f.tick()
    await asyncio.sleep(0.01)
    assert client.asked == ["bank 1"]
    clock.now_s += 0.2
    f.tick()
    await settled(lambda: len(client.asked) == 2)


async def test_another_bank_is_asked_for_at_once(clock):
    f, p, client = desk(Page.BANK)
    f.opened(Page.BANK)
    await settled(lambda: p.registers)
    p.cursor.bank = 1
    f.opened(Page.BANK)
    await settled(lambda: p.registers is not None and p.registers.bank == "bank 2")
    assert client.asked == ["bank 1", "bank 2"]


@pytest.mark.parametrize("page", [p for p in Page if p not in (Page.BANK, Page.CONTACT, Page.RUNS)])
async def test_nothing_is_asked_for_on_other_pages(clock, page):
    f, _, client = desk(page)
    f.opened(page)
    for _ in range(20):
        clock.now_s += 1.0
        f.tick()
    await asyncio.sleep(0.01)
    assert client.asked == []


async def test_a_run_host_that_is_slow_is_not_asked_again_before_it_has_answered(clock):
    f, p, client = desk(Page.BANK)
    client.answers.clear()
    f.opened(Page.BANK)
    await settled(lambda: client.asked)
    for _ in range(20):
        clock.now_s += 1.0
        f.tick()
        await asyncio.sleep(0)
    assert client.asked == ["bank 1"]
    client.answers.set()
    await settled(lambda: p.registers)
    await f.close()


async def test_why_registers_are_refused_is_told_in_their_place(clock):
    f, p, client = desk(Page.BANK)
    client.refuses = "nothing has been read yet"
    f.opened(Page.BANK)
    await settled(lambda: p.registers)
    assert p.registers is not None
    assert p.registers.fault == "nothing has been read yet"


async def test_an_answer_that_is_not_understood_is_told(clock, monkeypatch):
    f, p, _ = desk(Page.BANK)
    monkeypatch.setitem(ROW, "address", "elsewhere")
    f.opened(Page.BANK)
    await settled(lambda: p.registers)
    assert p.registers is not None
    assert p.registers.fault.startswith("the answer is not understood")


async def test_first_contact_comes_without_anything_that_steers_a_terminal(clock):
    f, p, _ = desk(Page.CONTACT)
    f.opened(Page.CONTACT)
    await settled(lambda: p.contact)
    assert p.contact == ({"name": "bank?[31m 1", "faults": ("a?b",)},)


async def test_why_first_contact_cannot_be_had_is_told(clock):
    f, p, client = desk(Page.CONTACT)
    client.refuses = "the run host has not answered within 15 s"
    f.opened(Page.CONTACT)
    await settled(lambda: p.fetching)
    assert p.fetching == client.refuses


async def test_runs_are_read_when_their_page_is_shown_and_one_of_them_when_it_is_opened(clock):
    opened: list[str] = []

    async def runs() -> list[dict[str, Any]]:
        return [{"run": "second"}, {"run": "first\x1b"}]

    async def run(name: str) -> dict[str, Any]:
        opened.append(name)
        return {"run": name, "events": [("1", 0.0, "a\x07", "", "", "")]}

    f, p, _ = desk(Page.RUNS, Extras(runs=runs, run=run))
    f.opened(Page.RUNS)
    await settled(lambda: p.runs)
    assert [row["run"] for row in p.runs] == ["second", "first?"]
    p.cursor.run, p.cursor.run_open = 0, True
    f.opened(Page.RUNS)
    await settled(lambda: p.run)
    assert opened == ["second"]
    assert p.run is not None
    assert p.run["events"][0][2] == "a?"
    assert p.fetching == ""


async def test_a_folder_that_cannot_be_read_is_told(clock):
    async def runs() -> list[dict[str, Any]]:
        raise PermissionError(13, "Permission denied", "/srv/runs")

    f, p, _ = desk(Page.RUNS, Extras(runs=runs))
    f.opened(Page.RUNS)
    await settled(lambda: "Permission denied" in p.fetching)


async def test_a_console_without_a_folder_says_so(clock):
    f, p, _ = desk(Page.RUNS)
    f.opened(Page.RUNS)
    await settled(lambda: "no folder of runs" in p.fetching)


def test_a_welcome_tells_the_place():
    place = place_of(welcome(runs="/srv/\x1b[31mruns"))
    assert (place.site, place.title, place.runs) == ("northquay", "Northquay ferry terminal", "/srv/?[31mruns")
    assert [b.name for b in place.banks] == ["bank 1", "bank 2", "bank 3"]
    assert [(s.name, s.rated_kw) for s in place.banks[0].stages] == [
        ("S1", 4.0),
        ("S2", 8.0),
        ("S3", 20.0),
        ("S4", 40.0),
    ]
    assert (place.banks[2].stages, place.banks[2].step_kw) == ((), 5.0)
    assert place.ends == {
        "bank 1": "127.0.0.1:501/1", "bank 2": "127.0.0.1:502/1", "bank 3": "127.0.0.1:503/1",
        "source meter": "127.0.0.1:600/1",
    }  # fmt: skip
    assert (place.nameplate["power_kw"], place.nameplate["hertz"]) == (400.0, 50.0)
    assert place.attendance == "somebody must be there"
