"""All devices of a site within one deadline. Nothing here decides anything.

Reading: every link at once, one request at a time on each; a device that is silent costs its own link one time-out and
then rests. Writing: openings, fans, then closings only if every opening was acknowledged, the watchdog's feed last.
"""

import asyncio

from benchctl.core.orders import NO_WRITES, Orders, UnitOrders, UnitWrites, Write
from benchctl.core.reading import InstrumentReading, UnitReading
from benchctl.core.site import Endpoint, Instrument, Site, Unit
from benchctl.field.answer import Answers, Got
from benchctl.field.counts import Counts
from benchctl.field.device import Device
from benchctl.field.encode import NOTHING
from benchctl.field.ending import Ending, unless
from benchctl.field.job import (
    Job,
    at_once,
    by_line,
    closings,
    discard_all,
    feeds,
    first_pass,
    loaded_first,
    mute_pass,
    one_a_line,
)
from benchctl.field.line import Line
from benchctl.field.link import Connect, Link
from benchctl.field.sweep import Sweep, readings

GRACE_S = 0.01  # after a deadline, for time-outs that end with it


class Chain:
    """The units and instruments of a site. Make it inside a running loop; all times are the loop's."""

    def __init__(self, site: Site, *, connect: Connect | None = None) -> None:
        self.site = site
        self.last_block_spread_s = 0.0  # between first and last acknowledgement of the last block's closings
        self._loop = asyncio.get_running_loop()
        nouns: tuple[Unit | Instrument, ...] = (*site.units, *site.instruments)
        self._lines: dict[Endpoint, Line] = {}
        self._devices: list[Device] = []
        for noun in nouns:
            line = self._lines.get(noun.endpoint)
            if line is None:
                line = self._lines[noun.endpoint] = Line(Link(noun.endpoint, connect=connect))
            device = Device(noun, line.link)
            registers = noun.profile.registers if isinstance(noun, Unit) else noun.registers
            line.link.turn.gap_s = max(line.link.turn.gap_s, registers.gap_s)
            line.devices.append(device)
            self._devices.append(device)
        self._units = self._devices[: len(site.units)]
        self._ending = Ending()

    @property
    def counts(self) -> dict[str, Counts]:
        """Requests per device name, for diagnostics."""
        return {d.noun.name: d.counts for d in self._devices}

    @property
    def faults(self) -> dict[str, str]:
        """What is wrong with a device's connection or orders, in words, by device name."""
        told = {d.noun.name: d.fault or d.link.fault for d in self._devices}
        return {name: fault for name, fault in told.items() if fault}

    @property
    def said(self) -> dict[str, tuple[Answers, float | None]]:
        """What each device said when it was last asked for everything, and seconds that one request took, by name."""
        return {d.noun.name: (d.said, d.took_s) for d in self._devices}

    @property
    def troubles(self) -> dict[tuple[str, ...], tuple[int, str]]:
        """How often a connection was lost or could not be had, and the last time why, by the devices behind it."""
        return {
            tuple(d.noun.name for d in line.devices): (line.link.troubles, line.link.trouble)
            for line in self._lines.values()
        }

    @property
    def absent(self) -> dict[str, tuple[str, ...]]:
        """Addresses that a device turned out not to have, by device name."""
        return {
            d.noun.name: tuple(f"{space.value} {address}" for space, address in d.absent)
            for d in self._devices
            if d.absent
        }

    async def read(self, until_s: float, cut: asyncio.Event | None = None) -> Sweep:
        """One scan of all devices, ended at `until_s` (loop time), or at once by `cut` or an urgent write."""
        for device in self._devices:
            device.clear()
        cut_short = cut is not None and cut.is_set()
        if cut_short:
            self._ending.forget()
        else:
            cut_short = await self._ending.of(list(self._lines.values()), until_s, GRACE_S, cut)
        results = [d.result() for d in self._devices]
        return Sweep(tuple(results[: len(self._units)]), tuple(results[len(self._units) :]), cut_short)

    def readings(self, sweep: Sweep) -> tuple[tuple[UnitReading, ...], tuple[InstrumentReading, ...]]:
        """What the answers of a sweep mean, in the order of the site."""
        return readings(self.site, sweep)

    async def latencies(self) -> dict[str, float | None]:
        """Seconds from one request to its reply per device name, asked one after another; None = no reply."""
        found: dict[str, float | None] = {}
        for device in self._devices:
            began_s = self._loop.time()
            answered = device.heard and (await device.ask_first()).got is Got.OK
            found[device.noun.name] = self._loop.time() - began_s if answered else None
        return found

    async def write(self, orders: Orders, until_s: float, cut: asyncio.Event | None = None) -> tuple[UnitWrites, ...]:
        """Carry orders out; what is not sent by `until_s` (loop time) is discarded. One outcome per unit.

        A cut ends it at once, urgent orders excepted: what is not sent is discarded, what has no answer yet unknown.
        """
        if orders.urgent:
            self._clear_the_way(orders)
        jobs = [self._job(d, o, orders.urgent) for d, o in zip(self._units, orders.units, strict=True)]
        busy = [j for j in jobs if j.writes]
        if not busy:
            return tuple(j.outcome() if j.writes.fed else NO_WRITES for j in jobs)
        for job in busy:
            discard_all(job)
        if cut is not None and cut.is_set() and not orders.urgent:
            return tuple(j.outcome() for j in jobs)
        work = self._passes(busy, jobs, orders, until_s)
        pings = self._bound_pings(busy)
        try:
            await (work if cut is None or orders.urgent else unless(cut, work))
        finally:
            for ping in pings:
                ping.cancel()
        return tuple(j.outcome() for j in jobs)

    def _clear_the_way(self, orders: Orders) -> None:
        """End every read, and open the units that have a free line of their own at once."""
        for line in self._lines.values():
            line.cancel()
            line.link.cut_reads()
        for device, unit_orders in zip(self._units, orders.units, strict=True):
            if len(self._lines[device.noun.endpoint].devices) == 1:
                device.open_ahead(unit_orders)

    def _bound_pings(self, busy: list[Job]) -> list[asyncio.TimerHandle]:
        """No write waits longer for the ping of a silent device on its line than an answer would take."""
        lines = {id(j.device.link): self._lines[j.device.noun.endpoint] for j in busy}
        return [
            self._loop.call_later(device.ping_s, device.give_up_ping)
            for line in lines.values()
            for device in line.devices
            if device.ping_s is not None
        ]

    async def _passes(self, busy: list[Job], jobs: list[Job], orders: Orders, until_s: float) -> None:
        """Everything in its order, at the units that do not answer beside the others. busy: jobs with something to do.

        Where a drop waits for its turn on a line, loaded units come first.
        """
        if orders.urgent:
            busy = [j for mine in by_line(busy) for j in loaded_first(mine)]
        answering: list[Job] = []
        mute: list[Job] = []
        for job in busy:
            if job.device.answering:
                answering.append(job)
            elif orders.urgent or job.device.write_due():
                mute.append(job)
        shared = {id(j.device.link) for j in answering}
        first = at_once(answering, first_pass, until_s)
        beside = at_once((j for j in mute if id(j.device.link) not in shared), mute_pass, until_s)
        try:
            await first.over()
            await self._second_pass(answering, jobs, orders, until_s)
            await at_once((j for j in mute if id(j.device.link) in shared), mute_pass, until_s).over()
            await beside.over(until_s + GRACE_S)
        finally:
            beside.cancel()

    def _job(self, device: Device, orders: UnitOrders, urgent: bool) -> Job:
        device.fault = ""
        try:
            writes = device.encoded(orders, all_stages=urgent)
        except ValueError as fault:
            device.fault = str(fault)
            job = Job(device, NOTHING)
            job.opening = Write.NOT_SENT if orders.lower else Write.NONE
            job.closing = Write.NOT_SENT if orders.raise_to is not None else Write.NONE
            return job
        return Job(device, writes)

    async def _second_pass(
        self,
        jobs: list[Job],
        everyone: list[Job],
        orders: Orders,
        until_s: float,
    ) -> None:
        """Closings, if every opening was acknowledged, and the feed."""
        opened = all(j.opening in (Write.NONE, Write.DONE) for j in everyone if j.device.answering)
        closing = [j for j in jobs if j.writes.closings] if opened and not orders.urgent else []
        if closing and orders.block:  # not a pause: until the last line could send, so that all close together
            left_s = max(0.0, until_s - self._loop.time())
            lines = one_a_line(closing)
            await asyncio.gather(*(j.device.link.quiesce(min(j.device.turnaround_s, left_s)) for j in lines))
        if closing:
            await at_once(closing, closings, until_s).over()
            if orders.block:
                acknowledged = [j.closed_s for j in closing if j.closed_s is not None]
                self.last_block_spread_s = max(acknowledged) - min(acknowledged) if acknowledged else 0.0
        await at_once((j for j in jobs if j.writes.feed), feeds, until_s).over()

    def abandon(self, unit: int) -> None:
        """Close the socket of a unit for good, with all behind it: its watchdog then drops its load."""
        self._lines[self.site.units[unit].endpoint].link.close()

    async def close(self) -> None:
        """End pings and connections."""
        self._ending.forget()
        for device in self._devices:
            device.stop_ping()
        for line in self._lines.values():
            line.link.close()
        await asyncio.sleep(0)
