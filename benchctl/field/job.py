"""The writes of one scan in their order: openings, fans, closings, feed; mute devices apart: they delay nobody."""

import asyncio
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial

from benchctl.core.orders import UnitWrites, Write
from benchctl.core.site import Unit
from benchctl.field.asking import Asking, Together
from benchctl.field.decode import decode_unit
from benchctl.field.device import Device
from benchctl.field.encode import Request, Writes
from benchctl.field.holes import Steps

Pass = Callable[[Sequence["Job"], Asking], Steps[None]]  # what is written to the devices of one line


@dataclass(slots=True)
class Job:
    """The writes of one unit in one scan, and how they ended."""

    device: Device
    writes: Writes
    opening: Write = Write.NONE
    fan: Write = Write.NONE
    closing: Write = Write.NONE
    feed: Write = Write.NONE
    closed_s: float | None = None  # when its closings were acknowledged

    def outcome(self) -> UnitWrites:
        """For the orders' giver."""
        feed = self.feed
        if self.writes.fed:
            done = Write.DONE in (self.opening, self.fan, self.closing) or self.device.heard
            feed = Write.DONE if done else Write.NOT_SENT
        return UnitWrites(self.opening, self.fan, self.closing, feed)


def first_pass(jobs: Sequence[Job], asking: Asking) -> Steps[None]:
    """Openings of every device on a line, then fans."""
    for job in jobs:
        if job.writes.openings:
            job.opening = Write.UNKNOWN  # while it is under way, and if it is given up then
            job.opening = yield from job.device.write(job.writes.openings, asking, careful=False)
    for job in jobs:
        if job.writes.fans:
            job.fan = Write.UNKNOWN
            job.fan = yield from job.device.write(job.writes.fans, asking, careful=False)


def closings(jobs: Sequence[Job], asking: Asking) -> Steps[None]:
    """Closings of every device on a line; each stops at the first that is not acknowledged."""
    for job in jobs:
        job.closing = Write.UNKNOWN
        job.closing = yield from job.device.write(job.writes.closings, asking, careful=True)
        if job.closing is Write.DONE:
            job.closed_s = asyncio.get_running_loop().time()


def feeds(jobs: Sequence[Job], asking: Asking) -> Steps[None]:
    """Watchdog feeds of every device on a line."""
    for job in jobs:
        job.feed = Write.UNKNOWN
        job.feed = yield from job.device.write(job.writes.feed, asking, careful=False)


def mute_pass(jobs: Sequence[Job], asking: Asking) -> Steps[None]:
    """Everything but closings for devices that do not answer; the first silence ends it."""
    for job in jobs:
        job.device.stop_ping()
        groups: tuple[tuple[str, tuple[Request, ...]], ...] = (
            ("opening", job.writes.openings),
            ("fan", job.writes.fans),
            ("feed", job.writes.feed),
        )
        for name, requests in groups:
            if requests:
                setattr(job, name, Write.UNKNOWN)
                ended = yield from job.device.write(requests, asking, careful=False)
                setattr(job, name, ended)
                if ended in (Write.UNKNOWN, Write.NOT_SENT):
                    break


def loaded_first(mine: list[Job]) -> list[Job]:
    """The jobs of one line, those of units first that are not known to be empty; to find out takes its time."""
    return mine if len(mine) == 1 else sorted(mine, key=lambda j: not _loaded(j.device))


def _loaded(device: Device) -> bool:
    noun = device.noun
    if not isinstance(noun, Unit) or not device.recent():
        return True
    reading = decode_unit(noun, device.recent())
    return reading.load != 0 or reading.load_order not in (0, None)


def discard_all(job: Job) -> None:
    """Nothing is sent yet: what never gets its turn stays so."""
    job.opening, job.fan, job.closing, job.feed = (
        Write.NOT_SENT if requests else Write.NONE
        for requests in (job.writes.openings, job.writes.fans, job.writes.closings, job.writes.feed)
    )


def by_line(jobs: Iterable[Job]) -> list[list[Job]]:
    """Jobs grouped by their line, in order."""
    lines: dict[int, list[Job]] = {}
    for job in jobs:
        lines.setdefault(id(job.device.link), []).append(job)
    return list(lines.values())


def one_a_line(jobs: Iterable[Job]) -> list[Job]:
    """The first job of each line."""
    return [mine[0] for mine in by_line(jobs)]


def at_once(jobs: Iterable[Job], act: Pass, until_s: float) -> Together:
    """Begin on all lines at once, with the jobs of each in turn."""
    together = Together()
    for mine in by_line(jobs):
        together.start(mine[0].device.link, partial(act, mine), until_s)
    return together
