"""The console as a whole: the drop from everywhere, leaving with load on, resizing, orders and what becomes of them."""

import asyncio
from functools import partial
from typing import Any

import pytest
from textual.command import CommandPalette
from textual.worker import WorkerFailed

from benchctl.tui.actions import nothing_on
from benchctl.tui.form import Field, Form, Sheet
from benchctl.tui.keys import DROP_KEYS, KEYS, Kind
from benchctl.tui.view.picture import DropStep, Page, Picture
from tests.tui.desk import PLAN, Desk, desk, scanned_of
from tests.tui.pictures import alarm, leg, prompt

LOADED: dict[str, Any] = {"charge": "Kim", "loaded": True, "off": False, "possible_kw": 300.0, "read_back_kw": 300.0}
# A scan in which nearly every key means something.
BUSY: dict[str, Any] = LOADED | {
    "raise_kw": 310.0, "lower_kw": 290.0, "alarms": (alarm("volts off", "", latched=True),), "held": "alone",
    "prompt": prompt(),
}  # fmt: skip
STORM = ((120, 40), (80, 24), (60, 20), (40, 10), (20, 5), (1, 1))
FORMS = {"set_load", "program", "start", "remark", "reset", "override", "pace", "inject", "site", "leave", "shelve"}
PAGES = "12345678"


async def drops(d: Desk, key: str = "ctrl+o") -> None:
    """The drop key does what it is for, exactly once."""
    before = [o for o in d.host.orders if o[0] == "drop"]
    d.console.simulate_key(key)
    await d.until(lambda: [o for o in d.host.orders if o[0] == "drop"] == [*before, ("drop", {})])


@pytest.mark.parametrize("key", DROP_KEYS)
async def test_the_drop_works_on_every_page(key):
    async with desk(**BUSY) as d:
        for number in (*PAGES, "question_mark"):
            await d.press(number)
            await drops(d, key)


@pytest.mark.parametrize("key", DROP_KEYS)
async def test_the_drop_works_with_every_form_open_and_in_every_field(key):
    async with desk(welcomed={"rehearsal": True}, **BUSY | {"prompt": None}) as d:
        d.console.picture.plan = {**PLAN, "name": "ladder"}
        opened = set()
        for opener in [k for k in KEYS if k.kind in (Kind.FORM, Kind.LEAVE)]:
            d.console.picture.cursor.page = opener.pages[0] if opener.pages else Page.CHAIN
            await d.press(opener.keys[0])
            if opener.action in FORMS:
                await d.until(lambda: d.open)
            if not d.open:
                continue
            opened.add(opener.action)
            for field in d.form.query(Field):
                field.focus()
                await drops(d, key)
                assert field.value == field.blank.value  # and no letter is typed
            await drops(d, key)
            assert d.open
            await d.press("escape")
            await d.until(lambda: not d.open)
        assert opened >= FORMS


@pytest.mark.parametrize("key", DROP_KEYS)
async def test_the_drop_works_in_the_palette(key):
    async with desk(**BUSY) as d:
        await d.press("ctrl+p")
        await d.until(lambda: isinstance(d.console.screen, CommandPalette))
        await drops(d, key)


async def test_the_drop_works_while_a_form_waits_for_the_run_host():
    async with desk(**BUSY) as d:
        d.host.silent_s = 20.0
        await d.press("l")
        await d.type("10")
        await d.press("enter")
        await d.until(lambda: ("set load", {"value": 10.0}) in d.host.orders)
        await drops(d)


async def test_the_drop_works_in_a_window_of_one_cell_and_with_a_form_in_it():
    async with desk(**BUSY) as d:
        await d.pilot.resize_terminal(1, 1)
        await drops(d)
        await d.press("l")
        await drops(d)


async def test_the_drop_pressed_twice_quickly_is_sent_twice_and_does_no_harm():
    async with desk(**BUSY) as d:
        d.console.simulate_key("ctrl+o")
        d.console.simulate_key("ctrl+o")
        await d.until(lambda: d.host.orders == [("drop", {}), ("drop", {})])


async def test_no_keymap_takes_the_drop_away_or_gives_it_to_another_key():
    async with desk(**BUSY) as d:
        d.console.set_keymap({"drop": "m", "action_drop": "m", "ctrl+o": "m"})
        await d.press("m")
        assert d.host.orders == []
        await d.press("escape")
        await drops(d)


