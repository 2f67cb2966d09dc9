"""What happened before a console came, or while it was away, fetched from the run host into the holes of the traces."""

import asyncio
from collections.abc import Iterable
from typing import Any

from benchctl.core.shown import Snapshot
from benchctl.door.client import Client
from benchctl.tui.view.picture import Picture
from benchctl.tui.view.traces import rows_of

LONG_POINTS = 2000  # of all the time that the run host remembers
FINE_S = 3600.0  # ... of which the last is fetched row by row
FINE_POINTS = 3600
SLICE = 100  # rows that are taken in at once: keys are served in between
PATIENCE_S = 10.0
WAIT_S = 0.05
NEAR_S = 1.5  # a program's clock that differs by no more from the bench's has not been stopped


async def back_fill(picture: Picture, client: Client, events: Iterable[dict[str, Any]]) -> None:
    """Fill the holes of the traces. Begins with the next scan: only then is it known where the newest hole ends."""
    traces, before = picture.traces, picture.now
    for _ in range(round(PATIENCE_S / WAIT_S)):
        if picture.now is not before:
            break
        await asyncio.sleep(WAIT_S)
    now = picture.now
    if now is before or now is None:
        return
    long = await client.history(points=LONG_POINTS)
    fine = await client.history(since_s=max(0.0, now.now_s - FINE_S), points=FINE_POINTS)
    newest = rows_of(fine.get("columns", ()), fine["rows"])
    since_s = newest[0]["now_s"] if newest else None
    older = rows_of(long.get("columns", ()), long["rows"])
    rows = [row for row in older if since_s is None or (row["now_s"] or 0.0) < since_s] + newest
    begun_s = begun(now, events)
    for first in range(0, len(rows), SLICE):
        traces.before(rows[first : first + SLICE + 1], begun_s)  # one more: what holds until when
        await asyncio.sleep(0)
    traces.filled()


def begun(now: Snapshot, events: Iterable[dict[str, Any]]) -> float | None:
    """When the program in hand began, of the bench's time; None when it has stopped since, or nobody knows."""
    if now.mode != "running":
        return None
    times = [event.get("now_s") for event in events if event.get("what") == "program"]
    at_s = next((t for t in reversed(times) if isinstance(t, float)), None)
    return at_s if at_s is not None and abs(now.now_s - at_s - now.program_s) <= NEAR_S + now.dt_s else None
