"""Typed or pasted: rules of the gate, and that no paste, however it comes, ever becomes an order.

The figures (three keys within 20 ms, a line end within 20 ms of another key) are common practice, no source.
"""

import asyncio
import threading
import time
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from textual import events
from textual._time import get_time
from textual._xterm_parser import XTermParser

from benchctl.tui.form import Field
from benchctl.tui.gate import ENTER, LOOK_S, WINDOW_S, Gate, Typed
from benchctl.tui.keys import DROP_KEYS
from tests.tui.desk import Desk, desk

CHARGED: dict[str, Any] = {"charge": "Kim", "raise_kw": 10.0, "lower_kw": 0.0}
MEANT = "uyn+-pRiAaqlcfgekvmzrjdwoxbst12345678?[],. \n"  # what means something on some page
GAPS = st.floats(0.0, 0.1)
KEYS = st.tuples(GAPS, st.sampled_from([*"uabc19", "enter", "tab", "up", "escape"]), st.booleans())


def typed(at_s: float, name: str, patient: bool = True) -> Typed:
    text = len(name) == 1 or name in (*ENTER, "tab")
    return Typed(at_s, name, text, WINDOW_S if patient else LOOK_S)


def through(keys: list[Typed], *, in_field: bool = False) -> list[Typed]:
    """All that a gate lets through when it is asked in time."""
    gate, out = Gate(), []
    for key in keys:
        while (due_s := gate.next_s()) is not None and due_s <= key.at_s:
            out += gate.due(due_s)
        out += gate.put(key, in_field=in_field)
    return out + gate.due(1e12)


def sequence(parts: list[tuple[float, str, bool]]) -> list[Typed]:
    at_s, keys = 100.0, []
    for number, (gap_s, name, patient) in enumerate(parts):
        at_s += gap_s
        keys.append(replace(typed(at_s, name, patient), event=number))
    return keys


@given(st.lists(KEYS, max_size=12), st.booleans())
def test_nothing_comes_twice_nothing_is_made_up_and_order_is_kept(parts, in_field):
    keys = sequence(parts)
    out = through(keys, in_field=in_field)
    text = [keys.index(k) for k in out if k.text]
    assert text == sorted(set(text))
    assert [k for k in out if not k.text] == [k for k in keys if not k.text]


@given(st.lists(st.tuples(st.floats(WINDOW_S + 0.001, 0.5), st.sampled_from([*"uabc19", "enter"]), st.booleans())))
def test_what_a_person_types_all_counts(parts):
    keys = sequence(parts)
    assert through(keys) == keys
    assert through(keys, in_field=True) == keys


@given(st.lists(KEYS, min_size=1, max_size=12), st.booleans())
def test_no_key_that_orders_comes_out_of_three_within_twenty_milliseconds(parts, in_field):
    keys = sequence(parts)
    out = through(keys, in_field=in_field)
    for first, _, third in zip(keys, keys[1:], keys[2:], strict=False):
        if third.at_s - first.at_s < WINDOW_S - 1e-9 and third.text and (not in_field or third.name in ENTER):
            assert third not in out
        if third.at_s - first.at_s < WINDOW_S - 1e-9 and first.text and third.text and not in_field:
            assert first not in out or first.patience_s < WINDOW_S


@given(st.lists(KEYS, min_size=2, max_size=12), st.booleans())
def test_no_line_end_counts_within_twenty_milliseconds_of_another_key(parts, in_field):
    keys = sequence(parts)
    out = through(keys, in_field=in_field)
    for before, after in pairwise(keys):
        if after.at_s - before.at_s < WINDOW_S - 1e-9:
            if after.name in ENTER:
                assert after not in out
            if before.name in ENTER and after.text and before.patience_s == WINDOW_S:
                assert before not in out


@given(st.text("abc", min_size=1, max_size=9))
def test_pasted_text_becomes_text_in_a_field(text):
    keys = [typed(100.0 + i * 0.001, c) for i, c in enumerate(text)]
    assert [k.name for k in through(keys, in_field=True)] == list(text)


def test_the_driver_stamps_keys_when_it_parses_them():
    parser = XTermParser()
    before_s = get_time()
    first = next(iter(parser.feed("u")))
    time.sleep(0.03)
    second = next(iter(parser.feed("u")))
    assert before_s <= first.time <= second.time - 0.03
    assert second.time <= get_time()