async def test_a_drop_is_shown_step_by_step():
    async with desk(**BUSY) as d:
        d.host.silent_s = 0.3
        d.console.simulate_key("ctrl+o")
        await d.until(lambda: "ALL LOAD OFF sent" in d.text)
        await d.until(lambda: "ALL LOAD OFF accepted" in d.text)
        await d.show(**LOADED | {"dropped": True})
        assert d.console.picture.drop is DropStep.ACCEPTED
        await d.show(dropped=True, off=True)
        await d.until(lambda: "ALL LOAD OFF read back open" in d.text)


async def test_a_drop_that_does_not_arrive_says_what_to_do():
    async with desk(**BUSY) as d:
        d.host.lose("the connection to the run host is lost")
        await d.until(lambda: d.console.picture.lost)
        d.console.simulate_key("ctrl+o")
        await d.until(lambda: d.console.picture.drop is DropStep.FAILED)
        await d.until(lambda: "emergency stop" in d.console.picture.drop_why)
        await d.press("q")
        assert "ALL LOAD OFF NOT DONE" in d.said
        assert "300 kW when last seen, now not known" in d.said


# Leaving, case E5


@pytest.mark.parametrize("key", ["q", "ctrl+c", "ctrl+q"])
async def test_E5_every_way_out_asks_the_same_question_which_names_the_load(key):
    async with desk(**LOADED) as d:
        await d.press(key)
        assert d.form.sheet.title == "Leave?"
        assert "300 kW on" in d.said
        assert "somebody must be there" in d.said
        assert [p.key for p in d.form.sheet.picks] == ["stay", "unload", "leave"]
        await d.press("enter")  # the default is to stay
        await d.until(lambda: not d.open)
        assert d.console.is_running
        assert d.host.orders == []


@pytest.mark.parametrize("key", ["q", "escape", "ctrl+c", "ctrl+q"])
async def test_E5_in_the_question_every_such_key_means_stay(key):
    async with desk(**LOADED) as d:
        await d.press("q", key)
        await d.until(lambda: not d.open)
        assert d.console.is_running
        assert d.host.orders == []


async def test_E5_unload_then_leave_unloads_and_leaves():
    async with desk(**LOADED) as d:
        await d.press("q", "down", "enter")
        await d.until(lambda: d.host.orders == [("unload", {})])
        await d.until(lambda: d.console.return_value == 0)


async def test_E5_one_stays_when_the_unload_is_refused():
    async with desk(**LOADED) as d:
        d.host.refuses["unload"] = "no scan has answered"
        await d.press("q", "down", "enter")
        await d.until(lambda: "no scan has answered" in d.said)
        assert d.console.is_running


async def test_E5_left_running_orders_nothing():
    async with desk(**LOADED) as d:
        await d.press("q", "down", "down", "enter")
        await d.until(lambda: d.console.return_value == 0)
        assert d.host.orders == []


async def test_E5_with_no_load_on_one_leaves_at_once():
    async with desk() as d:
        await d.press("q")
        await d.until(lambda: d.console.return_value == 0)


async def test_E5_while_cooling_down_it_is_asked():
    async with desk(mode="cooling down") as d:
        await d.press("q")
        assert "no load, but cooling down" in d.said


def test_E5_an_old_picture_is_no_proof_that_load_is_off():
    picture = Picture(now=scanned_of(), quiet_s=0.1)
    assert nothing_on(picture)
    picture.quiet_s = 60.0
    assert not nothing_on(picture)
    picture.quiet_s, picture.lost = 0.1, "gone"
    assert not nothing_on(picture)


# Size, case E1


@pytest.mark.parametrize("opener", ["", "l", "b", "q", "ctrl+p"])
async def test_E1_storms_of_sizes_break_nothing_and_leave_the_drop(opener):
    async with desk(size=(120, 40), welcomed={"rehearsal": True}, **BUSY | {"prompt": None}) as d:
        if opener:
            await d.press(opener)
        for turn in range(8):
            for width, height in (*STORM, *reversed(STORM)):
                d.resize(width, height)
                await asyncio.sleep(0.002)
            if turn == 4:
                await drops(d)
        await d.until(lambda: d.console.size == (120, 40))
        await d.pilot.pause()
        assert len(d.text.splitlines()) == 40
        if d.open:
            await d.until(lambda: d.form.seen)
            await d.press("escape")
        await drops(d)


@pytest.mark.parametrize("opener", ["l", "b", "q", "ctrl+p"])
async def test_E1_no_width_is_too_narrow_even_before_a_form_is_put_aside(opener, monkeypatch):
    monkeypatch.setattr("benchctl.tui.form.SMALLEST", (0, 0))  # it is laid out in the new size before it is put aside
    async with desk(welcomed={"rehearsal": True}, **BUSY | {"prompt": None}) as d:
        await d.press(opener)
        for width in range(1, 12):
            for size in ((80, 24), (width, 24), (width, 5)):
                d.resize(*size)
                await d.until(partial(_is, d, size))
                await d.pilot.pause()
        assert d.console.is_running


