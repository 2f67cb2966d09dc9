"""Typed or pasted? Keys that come faster than a person types are not commands.

A terminal may hand a paste over as plain keys. Three keys within 20 ms, or Enter within 20 ms of another key, count as
a paste: on a page none of them does anything, in a field they may become text but Enter never submits. To know, a key
that orders waits for 20 ms, one that only looks for 5 ms. Keys that no text holds (arrows, function keys) pass at
once, but count as company for those that follow. The drop never comes here.
"""

from collections import deque
from dataclasses import dataclass
from typing import Any

WINDOW_S = 0.020
LOOK_S = 0.005  # what only moves about may act a little sooner
ENTER = ("enter", "ctrl+j", "ctrl+m")


@dataclass(frozen=True, slots=True)
class Typed:
    """One key. at_s: when the terminal sent it; text: it could be part of a text; patience_s: how long it waits."""

    at_s: float
    name: str
    text: bool
    patience_s: float
    event: Any = None


class Gate:
    """Keys in, in their order; those that a person has typed out, when that is known. No clock of its own."""

    def __init__(self) -> None:
        self._waiting: deque[Typed] = deque()
        self._times: deque[float] = deque(maxlen=2)  # of the last keys
        self._enter_s = -1e9
        self._paste_until_s = -1e9
        self.pastes = 0  # how many have been noticed
        self.enters = 0  # how many line ends of them did not count

    def put(self, key: Typed, *, in_field: bool = False) -> list[Typed]:
        """One key more. Returns the keys that count at once."""
        if not key.text:
            self._times.append(key.at_s)
            return [key]
        pasted = self._is_paste(key)
        if pasted:
            if key.at_s > self._paste_until_s:
                self.pastes += 1
            self._paste_until_s = key.at_s + WINDOW_S
            self.enters += sum(k.name in ENTER for k in (*self._waiting, key))
            kept = [k for k in self._waiting if in_field and k.name not in ENTER]
            self._waiting.clear()
            return [*kept, key] if in_field and key.name not in ENTER else kept
        if in_field and key.name not in ENTER:
            return [*self._flush(), key]
        self._waiting.append(key)
        return []

    def due(self, now_s: float) -> list[Typed]:
        """Keys that have waited long enough."""
        out = []
        while self._waiting and now_s >= self._waiting[0].at_s + self._waiting[0].patience_s:
            out.append(self._waiting.popleft())
        return out

    def next_s(self) -> float | None:
        """When `due` should be asked; None when nothing waits."""
        return self._waiting[0].at_s + self._waiting[0].patience_s if self._waiting else None

    def _flush(self) -> list[Typed]:
        out = list(self._waiting)
        self._waiting.clear()
        return out

    def _is_paste(self, key: Typed) -> bool:
        since = [key.at_s - t for t in self._times]
        near_enter = key.at_s - self._enter_s < WINDOW_S
        newline = key.name in ENTER and any(s < WINDOW_S for s in since)
        third = len(since) == 2 and since[0] < WINDOW_S
        self._times.append(key.at_s)
        if key.name in ENTER:
            self._enter_s = key.at_s
        return third or newline or near_enter or key.at_s < self._paste_until_s
