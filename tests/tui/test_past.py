"""A console that comes late asks the run host for what it has missed, and puts it only where nobody has looked."""

import asyncio
from typing import Any

from benchctl.tui import past
from benchctl.tui.view.picture import Picture
from tests.tui.pictures import picture, scan

COLUMNS = ("now_s", "target_kw", "delivered_kw")


class Host:
    """Remembers ten minutes, a row a second; the row of each has twice its time as kW."""

    def __init__(self) -> None:
        self.asked: list[dict[str, Any]] = []

    async def history(self, since_s: float = 0.0, points: int = 1000) -> dict[str, Any]:
        self.asked.append({"since_s": since_s, "points": points})
        return {"columns": COLUMNS, "rows": [(float(t), 2.0 * t, 2.0 * t) for t in range(601) if t >= since_s]}


async def late(events: list[dict[str, Any]], **scanned: Any) -> tuple[Picture, Host]:
    shown, host = picture(), Host()
    shown.now = None
    filling = asyncio.ensure_future(past.back_fill(shown, host, events))  # type: ignore[arg-type]
    await asyncio.sleep(0)
    assert not host.asked, "it is not known yet where the hole ends"
    shown.now = scan(now_s=600.0, delivered_kw=7.0, **scanned)
    shown.traces.feed(shown.now)
    await filling
    return shown, host


async def test_the_past_is_fetched_once_the_first_scan_is_here():
    shown, host = await late([])
    assert [asked["since_s"] for asked in host.asked] == [0.0, 0.0]
    assert shown.traces.of("delivered_kw", 100.0, 104.0, 4) == [
        (200.0, 200.0),
        (202.0, 202.0),
        (204.0, 204.0),
        (206.0, 206.0),
    ]
    assert shown.traces.newest("delivered_kw") == 7.0
    assert shown.traces.length_s == 600.0


async def test_the_course_of_a_program_that_never_stopped_is_filled_too():
    events = [{"what": "start", "now_s": 180.0}, {"what": "program", "now_s": 200.0}]
    shown, _ = await late(events, mode="running", program="stairs", program_s=400.0)
    assert shown.traces.course("delivered_kw", 10.0, 12.0, 2) == [(420.0, 420.0), (422.0, 422.0)]


async def test_nobody_knows_the_course_of_a_program_that_was_stopped_on_the_way():
    shown, _ = await late([{"what": "program", "now_s": 200.0}], mode="running", program="stairs", program_s=300.0)
    assert shown.traces.course("delivered_kw", 0.0, 290.0, 29) == [None] * 29


async def test_a_run_host_that_sends_nothing_is_not_asked(monkeypatch):
    monkeypatch.setattr(past, "PATIENCE_S", 0.1)
    shown, host = picture(), Host()
    await past.back_fill(shown, host, [])  # type: ignore[arg-type]
    assert not host.asked