def _is(d: Desk, size: tuple[int, int]) -> bool:
    return d.console.screen.size == size


async def test_E1_every_page_survives_every_size():
    async with desk(**BUSY) as d:
        for page in (*PAGES, "question_mark"):
            await d.press(page)
            for width, height in STORM:
                await d.pilot.resize_terminal(width, height)


async def test_E1_a_form_that_cannot_be_read_does_nothing_and_comes_back_with_what_was_typed():
    async with desk(**LOADED) as d:
        await d.press("l")
        await d.type("12")
        await d.pilot.resize_terminal(20, 5)
        await d.until(lambda: not d.form.seen)
        await d.press("enter", "9")
        assert d.host.orders == []
        assert "^O all load off" in d.text
        await d.pilot.resize_terminal(80, 24)
        await d.until(lambda: d.form.seen and isinstance(d.console.focused, Field))
        await d.type("0")
        assert d.form.query_one(Field).value == "120"
        await d.press("enter")
        await d.until(lambda: d.host.orders == [("set load", {"value": 120.0})])


# Orders


async def test_keys_that_mean_nothing_now_say_so_and_order_nothing():
    async with desk() as d:
        await d.press("p", "R", "y", "plus")
        assert d.hint == "raise: not now"
        assert d.host.orders == []


async def test_orders_say_what_became_of_them():
    async with desk(**LOADED) as d:
        await d.press("u")
        await d.until(lambda: d.hint == "unload: done")
        d.host.refuses["unload"] = "no scan has answered"
        await d.press("u")
        await d.until(lambda: d.hint == "unload: no scan has answered")
        assert d.console.picture.hint_bad


async def test_a_question_is_answered_with_one_key():
    async with desk(**LOADED | {"prompt": prompt()}) as d:
        await d.press("y", "n")
        await d.until(lambda: d.host.orders == [("answer", {"text": "yes"}), ("answer", {"text": "no"})])


async def test_keys_of_a_running_program():
    async with desk(**LOADED | {"mode": "running", "leg": leg()}) as d:
        await d.press("p")
        await d.until(lambda: d.host.orders == [("pause", {})])
        await d.show(**LOADED | {"mode": "running", "leg": leg(), "paused": True})
        await d.press("R", "i")
        await d.until(lambda: d.host.orders == [("pause", {}), ("resume", {}), ("check in", {})])


async def test_alarms_are_acknowledged_one_by_one_or_all():
    async with desk(alarms=(alarm("volts off", ""), alarm("unit lost", "bank 2"))) as d:
        await d.press("4", "down", "a", "A")
        one, everyone = ("acknowledge", {"text": "unit lost", "unit": "bank 2"}), ("acknowledge", {"text": "all"})
        await d.until(lambda: d.host.orders == [one, everyone])


async def test_a_stage_is_switched_by_its_own_name():
    async with desk(**LOADED) as d:
        await d.press("5", "down", "space")
        await d.until(lambda: d.host.orders == [("switch", {"text": "S2", "unit": "bank 1", "value": 0.0})])


async def test_every_word_of_the_palette_does_what_its_key_does():
    async with desk(**LOADED) as d:
        await d.press("ctrl+p")
        await d.type("unload")
        await d.press("enter")
        await d.until(lambda: d.host.orders == [("unload", {})])


async def test_a_fault_of_the_screen_ends_it_and_is_kept():
    met: list[Desk] = []
    with pytest.raises(ZeroDivisionError):
        await _faulty(met, page_opens=True)
    (d,) = met
    assert isinstance(d.console.fault, ZeroDivisionError)
    assert d.console._exit_renderables == []  # no traceback, no values of variables


async def test_a_fault_in_what_a_form_does_ends_the_screen_too():
    met: list[Desk] = []
    with pytest.raises(WorkerFailed, match="ZeroDivisionError"):
        await _faulty(met, page_opens=False)
    assert met[0].console.fault is not None


async def _faulty(met: list[Desk], *, page_opens: bool) -> None:
    async def fails(console: Any, values: Any) -> str:
        return str(1 / 0)

    def opens(page: Page) -> None:
        raise ZeroDivisionError

    async with desk(**LOADED) as d:
        met.append(d)
        if page_opens:
            d.console.opened = opens  # type: ignore[method-assign]
            await d.press("2")
        else:
            d.console.push_screen(Form(Sheet("It", done=fails)))
            await d.press("enter")
        await asyncio.sleep(0.2)
