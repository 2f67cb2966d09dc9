"""A controller without sockets: the engine in its thread, quicker than real time, and the requests in the test's loop.

The units are played without physics and without bytes; sites and people are invented.
"""

import asyncio
import hashlib
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from benchctl.controller.news import Happened, News
from benchctl.controller.owner import Owner
from benchctl.controller.recent import Recent
from benchctl.controller.requests import Requests
from benchctl.controller.session import Session
from benchctl.controller.terms import Terms
from benchctl.controller.world import World
from benchctl.core.decision import Frame, Settings
from benchctl.core.orders import Orders, UnitWrites
from benchctl.core.profile import CoolDown
from benchctl.core.site import Site
from benchctl.door import messages as m
from benchctl.door.house import Guest
from benchctl.engine import Engine
from benchctl.files import SourceFile
from benchctl.record.reader import Reader
from simulator.warp import WarpLoop
from tests.core.worlds import FakeUnit, Plant, site, staged

PACE = 40.0  # of the bench's time against the test's
LIMIT_S = 20.0
QUICK = CoolDown(minimum_s=5.0, margin_k=10.0, near_s=1.0, alarm_s=60.0)
PLACE = site(staged(20.0, 40.0, cooldown=QUICK), staged(20.0, 40.0, cooldown=QUICK))
KIM = Guest(1, "Kim", "console", "0", 0.0, 0.0)
LEE = Guest(2, "Lee", "visitor", "0", 0.0, 0.0)
SHORT = """
title: Short
check_load: false
segments:
  - ramp: {to: 40 kW, over: 2 s}
  - hold: {for: 3 s}
"""
LONG = SHORT.replace("3 s", "10 min").replace("Short", "Long")


class Units:
    """A chain of units that do at once what they are told. stalled: no read ends."""

    def __init__(self, place: Site = PLACE) -> None:
        self.plant = Plant([FakeUnit(u.profile) for u in place.units])
        self.closed = False
        self.stalled = False

    async def read(self, until_s: float, cut: asyncio.Event | None = None) -> Any:
        while self.stalled:  # noqa: ASYNC110 - another thread says when
            await asyncio.sleep(0.1)
        return self.plant.read(with_meter=True)

    def readings(self, sweep: Any) -> Any:
        return sweep

    async def write(self, orders: Orders, until_s: float, cut: asyncio.Event | None = None) -> tuple[UnitWrites, ...]:
        return tuple(u.write(o) for u, o in zip(self.plant.units, orders.units, strict=True))

    async def close(self) -> None:
        self.closed = True


def terms(folder: Path, **changes: Any) -> Terms:
    """What a controller of the place is started with."""
    files = (SourceFile.of("site", "place", "place.yaml", "title: Place"),)
    keys: dict[str, Any] = {"site": PLACE, "runs": folder / "runs", "state": folder / "state", "reserve_bytes": 4096}
    return Terms(site_files=files, scan_period_s=0.5, **(keys | changes))


class Bench:
    """What is there, and what has been told."""

    def __init__(self, given: Terms, answer_s: float, attached: Callable[[], bool | None]) -> None:
        self.terms, self.units = given, Units()
        self.frames: list[tuple[Frame, Settings]] = []
        self.events: list[Happened] = []
        self.outcomes: list[dict[str, Any]] = []
        self.log: list[str] = []
        self.session = Session(given, self.outcomes.append)
        self.recent = Recent(given.site)
        loop = asyncio.get_running_loop()
        news = News(loop, self._show, self.events.append, lambda *told: self.requests.answered(*told))  # noqa: PLW0108
        self.engine: Engine

        def engine(settings: Settings, chain: Any) -> Engine:
            inside = asyncio.get_running_loop()
            listeners = (
                lambda frame: self.session.write(frame, self.engine.settings),
                lambda frame: self.recent.listen(frame, self.session.current),
                lambda frame: self.frames.append((frame, self.engine.settings)),
                lambda frame: news.put(frame, self.engine.settings),
            )
            self.engine = Engine(settings, chain, inside.time, listeners, self.session.health, attached=attached)
            return self.engine

        settings = Settings.of(given.site, None, given.scan_period_s)
        self.owner = Owner(settings, lambda: WarpLoop(pace=PACE), lambda _: self.units, engine)
        self.world = World(given, lambda: self.owner, answer_s)
        self.requests = Requests(self.owner, self.session, self.log.append, self.recent, self.world, answer_s=answer_s)

    def _show(self, frame: Frame, settings: Settings) -> None:
        self.requests.frame(frame, settings)

    async def order(self, verb: str, guest: Guest = KIM, **keys: Any) -> dict[str, Any]:
        """Give an order. Raises Rejected."""
        return await self.requests.receive(guest, m.Order(id=1, verb=verb, **keys))

    async def program(self, text: str = SHORT, guest: Guest = KIM, **keys: Any) -> dict[str, Any]:
        """Have a program judged and chosen. Raises Rejected."""
        sha256 = keys.pop("sha256", hashlib.sha256(text.encode()).hexdigest())
        return await self.requests.receive(guest, m.Program(id=1, name="short", text=text, sha256=sha256, **keys))

    async def look(self) -> dict[str, Any]:
        """What is known of the devices."""
        return await self.requests.receive(KIM, m.Look(id=1))

    async def history(self, **keys: Any) -> dict[str, Any]:
        """The run in hand so far. Raises Rejected."""
        return await self.requests.receive(KIM, m.History(id=1, **keys))

    async def until(self, test: Callable[[], Any], limit_s: float = LIMIT_S) -> Any:
        """Wait for something; fails after limit_s."""
        end_s = time.monotonic() + limit_s
        while not (found := test()):
            said = [h.event.text for h in self.events[-5:]]
            assert time.monotonic() < end_s, f"it does not come: {said}, {self.log[-3:]}"
            await asyncio.sleep(0.005)
        return found

    @property
    def state(self) -> Any:
        """Of the bench, after the newest scan."""
        return self.frames[-1][0].decision.state

    @property
    def newest(self) -> int:
        """Number of the newest scan that was shown."""
        assert self.requests.latest is not None
        return self.requests.latest.number

    @property
    def title(self) -> str:
        """Of the program by whose settings the newest scan was decided; empty without one."""
        program = self.frames[-1][1].program
        return program.title if program else ""

    def loaded(self) -> bool:
        """True when a unit has load on."""
        return any(u.load for u in self.units.plant.units)

    async def cool(self) -> None:
        """Wait until no unit owes a cool-down."""
        await self.until(lambda: self.frames and not any(u.hot for u in self.state.units))

    def runs(self) -> list[Path]:
        """The records, the oldest first."""
        return sorted(self.terms.runs.glob("*.run"), key=_started)


def _started(path: Path) -> str:
    with Reader(path) as reader:
        return reader.meta["started"]


@asynccontextmanager
async def bench(
    folder: Path,
    *,
    answer_s: float = 5.0,
    attached: Callable[[], bool | None] = lambda: None,
    load: int = 0,
    stalled: bool = False,
    **changes: Any,
) -> AsyncIterator[Bench]:
    """A bench at work; all its records are closed at the end. load: of the first unit, found on."""
    made = Bench(terms(folder, **changes), answer_s, attached)
    made.units.plant.units[0].load, made.units.stalled = load, stalled
    made.owner.start()
    try:
        yield made
    finally:
        made.units.stalled = False
        await asyncio.to_thread(made.owner.stop)
        await asyncio.to_thread(made.session.end)
