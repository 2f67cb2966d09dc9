"""A door with quick times and a snapshot to show, for the tests of this room. Sites and people are invented."""

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from benchctl.core.decision import Frame
from benchctl.core.inputs import Inputs
from benchctl.core.shown import Snapshot
from benchctl.core.snapshot import snapshot
from benchctl.door import messages as m
from benchctl.door.card import HOST, Card
from benchctl.door.proof import CLIENT, new_nonce, proof
from benchctl.door.server import Door, Guest, Identity, Receive, Rejected, Times
from tests.core.worlds import Stepper, site, staged

QUICK = Times(ping_s=0.05, attached_s=1.0, hello_s=5.0, line_s=5.0, linger_s=1.0)
PLACE = replace(site(staged(40, 60, own=True), staged(20, 80)), name="northquay", title="Northquay")
IDENTITY = Identity(PLACE, "0" * 64, 0.5, rehearsal=True, attendance=("somebody must be there",), runs="runs")
LIMIT_S = 10.0


class Kept(Stepper):
    """Keeps the inputs of its last scan."""

    def decided(self, inputs: Inputs) -> Any:
        self.inputs = inputs
        return super().decided(inputs)


def one_shown() -> Snapshot:
    """A scan under load."""
    bench = Kept(site(staged(40, 60, own=True), staged(20, 80)))
    bench.loaded(100.0)
    return snapshot(Frame(7, 1_700_000_000.0, bench.inputs, bench.last, ()), bench.settings)


SHOWN = one_shown()


def numbered(number: int) -> Snapshot:
    """Snapshot of a scan with this number."""
    return replace(SHOWN, number=number)


async def obey(guest: Guest, message: m.Request) -> dict[str, Any]:
    """Tells what was asked and by whom; refuses a raise, fails at a reset."""
    if isinstance(message, m.Order) and message.verb == "set load":
        raise Rejected("nobody has taken charge")
    if isinstance(message, m.Order) and message.verb == "reset":
        raise KeyError("bank 9")
    return {"who": guest.who, "asked": message.model_dump()}


@asynccontextmanager
async def opened(
    folder: Path,
    receive: Receive = obey,
    times: Times = QUICK,
    log: Callable[[str], None] = lambda _: None,
    **changes: Any,
) -> AsyncIterator[tuple[Door, Card]]:
    """A door that is open."""
    door = Door(folder, replace(IDENTITY, **changes), receive, times=times, log=log)
    card = await door.open()
    try:
        yield door, card
    finally:
        while RAWS:
            raw = RAWS.pop()
            raw.writer.close()
            with suppress(ConnectionError):
                await raw.writer.wait_closed()
        await door.close("the test is over")


async def until(test: Callable[[], Any], limit_s: float = LIMIT_S) -> None:
    """Wait for something; fails after limit_s."""
    end_s = asyncio.get_running_loop().time() + limit_s
    while not test():
        assert asyncio.get_running_loop().time() < end_s, "it does not come"
        await asyncio.sleep(0.005)


RAWS: "list[Raw]" = []  # of the test in hand


class Raw:
    """A client that says what it likes."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer
        self.challenge: dict[str, Any] = {}

    @staticmethod
    async def connect(port: int) -> "Raw":
        raw = Raw(*await asyncio.open_connection(HOST, port, limit=1 << 22))
        RAWS.append(raw)
        raw.challenge = await raw.hear()
        return raw

    def say(self, **keys: Any) -> None:
        self.writer.write(json.dumps(keys).encode() + b"\n")

    async def hear(self) -> dict[str, Any]:
        """The next line; empty at the end."""
        try:
            line = await asyncio.wait_for(self.reader.readline(), LIMIT_S)
        except ConnectionError:
            return {}
        return json.loads(line) if line else {}

    async def hear_of(self, kind: str) -> dict[str, Any]:
        """The next line of a kind; empty if the connection ends first."""
        while found := await self.hear():
            if found["kind"] == kind:
                return found
        return {}

    def greeting(self, secret: str, **changes: Any) -> dict[str, Any]:
        """A hello with proof."""
        nonce = new_nonce()
        keys = {
            "kind": "hello", "protocol": m.PROTOCOL, "nonce": nonce, "who": "operator", "role": "console",
            "proof": proof(secret, CLIENT, self.challenge["nonce"], nonce), "version": "0"}  # fmt: skip
        return keys | changes

    def hello(self, secret: str, **changes: Any) -> None:
        self.say(**self.greeting(secret, **changes))

    @staticmethod
    async def inside(card: Card, **changes: Any) -> "Raw":
        """One that is let in."""
        raw = await Raw.connect(card.port)
        raw.hello(card.secret, **changes)
        assert (await raw.hear_of("welcome"))["site"] == "northquay"
        return raw

    def stop_reading(self) -> None:
        """Like a process that is stopped: what comes stays in the system's buffers."""
        cast("asyncio.Transport", self.writer.transport).pause_reading()

    def read_on(self) -> None:
        """Go on."""
        cast("asyncio.Transport", self.writer.transport).resume_reading()

    async def close(self) -> None:
        self.writer.transport.abort()
