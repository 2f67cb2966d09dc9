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
ANSWERS = ("command", "refused")


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
        answer: Callable[[list[str]], None],
    ) -> None:
        self._loop = loop
        self._show, self._tell, self._answer = show, tell, answer
        self._latest: tuple[Frame, Settings] | None = None
        self._events: deque[Happened] = deque(maxlen=KEPT)
        self._answers: deque[list[str]] = deque(maxlen=KEPT)
        self._called = False

    def put(self, frame: Frame, settings: Settings) -> None:
        """A frame. In the engine's thread."""
        self._latest = frame, settings
        self._events.extend(Happened(frame, event) for event in frame.decision.events)
        if frame.inputs.commands:
            self._answers.append(answers(frame.inputs.commands, frame.decision.events))
        if not self._called:
            self._called = True
            self._loop.call_soon_threadsafe(self._deliver)

    def _deliver(self) -> None:
        self._called = False  # before looking: what comes from now on calls again
        while self._events:
            self._tell(self._events.popleft())
        while self._answers:
            self._answer(self._answers.popleft())
        if self._latest is not None:
            (frame, settings), self._latest = self._latest, None
            self._show(frame, settings)


def answers(commands: tuple[Command, ...], events: tuple[Event, ...]) -> list[str]:
    """Why each command of a scan was refused, in their order; empty where it was obeyed.

    Each command makes one event, in the order of the commands; a unit may make events of the kind "refused" too.
    """
    found: list[str] = []
    waiting = iter([e for e in events if e.kind in ANSWERS])
    for command in commands:
        for event in waiting:
            if event.who == command.who and event.text.startswith(command.verb.value):
                found.append(event.text.partition(": ")[2] if event.kind == "refused" else "")
                break
        else:
            found.append("no scan has told what became of it")
    return found
