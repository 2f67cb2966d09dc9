"""Questions to the devices of one line, one after the other, and several lines at once.

Each answer leads to the next question at once, in the call that brings it: a task for each line, or a future for each
request, would cost more than all the rest of the way from one question to the next, and a drop would wait for it.
"""

import asyncio
from collections.abc import Callable
from contextlib import suppress

from benchctl.field.answer import Answer
from benchctl.field.holes import Steps
from benchctl.field.link import Link

Done = Callable[[Exception | None, bool], None]  # what was raised; whether it was cancelled


class Asking:
    """One row of questions after the other on a link.

    write: they are writes. watched: who starts it calls `expire` at the deadline, which spares a timer each.
    """

    def __init__(self, link: Link, *, write: bool = False, watched: bool = False) -> None:
        self.timeout_s = float("inf")  # of the questions that come, told by who asks them
        self._link, self._write, self._watched = link, write, watched
        self._until_s = 0.0
        self._steps: Steps[None] | None = None
        self._done: Done | None = None  # of the questions in progress

    def start(self, steps: Steps[None], until_s: float, done: Done) -> None:
        """Ask until `until_s` (loop time); `done` is called once, perhaps before this returns."""
        self._until_s, self._steps, self._done = until_s, steps, done
        self._step(None)

    def _step(self, answer: Answer | None) -> None:
        """Take an answer and ask what comes next."""
        steps, fault = self._steps, None
        if steps is None:
            return
        begin, write, watched = self._link.begin, self._write, self._watched
        try:
            question = next(steps) if answer is None else steps.send(answer)
            while True:
                ended = begin(question, self.timeout_s, self._until_s, self._step, write=write, watched=watched)
                if ended is None:
                    return
                question = steps.send(ended)
        except StopIteration:
            pass
        except Exception as raised:  # it belongs to who waits for the end, not to who brought the answer
            fault = raised
        self._end(fault, cancelled=False)

    def expire(self) -> None:
        """The deadline has come: what is not answered yet is silent."""
        self._link.expire(self._step)

    def cancel(self) -> None:
        """Ask no more, and wait for no answer."""
        if self._done is None:
            return
        steps, self._steps = self._steps, None
        self._link.withdraw(self._step)
        if steps is not None:
            with suppress(ValueError):  # it is at work itself
                steps.close()
        self._end(None, cancelled=True)

    def _end(self, fault: Exception | None, *, cancelled: bool) -> None:
        done, self._done, self._steps = self._done, None, None
        if done is not None:
            done(fault, cancelled)


class Together:
    """Writes on several lines at once, and the end of the last of them. Make it inside a running loop."""

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._askings: list[Asking] = []
        self._left = 0
        self._fault: Exception | None = None
        self._over: asyncio.Future[None] | None = None

    def start(self, link: Link, act: Callable[[Asking], Steps[None]], until_s: float) -> None:
        """Begin on one more line, at once where it is free."""
        asking = Asking(link, write=True)
        self._askings.append(asking)
        self._left += 1
        asking.start(act(asking), until_s, self._done)

    async def over(self, until_s: float | None = None) -> None:
        """Wait for the last, until `until_s` (loop time) where that is given; then, or cancelled, none goes on.

        Raises what one of them raised, once the others are at their end.
        """
        if self._left:
            self._over = self._loop.create_future()
            timer = None if until_s is None else self._loop.call_at(until_s, self._end)
            try:
                await self._over
            finally:
                if timer is not None:
                    timer.cancel()
                self.cancel()
        if self._fault is not None:
            raise self._fault

    def cancel(self) -> None:
        """None goes on."""
        for asking in self._askings:
            asking.cancel()

    def _done(self, fault: Exception | None, cancelled: bool) -> None:  # noqa: ARG002 - who cancels knows it
        self._left -= 1
        self._fault = self._fault or fault
        if not self._left:
            self._end()

    def _end(self) -> None:
        if self._over is not None and not self._over.done():
            self._over.set_result(None)