# -- the whole console


async def raw(d: Desk, text: str, apart_s: float = 0.0) -> None:
    """Bytes as a terminal without bracketed paste sends them: parsed by the driver's own parser, in one go or split."""
    parser = XTermParser()
    for part in [text] if not apart_s else text:
        for event in parser.feed(part):
            d.console.post_message(event)
        if apart_s:
            await asyncio.sleep(apart_s)
    await asyncio.sleep(3 * WINDOW_S)
    await d.pilot.pause()


@pytest.mark.parametrize("apart_s", [0.0, 0.005])
async def test_E3_text_pasted_as_plain_keys_into_a_page_does_nothing_but_a_hint(apart_s):
    async with desk(**CHARGED) as d:
        await raw(d, "quiet site\nstart 300\n", apart_s)
        assert d.host.orders == []
        assert not d.open
        assert d.hint == "pasted text ignored"


async def test_E3_whatever_is_pasted_as_plain_keys_into_any_page_orders_nothing():
    async with desk(**CHARGED) as d:
        for page in "12345678?":
            await d.press("question_mark" if page == "?" else page)
            for start in range(0, len(MEANT), 9):
                await raw(d, MEANT[start : start + 9] * 2)
                if d.open:
                    await d.press("escape")
        assert d.host.orders == []
        assert d.host.asked == []


async def test_E3_a_bracketed_paste_into_a_page_does_nothing_but_a_hint():
    async with desk(**CHARGED) as d:
        await raw(d, "\x1b[200~u\nquiet site\nstart 300\n\x1b[201~")
        assert d.host.orders == []
        assert d.hint == "pasted text ignored"


async def test_E3_a_bracketed_paste_into_a_field_is_text_without_line_ends():
    async with desk(**CHARGED) as d:
        await d.press("l")
        await raw(d, "\x1b[200~12\n34\x1b[201~")
        assert d.form.query_one(Field).value == "12 34"
        assert d.host.orders == []


@pytest.mark.parametrize("apart_s", [0.0, 0.005])
async def test_E3_plain_keys_into_a_field_are_text_and_the_line_end_never_submits(apart_s):
    async with desk(**CHARGED) as d:
        await d.press("l")
        await raw(d, "12\n34\n", apart_s)
        assert d.form.query_one(Field).value == "1234"
        assert d.host.orders == []
        assert "a pasted line end does not count" in d.said
        await d.press("enter")  # a person's
        await d.until(lambda: "above the limit" in d.said)


async def test_E3_a_paste_into_the_palette_orders_nothing():
    async with desk(**CHARGED) as d:
        for text in ("\x1b[200~unload\n\x1b[201~", "unload\n"):
            await d.press("ctrl+p")
            await raw(d, text)
            await d.press("escape")
            await d.press("escape")
        assert d.host.orders == []


async def test_E3_the_drop_key_is_outside_the_rule():
    async with desk(**CHARGED) as d:
        await raw(d, "abc\x0fabc\n")
        await d.until(lambda: d.host.orders == [("drop", {})])


async def test_a_busy_screen_does_not_turn_a_paste_into_keys():
    async with desk(**CHARGED) as d:
        parser, loop = XTermParser(), asyncio.get_running_loop()

        def send(text: str) -> None:  # as the driver's thread does
            for event in parser.feed(text):
                asyncio.run_coroutine_threadsafe(d.console._post_message(event), loop)

        send("u")
        await asyncio.sleep(0.004)  # it waits in the gate
        timer = threading.Timer(0.005, send, ("nload",))
        timer.start()
        time.sleep(0.1)  # noqa: ASYNC251 - the loop is busy: what comes has to wait
        await asyncio.sleep(0.3)
        timer.join()
        assert d.host.orders == []


async def test_two_orders_of_a_person_in_a_row_both_count():
    async with desk(**CHARGED) as d:
        await d.press("plus", "plus", "minus")
        await d.until(lambda: len(d.host.orders) == 3)
        assert [value["value"] for _, value in d.host.orders] == [10.0, 10.0, 0.0]


def test_the_drop_never_comes_to_the_gate():
    assert not any(key in MEANT for key in DROP_KEYS)


def test_keys_are_stamped_by_the_clock_that_the_gate_is_asked_by():
    assert abs(events.Key("u", "u").time - get_time()) < 1.0
