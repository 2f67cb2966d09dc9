"""The way of a frame from the engine's thread to the clients: the latest snapshot, every event, every answer.

The engine's side only puts things down and never waits. Snapshots that nobody has fetched are replaced by the next;
events and answers are kept in order, up to a bound that is far beyond what a second brings.
"""

import asyncio
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from benchctl.core.command import Command
from benchctl.core.decision import Event, Frame, Settings

KEPT = 5000
NOT_TOLD = "no scan has told what became of it"


@dataclass(frozen=True, slots=True)
class Happened:
    """An event with its scan."""

    frame: Frame
    event: Event


class News:
    """Called by the engine with each frame; calls back in the loop of the clients."""

    def __init__(
        self,
        loop: asyncio.AbstractEventLoop,
        show: Callable[[Frame, Settings], None],
        tell: Callable[[Happened], None],
        answer: Callable[[int, list[str]], None],
    ) -> None:
        self._loop = loop
        self._show, self._tell, self._answer = show, tell, answer
        self._latest: deque[tuple[Frame, Settings]] = deque(maxlen=1)  # put and fetched in one step each
        self._events: deque[Happened] = deque(maxlen=KEPT)
        self._answers: deque[tuple[int, list[str]]] = deque(maxlen=KEPT)
        self._called = False

    def put(self, frame: Frame, settings: Settings) -> None:
        """A frame. In the engine's thread."""
        self._latest.append((frame, settings))
        self._events.extend(Happened(frame, event) for event in frame.decision.events)
        if frame.inputs.commands:
            self._answers.append((frame.number, answers(frame.inputs.commands, frame.decision.events)))
        if not self._called:
            self._called = True
            self._loop.call_soon_threadsafe(self._deliver)

    def _deliver(self) -> None:
        self._called = False  # before looking: what comes from now on calls again
        while self._events:
            self._tell(self._events.popleft())
        while self._answers:
            self._answer(*self._answers.popleft())
        if self._latest:
            self._show(*self._latest.popleft())


def answers(commands: tuple[Command, ...], events: tuple[Event, ...]) -> list[str]:
    """Why each command of a scan was refused, in their order; empty where it was obeyed.

    Each command makes one event, in the order of the commands. A unit makes events of the kind "refused" too, without
    a why; where deciding has failed there are none.
    """
    told = [str(dict(e.data).get("why", "")) for e in events if e.kind == "command" or (e.kind == "refused" and e.data)]
    return [*told, *[NOT_TOLD] * (len(commands) - len(told))]
