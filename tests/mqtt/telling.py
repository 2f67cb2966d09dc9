"""A publisher at a broker of the test: quick snapshots of an invented bench under load."""

import asyncio
import json
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from typing import Any

from benchctl.core.shown import Snapshot
from benchctl.core.site import Site
from benchctl.files.broker import Broker
from benchctl.mqtt.given import Heard, Ran, Terms, Told
from benchctl.mqtt.publisher import Publisher
from tests.door.rooms import PLACE, SHOWN

SNAPSHOT_S = 0.2
TERMS = Terms(rehearsal=False, version="0", snapshot_s=SNAPSHOT_S, scan_period_s=0.05)
UNDER = "benchctl/real/northquay/"


def shown(number: int) -> Snapshot:
    """A scan as it is now."""
    return replace(SHOWN, number=number, wall_s=time.time())


def told(number: int, what: str = "alarm") -> Told:
    """An event."""
    return Told(number, time.time(), 1.0, what, f"event {number}", "bank 1", "Kim", {"row": "hot"})


def ran(name: str = "a run", **keys: Any) -> Ran:
    """A run."""
    return Ran(name, time.time(), **keys)


@dataclass
class Telling:
    """A publisher, what it has said, and scans that come as from a bench while `scans` runs."""

    publisher: Publisher
    lines: list[str] = field(default_factory=list)
    number: int = 0
    going: bool = True
    slowest_s: float = 0.0  # that giving it a scan and an event took

    async def scan(self) -> None:
        """Scans, and nothing else, until `going` is False."""
        while True:
            if self.going:
                begun_s = time.perf_counter()
                self.number += 1
                self.publisher.show(Heard(shown(self.number), "a run"))
                self.slowest_s = max(self.slowest_s, time.perf_counter() - begun_s)
            await asyncio.sleep(0.05)

    def said(self, words: str) -> bool:
        """Whether a line has these words."""
        return any(words in line for line in self.lines)


@asynccontextmanager
async def telling(
    port: int, *, place: Site = PLACE, terms: Terms = TERMS, chance: float = 0.0, **keys: Any
) -> AsyncIterator[Telling]:
    """A bench that is told of at a broker on loopback; farewell at the end. keys: of the broker's noun."""
    lines: list[str] = []
    publisher = Publisher(Broker("127.0.0.1", port, **keys), place, terms, log=lines.append, chance=lambda: chance)
    made = Telling(publisher, lines)
    publisher.start()
    scans = asyncio.create_task(made.scan())
    try:
        yield made
    finally:
        scans.cancel()
        await asyncio.to_thread(publisher.close, "the test is over", 15.0)


def parsed(payload: bytes) -> dict[str, Any]:
    """A payload's object."""
    found: dict[str, Any] = json.loads(payload)
    return found
