"""A link and the devices behind it, read in turn."""

import asyncio

from benchctl.field.answer import DOWN
from benchctl.field.asking import Asking, Done
from benchctl.field.device import Device
from benchctl.field.holes import Steps
from benchctl.field.link import Link


class Line:
    """One scan after the other of the devices of a link. Make it inside a running loop."""

    def __init__(self, link: Link) -> None:
        self.link = link
        self.devices: list[Device] = []
        self._begin = 0  # device to ask first: the one that the last scan did not reach
        self._loop = asyncio.get_running_loop()
        self._asking = Asking(link, watched=True)
        self._opening: tuple[asyncio.Task[None], Done] | None = None

    def start(self, until_s: float, done: Done) -> None:
        """Begin a scan; `done` is called once, perhaps before this returns. The caller calls `expire` at `until_s`."""
        if not self.link.connected and self.link.attempts == 0:
            self._opening = self._loop.create_task(self._open(until_s, done)), done
        else:
            self._asking.start(self._scan(until_s), until_s, done)

    async def _open(self, until_s: float, done: Done) -> None:
        """The first scan waits for the connection."""
        await self.link.ready(until_s)
        self._opening = None
        self._asking.start(self._scan(until_s), until_s, done)

    def _scan(self, until_s: float) -> Steps[None]:
        """Read every device that is not resting; then let resting ones be pinged."""
        if not self.link.connected:
            self.link.supervise()
            for device in self.devices:
                device.miss(DOWN)
            return
        count = len(self.devices)
        for step in range(count):
            index = (self._begin + step) % count
            device = self.devices[index]
            if device.silent:
                device.miss(device.last_ping())
                continue
            self._asking.timeout_s = device.timeout_s
            yield from device.scan(until_s)
            if until_s <= self._loop.time():
                self._begin = (index if not device.silent and not device.heard else index + 1) % count
                break
        for device in self.devices:
            device.ping_if_due()

    def expire(self) -> None:
        """The scan's deadline has come: what is not answered yet is silent."""
        self._asking.expire()

    def cancel(self) -> None:
        """End the scan in progress, if there is one."""
        if self._opening is not None:
            (task, done), self._opening = self._opening, None
            task.cancel()
            done(None, True)
        self._asking.cancel()
