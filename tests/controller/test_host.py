"""The controller's process put together: door, engine, claims, log and signals, with units in memory."""

import asyncio
import os
import signal
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from benchctl import engine as engine_room
from benchctl.claim import ClaimFault
from benchctl.controller import host as room
from benchctl.controller.host import Host
from benchctl.controller.terms import Terms
from benchctl.core.decide import decide
from benchctl.core.state import Mode
from benchctl.door import messages as m
from benchctl.door.card import read_cards
from benchctl.door.client import Client, Refused
from benchctl.record.reader import Reader
from benchctl.record.verify import verify
from simulator.warp import WarpLoop
from tests.controller.bench import PACE, PLACE, Units, terms
from tests.door.rooms import until


class Quick(Host):
    """Units in memory, quicker than real time."""

    def __init__(self, given: Terms) -> None:
        self.said: list[str] = []
        self.units = Units()
        super().__init__(given, self.said.append)

    def _make_loop(self) -> asyncio.AbstractEventLoop:
        return WarpLoop(pace=PACE)

    def _make_chain(self, loop: asyncio.AbstractEventLoop) -> Units:
        return self.units

    def told(self, words: str) -> bool:
        """Whether the log has a line with these words."""
        return any(words in line for line in self.said)

    @property
    def latest(self) -> Any:
        """The newest scan; None before there is one."""
        return self._requests.latest if hasattr(self, "_requests") else None

    def loaded(self) -> bool:
        return any(u.load for u in self.units.plant.units)


class Running:
    """A host at work, its task and a client of it."""

    def __init__(self, host: Quick, task: "asyncio.Task[int]", client: Client) -> None:
        self.host, self.task, self.client = host, task, client

    async def load(self) -> None:
        """Put 20 kW on."""
        await self.client.order("take charge", who="Kim")
        await until(lambda: not any(u.hot for u in self.host.latest.decision.state.units))
        await self.client.order("set load", 20.0, who="Kim")
        await until(self.host.loaded)

    async def ended(self) -> int:
        """Its exit code."""
        return await asyncio.wait_for(self.task, 20.0)


@pytest.fixture(autouse=True)
def _quick(monkeypatch):
    monkeypatch.setattr(room, "LOOK_S", 0.01)
    monkeypatch.setattr(room, "running_clock", lambda: None)  # which would hold the bench to real time


async def attached(folder: Path) -> Client:
    """A console of the host in this folder."""
    await until(lambda: (folder / "hosts").exists() and read_cards(folder / "hosts"))
    return await Client.connect(read_cards(folder / "hosts")[0], "Kim", "console")


@asynccontextmanager
async def running(folder: Path, **changes: Any) -> AsyncIterator[Running]:
    """A host that has scanned."""
    host = Quick(terms(folder, **changes))
    task = asyncio.create_task(host.run())
    client = await attached(folder / "state")
    await until(lambda: host.latest is not None)
    here = Running(host, task, client)
    try:
        yield here
    finally:
        await client.close()
        if not task.done():
            host.units.stalled = False
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)


async def test_it_ends_when_nobody_needs_it_and_takes_its_card_along(tmp_path):
    async with running(tmp_path, idle_s=0.2) as here:
        await asyncio.sleep(0.4)
        assert not here.task.done()  # a client is attached
        await here.client.close()
        assert await here.ended() == 0
    assert here.host.told("run host for place, process")
    assert here.host.told("ends: nobody needs it")
    assert read_cards(tmp_path / "state" / "hosts") == []
    assert here.host.units.closed
    assert not (tmp_path / "runs").exists()


async def test_what_somebody_else_owns_is_not_touched(tmp_path):
    async with running(tmp_path):
        second = Quick(terms(tmp_path))
        with pytest.raises(ClaimFault, match=r"is held by `benchctl control` for place \(process \d+"):
            await second.run()
    assert not second.units.closed  # it was never made


async def test_an_engine_that_cannot_be_made_ends_it_in_words_before_anybody_is_let_in(tmp_path, monkeypatch):
    def fails(*_):
        raise ValueError("no such meter")

    monkeypatch.setattr(Quick, "_make_chain", fails)
    with pytest.raises(RuntimeError, match=r"^ValueError: no such meter$"):
        await Quick(terms(tmp_path)).run()
    assert not (tmp_path / "state" / "hosts").exists()


async def test_a_decide_that_raises_is_told_to_clients_and_ends_it_with_code_1(tmp_path, monkeypatch):
    broken: list[bool] = []

    def breaks(*args):
        if broken:
            raise KeyError("bank 9")
        return decide(*args)

    monkeypatch.setattr(engine_room, "decide", breaks)
    async with running(tmp_path) as here:
        await here.load()
        broken.append(True)
        assert await here.ended() == 1
        await until(lambda: here.client.lost)
        heard = [change async for change in here.client if isinstance(change, m.Event)]
    assert not here.host.loaded()
    assert here.client.lost == "the run host has ended: KeyError: 'bank 9'"
    assert any("deciding failed, everything is ordered open" in change.text for change in heard)
    (outcome,) = [change for change in heard if change.what == "outcome"]
    assert outcome.text == "fault"
    assert verify(Path(outcome.data["run"])).intact
    assert here.host.told("the engine has ended: KeyError: 'bank 9'")


