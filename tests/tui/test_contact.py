"""First contact as a table: who answers, as what, in which order, and in words what does not fit."""

import dataclasses
import re
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.tui.view import contact
from benchctl.tui.view.picture import Page, Picture
from benchctl.tui.view.text import Mark, plain
from benchctl.tui.view.whole import draw
from tests.tui.pictures import as_it_was, exact, page_text, picture


def row(name: str, **given: Any) -> dict[str, Any]:
    """A bank that answers and fits."""
    usual: dict[str, Any] = {
        "name": name, "at": "127.0.0.1:501", "reached": True, "outcome": "ok", "age_s": 0.3, "serial": "INV0001",
        "model": "150", "firmware": "1.0", "watchdog_s": 15.0, "fresh": None, "load_on": False, "faults": (),
        "warnings": (), "remote": True, "load_kw": 0.0, "found": False, "rated_kw": 150.0, "rated_v": 400.0,
        "connection": "wye", "available_kw": 150.0, "misfits": (),
    }  # fmt: skip
    return usual | given


METER = {"name": "source meter", "reached": True, "outcome": "ok", "age_s": 0.1, "model": "3504", "faults": (),
         "warnings": ("its measurement did not move between two reads: it may be frozen",)}  # fmt: skip


def met(*rows: dict[str, Any]) -> Picture:
    p = picture(Page.CONTACT)
    p.contact = rows
    instruments = (("source meter", "meter", "source"),)
    p.place = dataclasses.replace(p.place, instruments=instruments, ends={"bank 1": "127.0.0.1:501/1"})
    return p


def several() -> Picture:
    silent = row("bank 2", reached=False, age_s=None, serial=None, model=None, firmware=None, watchdog_s=None,
                 warnings=("no connection: connection refused",))  # fmt: skip
    high = row("bank 3", rated_v=240.0, available_kw=181.5, load_on=True, load_kw=40.0, faults=("door open",),
               misfits=("rated 240 V, but the source has 400 V: no stage may close",))  # fmt: skip
    return met(row("bank 1"), silent, high, METER)


@pytest.mark.parametrize("size", [(80, 24), (160, 40)])
def test_the_page_is_laid_out_as_it_was(size):
    name = f"contact-{size[0]}x{size[1]}.txt"
    as_it_was(page_text(several(), *size), name)


def test_before_anything_is_known_it_says_what_it_waits_for():
    assert "asking who answers" in page_text(met())


def test_what_does_not_fit_is_told_in_full_however_narrow_the_window():
    text = " ".join(page_text(several(), 60, 50).split())
    for words in ("no connection: connection refused", "rated 240 V, but the source has 400 V: no stage may close",
                  "it reports: door open", "did not move between two reads"):  # fmt: skip
        assert words in text


def test_a_silent_device_without_a_reason_is_told_all_the_same():
    assert contact.warnings(row("bank 1", reached=False, age_s=None)) == ["it has never answered"]
    assert contact.warnings(row("bank 1", reached=False, age_s=12.0)) == ["it does not answer any more"]
    assert contact.warnings(row("bank 1")) == []


def test_totals_are_of_the_banks_that_answer():
    text = page_text(met(row("bank 1", available_kw=104.2), row("bank 2", rated_kw=120.0, available_kw=83.4),
                         row("bank 3", reached=False), METER))  # fmt: skip
    assert re.search(r"2 of 3 banks answer +rated +270 kW +here about +188 kW", text)


def test_a_total_of_which_a_part_is_not_known_is_not_known():
    assert re.search(r"here about +— kW", page_text(met(row("bank 1"), row("bank 2", available_kw=None))))


def test_all_that_answers_and_fits_is_quiet():
    lines = contact.draw(met(row("bank 1"), row("bank 2")), 80, 20)
    assert not {Mark.FAULTY, Mark.ABNORMAL, Mark.MANDATORY} & {mark for line in lines for _, mark in line}
    assert "nothing to look at" in "".join(map(plain, lines))


def test_two_hundred_banks_can_be_scrolled_to_the_last():
    p = met(*(row(f"bank {n}") for n in range(200)))
    for width, height in ((80, 20), (160, 36)):
        p.cursor.scroll = contact.furthest(p, width, height)
        end = contact.draw(p, width, height)
        assert "bank 199" in " ".join(map(plain, end[-3:]))
        p.cursor.scroll += 50
        assert contact.draw(p, width, height) == end


Any_value = st.none() | st.booleans() | st.floats() | st.text(max_size=30)


@settings(max_examples=60)
@given(
    st.dictionaries(st.sampled_from([k for k in row("") if k not in ("faults", "warnings", "misfits")]), Any_value),
    st.lists(st.text(), max_size=2), st.integers(40, 210), st.integers(8, 60),
)  # fmt: skip
def test_whatever_a_device_says_the_window_is_filled_exactly(said, words, width, height):
    p = met(row("bank 1") | said | {"faults": words, "warnings": words}, row("bank 2", misfits=words))
    exact(draw(p, width, height), width, height)
