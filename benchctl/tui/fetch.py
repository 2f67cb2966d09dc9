"""What only a page needs, fetched while that page is shown: registers, first contact, runs. Nothing of it commands.

One question at a time: a run host or a folder that is slow is not asked again before it has answered.
"""

import asyncio
import time
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any

from benchctl.door.client import Refused
from benchctl.tui.view.picture import Page, Picture, Register, Registers
from benchctl.tui.view.text import clean

if TYPE_CHECKING:
    from benchctl.tui.extras import Extras
    from benchctl.tui.link import Link

REGISTERS_S = 1.0  # at most so often: two scans
CONTACT_S = 2.0


class Fetch:
    """Of one console. changed: called when the picture has changed; judge: with the name of a run that was opened."""

    def __init__(
        self,
        link: "Link",
        extras: "Extras",
        changed: Callable[[], None],
        judge: Callable[[str], None] = lambda run: None,
    ) -> None:
        self._link, self._extras, self._changed, self._judge = link, extras, changed, judge
        self._asking: asyncio.Task[None] | None = None
        self._asked_s = 0.0

    @property
    def _picture(self) -> Picture:
        return self._link.picture

    def opened(self, page: Page) -> None:
        """A page is shown, or shows another bank or run."""
        self._picture.fetching = ""
        self._asked_s = 0.0
        match page:
            case Page.RUNS:
                self._ask(self._run if self._picture.cursor.run_open else self._runs)
            case _:
                self.tick()

    def tick(self) -> None:
        """Called often: asks anew for what moves, when it is time."""
        page, every_s = self._picture.cursor.page, {Page.BANK: REGISTERS_S, Page.CONTACT: CONTACT_S}
        if page not in every_s or time.monotonic() - self._asked_s < every_s[page]:
            return
        if self._asking is None or self._asking.done():
            self._ask(self._registers if page is Page.BANK else self._contact)

    async def close(self) -> None:
        """Ask nothing any more."""
        if self._asking is not None:
            self._asking.cancel()
            await asyncio.gather(self._asking, return_exceptions=True)

    def _ask(self, work: Callable[[], Awaitable[None]]) -> None:
        if self._asking is not None:
            self._asking.cancel()
        self._asked_s = time.monotonic()
        self._asking = asyncio.get_running_loop().create_task(self._do(work))

    async def _do(self, work: Callable[[], Awaitable[None]]) -> None:
        try:
            await work()
        except (Refused, OSError, ValueError) as fault:
            self._picture.fetching = clean(str(fault))
        self._changed()

    async def _registers(self) -> None:
        picture, client = self._picture, self._link.client
        units = picture.now.units if picture.now else ()
        if client is None or picture.lost or not units:
            return
        name = units[min(picture.cursor.bank, len(units) - 1)].name
        try:
            found = await client.registers(name)
            picture.registers = Registers(name, int(found["number"] or 0), tuple(_register(r) for r in found["rows"]))
        except Refused as fault:
            picture.registers = Registers(name, fault=clean(str(fault)))
        except (KeyError, TypeError, ValueError) as fault:
            picture.registers = Registers(name, fault=f"the answer is not understood: {clean(str(fault))}")

    async def _contact(self) -> None:
        picture, client = self._picture, self._link.client
        if client is None or picture.lost:
            return
        picture.contact = tuple(cleaned(row) for row in (await client.look()).get("rows", ()))

    async def _runs(self) -> None:
        if self._extras.runs is None:
            self._picture.fetching = "this console was given no folder of runs"
            return
        self._picture.fetching = "" if self._picture.runs else "reading the folder of runs"
        self._changed()
        self._picture.runs = tuple(cleaned(row) for row in await self._extras.runs())
        self._picture.fetching = ""

    async def _run(self) -> None:
        picture = self._picture
        picture.run = None
        if self._extras.run is None or not picture.runs:
            picture.fetching = "this console was given no folder of runs"
            return
        name = str(picture.runs[min(picture.cursor.run, len(picture.runs) - 1)].get("run", ""))
        picture.fetching = f"opening {name}"
        self._changed()
        picture.run = run = cleaned(await self._extras.run(name))
        picture.fetching = ""
        if not run.get("fault") and run.get("condition") != "being written":  # that one is judged when asked for
            self._judge(name)


def _register(row: dict[str, Any]) -> Register:
    return Register(
        table=clean(str(row["table"])),
        address=int(row["address"]),
        bit=None if row["bit"] is None else int(row["bit"]),
        words=clean(str(row["words"])),
        name=clean(str(row["name"])),
        text=clean(str(row["text"])),
        age_s=None if row["age_s"] is None else float(row["age_s"]),
    )


def cleaned(value: Any) -> Any:
    """Texts of devices, files and people without what could steer a terminal, however deep they lie."""
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, dict):
        return {key: cleaned(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return tuple(cleaned(inner) for inner in value)
    return value