async def test_the_first_signal_unloads_cools_and_only_then_ends_it(tmp_path):
    async with running(tmp_path) as here:
        await here.load()
        os.kill(os.getpid(), signal.SIGTERM)
        await until(lambda: not here.host.loaded())
        assert await here.ended() == 0
        assert here.host.latest.decision.state.mode is Mode.DONE
        assert not any(u.hot for u in here.host.latest.decision.state.units)
        await until(lambda: here.client.lost)
    assert here.client.lost == "the run host has ended: asked to end, no load on, cool-down paid"
    assert here.host.told("ends: asked to end, no load on, cool-down paid")
    (path,) = (tmp_path / "runs").glob("*.run")
    with Reader(path) as reader:
        assert any(e.who == "signal SIGTERM" and e.text.startswith("unload") for e in reader.events())


async def test_a_second_signal_drops(tmp_path):
    async with running(tmp_path) as here:
        await here.load()
        for number in (signal.SIGINT, signal.SIGTERM):  # at once: at this pace an unload is soon over
            os.kill(os.getpid(), number)
        assert await here.ended() == 0
        assert not here.host.loaded()
        assert here.host.latest.decision.state.dropped
    assert here.host.told("ends: asked twice to end, load read back off")


async def test_a_signal_at_rest_ends_it_without_a_record(tmp_path):
    async with running(tmp_path) as here:
        os.kill(os.getpid(), signal.SIGTERM)
        assert await here.ended() == 0
    assert not (tmp_path / "runs").exists()


async def test_a_terminal_that_goes_changes_nothing(tmp_path):
    async with running(tmp_path) as here:
        await here.load()
        os.kill(os.getpid(), signal.SIGHUP)
        await until(lambda: here.host.told("nothing changes"))
        seen = here.host.latest.number
        await until(lambda: here.host.latest.number > seen + 5)
        assert here.host.loaded()
        assert not here.task.done()


async def test_a_door_that_breaks_leaves_the_bench_at_work_and_nobody_attached(tmp_path, monkeypatch):
    soon = replace(PLACE, attendance=replace(PLACE.attendance, console_lost_s=20.0))
    async with running(tmp_path, site=soon) as here:
        await here.load()
        await until(lambda: here.host.latest.inputs.attached)

        def broken(*_):
            raise OSError("no descriptors left")

        door = here.host._door
        assert door is not None
        assert door._server is not None
        monkeypatch.setattr(door, "show", broken)
        monkeypatch.setattr(door, "tell", broken)
        door._server.close()
        await here.client.close()
        await until(lambda: here.host.latest.inputs.attached is False)
        await until(lambda: not here.host.loaded())  # in the site's time
        assert not here.task.done()
        assert here.host.told("a fault of benchctl itself: ")
        assert here.host.told("OSError: no descriptors left")


async def test_a_log_that_cannot_be_written_ends_nothing(tmp_path):
    async with running(tmp_path) as here:

        def full(line: str) -> None:
            raise (OSError(28, "No space left on device"), ValueError("I/O operation on closed file"))[len(line) % 2]

        here.host._write = full
        for line in ("one", "four"):  # either fault
            here.host._log(line)
        await here.load()
        await here.client.order("unload")
        await until(lambda: here.host.latest.decision.state.mode is Mode.DONE)
        assert not here.task.done()


async def test_what_a_crash_has_left_is_told_after_the_first_scan_not_before(tmp_path, monkeypatch):
    looked = []

    def left(folder, site):
        looked.append((folder, site))
        return [(Path("old.run"), "old: a run that was interrupted; closed and sealed now")]

    monkeypatch.setattr(room, "close_all_interrupted", left)
    async with running(tmp_path) as here:
        await until(lambda: here.host.told("  old: a run that was interrupted"))
    assert looked == [(tmp_path / "runs", "place")]


async def test_a_client_that_comes_is_told_which_run_is_in_hand(tmp_path):
    async with running(tmp_path) as here:
        assert here.client.welcome.run == ""
        await here.client.order("take charge", who="Kim")
        (path,) = (tmp_path / "runs").glob("*.run")
        await until(lambda: here.host._door and here.host._door.identity.run)
        second = await attached(tmp_path / "state")
        assert second.welcome.run == str(path)
        await second.close()


async def test_a_client_sees_the_energy_of_the_run_in_hand_grow(tmp_path):
    async with running(tmp_path) as here:
        await until(lambda: here.client.snapshot is not None)
        assert here.client.snapshot is not None
        assert here.client.snapshot.energy_kwh is None  # no run is in hand
        await here.load()
        begun = here.client.snapshot
        await until(lambda: here.client.snapshot and here.client.snapshot.now_s > begun.now_s + 30.0)
        now = here.client.snapshot
        assert begun.energy_kwh is not None
        assert now.energy_kwh is not None
        grown_kwh = 20.0 * (now.now_s - begun.now_s) / 3600.0  # a block of 20 kW, given for the whole time
        assert now.energy_kwh - begun.energy_kwh == pytest.approx(grown_kwh, rel=0.1)
        assert now.energy_whole
        assert now.pace is None  # of real units


async def test_an_order_after_the_end_is_refused_in_words(tmp_path):
    async with running(tmp_path) as here:
        await asyncio.to_thread(here.host._owner.stop)
        assert await here.ended() == 1
        with pytest.raises(Refused, match="the run host has ended"):
            await here.client.order("drop")
