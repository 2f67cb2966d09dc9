"""Pages that are longer than the window, and lists that are opened, under the keys of a person."""

import dataclasses
from typing import Any

import pytest

from benchctl.tui.extras import Extras
from benchctl.tui.view.picture import Page, Registers
from tests.tui.desk import desk
from tests.tui.pictures import alarm


async def runs() -> list[dict[str, Any]]:
    return [{"run": "second", "started": "2026-11-25T09:00"}, {"run": "first", "started": "2026-11-25T08:00"}]


async def run(name: str) -> dict[str, Any]:
    events = [("09:00:00", float(n), "note", "", f"{name} no {n}.", "") for n in range(60)]
    return {"run": name, "outcome": "completed", "condition": "closed", "events": events}


async def test_enter_opens_the_run_under_the_cursor_and_escape_leads_back_to_the_list():
    async with desk(extras=Extras(runs=runs, run=run)) as d:
        await d.press("6")
        await d.until(lambda: "2026-11-25 09:00" in d.text)
        await d.press("down", "enter")
        await d.until(lambda: "first no 0." in d.text)
        await d.press("pagedown", "pagedown", "pagedown", "pagedown", "pagedown", "pagedown")
        assert "first no 59." in d.text
        scroll = d.console.picture.cursor.scroll
        await d.press("down")
        assert d.console.picture.cursor.scroll == scroll
        await d.press("up")
        assert d.console.picture.cursor.scroll == scroll - 1
        await d.press("escape")
        await d.until(lambda: "Enter opens it" in d.text)
        await d.press("escape")
        assert d.console.picture.cursor.page is Page.CHAIN


async def test_a_bank_page_asks_for_its_registers_and_another_bank_is_one_key_away():
    async with desk() as d:
        await d.press("5")
        await d.until(lambda: d.console.picture.registers)
        assert d.console.picture.registers == Registers("bank 1", 1)
        await d.press("right")
        await d.until(lambda: d.console.picture.registers == Registers("bank 2", 1))
        assert " bank 2 " in d.text


@pytest.mark.parametrize(
    ("key", "page"), [("4", Page.ALARMS), ("5", Page.BANK), ("8", Page.CONTACT), ("question_mark", Page.HELP)]
)
async def test_page_keys_never_lead_beyond_the_end(key, page):
    async with desk() as d:
        await d.press(key, *["pagedown"] * 12)
        first = dataclasses.replace(d.console.picture.cursor)
        await d.press("pagedown")
        assert d.console.picture.cursor == first
        assert first.page is page


async def test_the_alarm_that_is_acknowledged_is_the_one_that_was_looked_at_when_another_goes():
    three = tuple(alarm(row, "") for row in ("volts off", "hertz off", "hertz high"))
    async with desk() as d:
        await d.show(alarms=three)
        await d.press("4", "down", "down")
        await d.show(alarms=three[1:])
        await d.press("a")
        await d.until(lambda: d.host.orders)
        assert d.host.orders[-1] == ("acknowledge", {"text": "hertz high"})
