"""Who holds the controls: what a console shows that holds them, that only watches, that has lost them; the forms."""

from dataclasses import replace
from typing import Any

import pytest

from benchctl.door import messages as m
from benchctl.tui.keys import KEYS, WATCHERS, Kind, barred, idle
from benchctl.tui.view.picture import Page, Picture
from tests.tui.desk import desk
from tests.tui.pictures import picture, prompt, screen, told

BOTH = ("console 1", "console 2")
OTHERS: dict[str, Any] = {"charge": "Robin", "charge_console": "console 1", "consoles": BOTH}
GONE: dict[str, Any] = OTHERS | {"consoles": ("console 2",)}
SECOND: dict[str, Any] = {"console": "console 2"}


def at(console: str, page: Page = Page.CHAIN, **scanned: Any) -> Picture:
    """The picture of a console while Robin has charge at the first, unless told otherwise."""
    shown = picture(page, **OTHERS | scanned)
    shown.place, shown.who = replace(shown.place, console=console), "Kim"
    return shown


def event(text: str = "Kim at console 2 has taken over from Robin at console 1: shift change", **data: str) -> m.Event:
    """A take-over from the first console by the second."""
    keys = {"from_who": "Robin", "from_console": "console 1", "console": "console 2", "why": "shift change"}
    return m.Event(number=7, wall_s=1_700_000_000.0, what="taken over", text=text, who="Kim", data=keys | data)


@pytest.mark.parametrize("page", Page)
@pytest.mark.parametrize("size", [(80, 24), (40, 8), (200, 60)])
def test_a_console_that_watches_says_so_in_a_word_on_every_page_and_one_that_has_charge_does_not(page, size):
    assert "WATCHING" in screen(at("console 2", page), *size).splitlines()[0]
    assert "WATCHING" not in screen(at("console 1", page), *size)


def test_who_has_charge_where_and_how_many_watch():
    assert screen(at("console 1")).splitlines()[1].endswith("Robin has charge, 1 watches")
    assert screen(at("console 2")).splitlines()[1].endswith("Robin at console 1 has charge, 1 watches")
    three = at("console 1", consoles=("console 1", "console 2", "console 5"))
    assert screen(three).splitlines()[1].endswith("Robin has charge, 2 watch")
    gone = screen(at("console 2", **GONE)).splitlines()[1]
    assert gone.endswith("Robin at console 1 has charge, NOT ATTACHED, 1 watches")
    assert screen(at("console 2", charge="", charge_console="")).splitlines()[1].endswith("nobody has charge")


def test_whoever_comes_back_under_the_same_name_does_not_watch():
    back = at("console 2", **GONE)
    back.who = "Robin"
    assert "WATCHING" not in screen(back)


def test_a_question_is_shown_to_who_watches_without_the_keys_that_answer_it():
    asked = prompt(text="Go on?")
    assert "y: go on" in screen(at("console 1", prompt=asked))
    line = screen(at("console 2", prompt=asked)).splitlines()[1]
    assert "Go on?" in line
    assert "y:" not in line


def test_keys_that_order_are_those_of_who_has_charge_and_the_rest_is_everybodys():
    mine, theirs = at("console 1"), at("console 2")
    for key in KEYS:
        orders = key.kind in (Kind.ORDER, Kind.FORM) and key.action not in WATCHERS
        assert bool(barred(key, theirs)) is orders, key.action
        assert not barred(key, mine), key.action
    by_action = {key.action: key for key in KEYS}
    assert not idle(by_action["drop"], theirs)
    assert not idle(by_action["unload"], theirs)
    assert not idle(by_action["reading"], theirs), "whoever reads the oil pressure stands at the engine"
    assert "Robin at console 1 has charge" in barred(by_action["set_load"], theirs)
    assert set(WATCHERS) <= set(by_action)


def test_the_key_line_of_who_watches_offers_to_take_over_and_no_order():
    shown = screen(at("console 2", mode="running", loaded=True), 200, 24)
    keys = "\n".join(shown.splitlines()[-2:])
    assert "^O ALL LOAD OFF" in keys
    assert "C take over" in keys
    assert "u unload" in keys
    assert "p pause" not in keys
    assert "p pause" in screen(at("console 1", mode="running", loaded=True), 200, 24)


