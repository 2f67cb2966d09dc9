"""The bench so far, recorded or not, for screens that come late: a row a second, fewer of what is long ago.

The record of a run has every scan; this is what a picture needs, in memory, so that nobody waits for a disk.
"""

import math
from collections import deque

from benchctl.core.decision import Frame
from benchctl.core.reading import Maybe
from benchctl.record.rows import hottest_c

COLUMNS = (
    *("now_s", "target_kw", "delivered_kw", "source_kw", "volts_v", "hertz", "hottest_c"),
    *("amps_a", "amps_b", "amps_c"),
)
TIERS = ((1.0, 3600), (10.0, 8640), (60.0, 10080))  # seconds from row to row, rows: an hour, a day, a week
DIGITS = 3

Row = tuple[Maybe, ...]


def row(frame: Frame) -> Row:
    """A scan in the order of COLUMNS; what is not known is None."""
    state, seen = frame.decision.state, frame.decision.seen
    found = (seen.delivered_kw, seen.source_kw, seen.volts_v, seen.hertz, hottest_c(frame.inputs.units))
    known = (frame.inputs.now_s, state.target_kw, *found, *seen.source.amps)
    return tuple([None if v is None else round(v, DIGITS) for v in known])


class Trend:
    """Fed in the engine's thread, asked in any."""

    def __init__(self) -> None:
        self._tiers: tuple[deque[tuple[float, Row]], ...] = tuple(deque(maxlen=most) for _, most in TIERS)
        self._due_s = [-math.inf] * len(TIERS)

    def put(self, frame: Frame) -> None:
        """Keep a frame where its time has come."""
        now_s = frame.inputs.now_s
        if now_s < self._due_s[0]:
            return
        kept = now_s, row(frame)
        for i, (every_s, _) in enumerate(TIERS):
            if now_s >= self._due_s[i]:
                self._tiers[i].append(kept)
                self._due_s[i] = (math.floor(now_s / every_s) + 1.0) * every_s

    def rows(self, since_s: float, points: int) -> list[Row]:
        """At most so many rows in order, from that time of the bench on; the newest of them is always there."""
        found: list[Row] = []
        before_s = math.inf
        for tier in [tuple(kept) for kept in self._tiers]:  # copied in one step each: the engine goes on meanwhile
            found = [made for at_s, made in tier if since_s <= at_s < before_s] + found
            before_s = min(before_s, tier[0][0] if tier else math.inf)
        every = max(1, -(-len(found) // points))
        return found[::-1][::every][::-1]
