"""A link and the devices behind it, asked in turn.

Each answer leads to the next question at once, in the call that brings it: a task for each line, or a future for each
request, would cost more than all the rest of the way from one block to the next.
"""

import asyncio
from collections.abc import Callable
from contextlib import suppress

from benchctl.field.answer import DOWN, Answer
from benchctl.field.device import Device
from benchctl.field.holes import Steps
from benchctl.field.link import Link

Done = Callable[[Exception | None, bool], None]  # what was raised; whether it was cancelled


class Line:
    """One scan after the other of the devices of a link. Make it inside a running loop."""

    def __init__(self, link: Link) -> None:
        self.link = link
        self.devices: list[Device] = []
        self._begin = 0  # device to ask first: the one that the last scan did not reach
        self._loop = asyncio.get_running_loop()
        self._until_s = 0.0
        self._timeout_s = 0.0  # of the device that is asked now
        self._steps: Steps[None] | None = None
        self._opening: asyncio.Task[None] | None = None
        self._done: Done | None = None  # of the scan in progress

    def start(self, until_s: float, done: Done) -> None:
        """Begin a scan; `done` is called once, perhaps before this returns. The caller calls `expire` at `until_s`."""
        self._until_s, self._done = until_s, done
        if not self.link.connected and self.link.attempts == 0:
            self._opening = self._loop.create_task(self._open())
        else:
            self._go()

    async def _open(self) -> None:
        """The first scan waits for the connection."""
        await self.link.ready(self._until_s)
        self._opening = None
        self._go()

    def _go(self) -> None:
        self._steps = self._scan(self._until_s)
        self._step(None)

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
            self._timeout_s = device.timeout_s
            yield from device.scan(until_s)
            if until_s <= self._loop.time():
                self._begin = (index if not device.silent and not device.heard else index + 1) % count
                break
        for device in self.devices:
            device.ping_if_due()

    def _step(self, answer: Answer | None) -> None:
        """Take an answer and ask what comes next."""
        steps, fault = self._steps, None
        if steps is None:
            return
        try:
            question = next(steps) if answer is None else steps.send(answer)
            while True:
                ended = self.link.begin(question, self._timeout_s, self._until_s, self._step, watched=True)
                if ended is None:
                    return
                question = steps.send(ended)
        except StopIteration:
            pass
        except Exception as raised:  # it belongs to who waits for the scan, not to who brought the answer
            fault = raised
        self._end(fault, cancelled=False)

    def expire(self) -> None:
        """The scan's deadline has come: what is not answered yet is silent."""
        self.link.expire(self._step)

    def cancel(self) -> None:
        """End the scan in progress, if there is one."""
        if self._done is None:
            return
        if self._opening is not None:
            self._opening.cancel()
            self._opening = None
        steps, self._steps = self._steps, None
        self.link.withdraw(self._step)
        if steps is not None:
            with suppress(ValueError):  # it is at work itself
                steps.close()
        self._end(None, cancelled=True)

    def _end(self, fault: Exception | None, *, cancelled: bool) -> None:
        done, self._done, self._steps = self._done, None, None
        if done is not None:
            done(fault, cancelled)