def test_where_the_console_in_charge_is_gone_charge_is_taken_not_taken_over():
    keys = {key.action: key for key in KEYS}
    gone = at("console 2", **GONE)
    assert not idle(keys["charge"], gone)
    assert idle(keys["take_over"], gone)
    assert "Robin at console 1 is not attached: c takes charge" in barred(keys["pause"], gone)
    both = at("console 2")
    assert idle(keys["charge"], both)
    assert not idle(keys["take_over"], both)


def test_orders_of_others_are_told_with_their_console():
    shown = at("console 2")
    shown.story.add(told("command", "pause", who="Robin", data={"console": "console 1"}))
    assert "pause (Robin at console 1)" in screen(shown)
    shown.place = replace(shown.place, console="console 1")
    assert "pause (Robin)" in screen(shown)


async def test_what_another_console_orders_is_said_here_and_what_this_one_orders_is_not():
    async with desk(welcomed=SECOND, **OTHERS) as d:
        orders = (
            ("console 2", "Kim", "skip"),
            ("console 1", "Robin", "pause"),
            ("console 1", "Robin", "reading oil_c=90"),
        )
        for console, who, text in orders:  # a reading has an event of its own, in words
            order: dict[str, Any] = {"what": "command", "text": text, "who": who, "data": {"console": console}}
            d.host.tell(m.Event(number=7, wall_s=1.0, **order))
        await d.until(lambda: len(d.console.picture.story.events) == 3)
        assert d.hint == "pause (Robin at console 1)"


async def test_an_ordering_key_of_who_watches_gives_no_order_and_says_how_to_take_over():
    async with desk(welcomed=SECOND, **OTHERS) as d:
        await d.press("l")
        assert not d.open
        assert d.hint.startswith("Robin at console 1 has charge: C takes over; u, ^O, v, m are everybody's")
        await d.press("A")
        assert d.host.orders == []
        await d.press("u")
        await d.until(lambda: d.host.orders)
        assert d.host.orders == [("unload", {})]


async def test_the_drop_is_everybodys():
    async with desk(welcomed=SECOND, **OTHERS) as d:
        await d.press("ctrl+o")
        await d.until(lambda: d.host.orders)
        assert d.host.orders == [("drop", {})]


async def test_taking_over_asks_why_and_who_and_tells_both():
    async with desk(welcomed=SECOND, size=(100, 40), **OTHERS) as d:
        await d.press("C")
        assert d.form.sheet.title == "Take over"
        assert "Robin at console 1 has charge" in d.said
        await d.press("enter")
        await d.press("enter")
        assert d.open
        assert "a take-over needs a reason" in d.said
        await d.type("shift change")
        await d.press("enter", "enter")
        await d.until(lambda: not d.open)
        assert d.host.orders == [("take over", {"why": "shift change"})]
        assert d.host.asked[-1] == ("who", "Kim")


async def test_whoever_loses_charge_is_told_by_whom_when_and_why_and_watches_from_then_on():
    async with desk(welcomed={"console": "console 1"}, **OTHERS) as d:
        assert "WATCHING" not in d.text
        d.host.tell(event())
        await d.show(charge="Kim", charge_console="console 2", consoles=BOTH)
        assert d.hint == "Kim at console 2 has taken over from Robin at console 1: shift change"
        first, second = d.text.splitlines()[:2]
        assert "WATCHING" in first
        assert "Kim at console 2 has charge" in second
        ousted = d.console.picture.ousted
        assert ousted is not None
        assert ousted.clock in second
        await d.show(charge="Robin", charge_console="console 1", consoles=BOTH)
        assert "WATCHING" not in d.text
        assert d.console.picture.ousted is None


async def test_a_take_over_between_two_others_is_told_and_takes_nothing_from_us():
    async with desk(welcomed={"console": "console 3"}, **OTHERS) as d:
        d.host.tell(event())
        await d.until(lambda: d.console.picture.story.events)
        assert d.console.picture.ousted is None
        assert "has taken over from" in d.text
