"""A console without a terminal before a run host that is played: it answers at once, and keeps what was asked.

The site and its people are invented.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Any, cast

from textual import events
from textual.drivers.headless_driver import HeadlessDriver
from textual.geometry import Size
from textual.keys import _character_to_key
from textual.pilot import Pilot
from textual.widgets import Static

from benchctl.core.shown import Snapshot
from benchctl.door import messages as m
from benchctl.door.client import Client, Refused
from benchctl.door.plates import InstrumentPlate, SourcePlate, UnitPlate
from benchctl.tui.app import Console
from benchctl.tui.extras import Extras, Way, Written
from benchctl.tui.form import Field, Form
from benchctl.tui.gate import WINDOW_S
from benchctl.tui.link import Choice
from tests.tui.pictures import bank, scan, screen

APART_S = 1.5 * WINDOW_S  # between two keys of a person
LIMIT_S = 10.0

PLAN: dict[str, Any] = {
    "feasible": True, "refusals": [], "warnings": ["amps near the limit"], "lines": ["a line"], "length_s": 600.0,
    "planned_peak_kw": 400.0, "unattended": False, "sha256": "ab" * 32, "legs": [], "graph": [], "findings": [],
    "cautions": [], "readings": [],
}  # fmt: skip


def welcome(**changes: Any) -> m.Welcome:
    """What the played run host says of itself."""
    stages = tuple((f"S{i}", kw) for i, kw in enumerate((4.0, 8.0, 20.0, 40.0), 1))

    def unit(number: int, **other: Any) -> UnitPlate:
        keys: dict[str, Any] = {
            "name": f"bank {number}", "title": "Invented unit", "position": "", "rated_kw": 150.0,
            "endpoint": f"127.0.0.1:50{number}/1", "stages": stages, "step_kw": None}  # fmt: skip
        return UnitPlate(**keys | other)

    keys: dict[str, Any] = {
        "proof": "0" * 64, "version": "0", "site": "northquay", "title": "Northquay ferry terminal",
        "units": (unit(1), unit(2), unit(3, stages=(), step_kw=5.0)),
        "instruments": (InstrumentPlate(name="source meter", role="source", place="", endpoint="127.0.0.1:600/1"),),
        "source": SourcePlate(
            name="set", kind="generating set", power_kw=400.0, apparent_kva=500.0, volts_v=400.0, hertz=50.0,
            rated_amps=721.7, power_factor=0.8, rating_class="ESP", wiring="three-phase four-wire"),
        "limits": {}, "attendance": ("somebody must be there",), "rehearsal": False, "speed": 1.0, "pid": 4711,
        "scan_period_s": 0.5, "run": "", "runs": "runs", "console": "console 1"}  # fmt: skip
    return m.Welcome(**keys | changes)


REST: dict[str, Any] = {
    "mode": "idle", "charge": "", "charge_console": "console 1", "off": True, "loaded": False, "target_kw": 0.0,
    "possible_kw": 0.0, "ceiling_kw": 400.0, "available_kw": 450.0, "read_back_kw": 0.0, "trip": None, "prompt": None,
    "alarms": (), "leg": None, "program": "",
}  # fmt: skip
BANKS = (bank("bank 1"), bank("bank 2", joined=False, condition="changed"), bank("bank 3", stages=0, closed=()))


class Host:
    """A client as the console knows it, of a run host that is played. refuses: why orders are, by verb or `*`."""

    def __init__(self, now: Snapshot, **welcomed: Any) -> None:
        self.welcome = welcome(**welcomed)
        self.snapshot: Snapshot | None = now
        self.lost = ""
        self.orders: list[tuple[str, dict[str, Any]]] = []
        self.asked: list[tuple[Any, ...]] = []
        self.judged_by: list[tuple[bool, tuple[tuple[str, str], ...]]] = []  # of each program: chosen too, rule sets
        self.refuses: dict[str, str] = {}
        self.plan = PLAN
        self.silent_s = 0.0  # before an order is answered
        self.closed = False
        self._news: asyncio.Queue[Snapshot | m.Event | None] = asyncio.Queue()
        self.show(now)

    async def order(self, verb: str, value: float | None = None, **keys: Any) -> dict[str, Any]:
        keys.pop("based_on", None)
        told = {k: v for k, v in keys.items() if v and k != "who"}
        self.orders.append((verb, told if value is None else told | {"value": value}))
        self.asked.append(("who", keys.get("who")))
        await asyncio.sleep(self.silent_s)
        why = self.refuses.get(verb) or self.refuses.get("*")
        if why:
            raise Refused(why)
        return {"scan": 7}

    async def program(
        self, name: str, text: str, *, anyway: bool = False, choose: bool = True, rule_sets: Any = ()
    ) -> dict[str, Any]:
        self.asked.append(("program", name, text, anyway))
        self.judged_by.append((choose, tuple(rule_sets)))
        if "program" in self.refuses:
            raise Refused(self.refuses["program"])
        return self.plan

    async def inject(self, fault: str, on: str, value: Any = None, for_s: float | None = None) -> dict[str, Any]:
        self.asked.append(("inject", fault, on, value, for_s))
        if "inject" in self.refuses:
            raise Refused(self.refuses["inject"])
        return {}

    async def heal(self, fault: str, on: str) -> dict[str, Any]:
        self.asked.append(("heal", fault, on))
        return {"ended": 1}

    async def pace(self, speed: float | None) -> dict[str, Any]:
        self.asked.append(("pace", speed))
        return {"speed": speed}

    async def past(self, last: int = 1000) -> dict[str, Any]:
        return {"events": []}

    async def history(self, since_s: float = 0.0, points: int = 1000) -> dict[str, Any]:
        return {"columns": [], "rows": []}

    async def look(self) -> dict[str, Any]:
        return {"rows": []}

    async def registers(self, unit: str) -> dict[str, Any]:
        return {"name": unit, "number": 1, "blocks": [], "rows": []}

    async def __aiter__(self) -> AsyncIterator[Snapshot | m.Event]:
        while (news := await self._news.get()) is not None:
            yield news

    def show(self, now: Snapshot) -> None:
        """A scan comes."""
        self.snapshot = now
        self._news.put_nowait(now)

    def tell(self, event: m.Event) -> None:
        """An event comes."""
        self._news.put_nowait(event)

    def lose(self, why: str) -> None:
        """The run host is gone."""
        self.lost = why
        self._news.put_nowait(None)

    async def close(self) -> None:
        self.closed = True


class Desk:
    """A console at work, and who plays its run host."""

    def __init__(self, host: Host, console: Console) -> None:
        self.host, self.console = host, console
        self.pilot: Pilot[int]
        self.attached: list[Choice] = []

    async def until(self, test: Callable[[], Any], limit_s: float = LIMIT_S) -> Any:
        """Wait for something; fails after limit_s."""
        end_s = asyncio.get_running_loop().time() + limit_s
        while not (found := test()):
            assert asyncio.get_running_loop().time() < end_s, f"it does not come:\n{self.text}"
            await asyncio.sleep(0.005)
        return found

    async def press(self, *names: str) -> None:
        """Keys of a person, one after the other."""
        for name in names:
            self.console.simulate_key(name)
            await asyncio.sleep(APART_S)
            while self.console._gate.next_s() is not None:  # noqa: ASYNC110 - a busy computer looks at keys for longer
                await asyncio.sleep(0.005)
        await self.pilot.pause()

    def resize(self, width: int, height: int) -> None:
        """Another size of the window; returns before anything is drawn."""
        size = Size(width, height)
        cast("HeadlessDriver", self.console.driver)._size = size
        self.console.post_message(events.Resize(size, size))

    async def type(self, text: str) -> None:
        """Letters of a person."""
        for character in text:
            self.console.post_message(events.Key(_character_to_key(character), character))
            await asyncio.sleep(APART_S)
        await self.pilot.pause()

    @property
    def form(self) -> Form:
        """The form that is open."""
        screen = self.console.screen
        assert isinstance(screen, Form), f"no form is open:\n{self.text}"
        return screen

    @property
    def open(self) -> bool:
        """Whether a form is open."""
        return isinstance(self.console.screen, Form)

    @property
    def said(self) -> str:
        """Every word of the form that is open, its title first."""
        title = str(self.form.query_one("#box").border_title)
        fields = [f"[{field.value or field.placeholder}]" for field in self.form.query(Field)]
        return "\n".join([title, *(str(s.content) for s in self.form.query(Static)), *fields])

    @property
    def text(self) -> str:
        """What stands on the page."""
        return screen(self.console.picture, *self.console.size)

    @property
    def hint(self) -> str:
        """The newest word to the operator."""
        return self.console.picture.hint

    async def show(self, **scanned: Any) -> None:
        """Another scan."""
        now = scanned_of(**scanned)
        self.host.show(now)
        await self.until(lambda: self.console.picture.now is now)


async def until_so(test: Callable[[], Any], limit_s: float = LIMIT_S) -> None:
    """Wait for something without a console; fails after limit_s."""
    end_s = asyncio.get_running_loop().time() + limit_s
    while not test():
        assert asyncio.get_running_loop().time() < end_s, "it does not come"
        await asyncio.sleep(0.002)


def scanned_of(*banks: Any, **scanned: Any) -> Snapshot:
    """A scan of the played bench; without further values nothing is on."""
    return scan(*(banks or BANKS), **(REST | scanned))


@asynccontextmanager
async def desk(
    *banks: Any,
    size: tuple[int, int] = (80, 24),
    extras: Extras | None = None,
    welcomed: dict[str, Any] | None = None,
    **scanned: Any,
) -> AsyncIterator[Desk]:
    """A console that has its first scan."""
    host = Host(scanned_of(*banks, **scanned), **(welcomed or {}))
    lent = Extras(
        programs=lambda: [("ladder", "Ladder up and down"), ("blocks", "Block loads")],
        program=_program,
        rule_sets=lambda: [("mine", "My own"), ("monthly", "Monthly exercise")],
        rule_set=_rule_set,
        sites=lambda: [Way("northquay", True), Way("northquay", False, "Northquay"), Way("millrace", True)],
    )

    async def attach(choice: Choice, starting: bool) -> Client:
        made.attached.append(choice)
        return host  # type: ignore[return-value]

    console = Console(attach, Choice("northquay"), "Kim", extras=extras or lent)
    made = Desk(host, console)
    async with console.run_test(size=size) as pilot:
        made.pilot = pilot
        await made.until(lambda: console.picture.live)
        keep = asyncio.get_running_loop().create_task(_alive(made))
        try:
            yield made
        finally:
            keep.cancel()


async def _alive(made: Desk) -> None:
    """The run host goes on scanning, so that the picture stays live."""
    while True:
        await asyncio.sleep(0.5)
        if made.host.snapshot is not None and not made.host.lost:
            made.host.show(made.host.snapshot)


def _program(ref: str) -> Written:
    if ref not in ("ladder", "blocks", "./mine.yaml"):
        raise ValueError(f"{ref}: no such program")
    named = (("monthly", "title: Monthly"),) if ref == "blocks" else ()
    return Written(ref.removeprefix("./").removesuffix(".yaml"), "title: It", named)


def _rule_set(ref: str) -> str:
    if ref == "broken":
        raise ValueError("a rule set cannot be read: broken")
    return f"title: {ref}"
