"""The page of one bank: how it is and why, its figures, its stages as ordered and as read back, its registers."""

import dataclasses
import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.shown import UnitShown
from benchctl.core.unit_condition import CONDITIONS
from benchctl.tui.view import bank as page
from benchctl.tui.view.picture import BankTold, Page, Picture, Register, Registers, StageTold
from benchctl.tui.view.text import Mark
from benchctl.tui.view.whole import draw, room
from tests.tui.pictures import OFF, as_it_was, bank, exact, page_text, picture

ORDERED = ("S1", "S2", "S3", "S4", "S5", "S6")
ROWS = (
    Register("coil", 0, None, "0001", "stage S1 order", "yes", 0.5),
    Register("holding", 102, None, "4248 0000", "power_kw", "50 kW", 0.5),
    Register("input", 7, 3, "0008", "fault fan", "yes", 12.0),
    Register("input", 8, None, "----", "serial", "no value", None),
    Register("input", 9, None, "00FF", "", "", 0.5),
)


def one(unit: UnitShown | None = None, rows: tuple[Register, ...] = ROWS) -> Picture:
    """A picture of one bank with its registers."""
    unit = unit or bank(ordered=ORDERED, faults=("fan overload",))
    p = picture(Page.BANK, unit, bank("bank 2"))
    p.registers = Registers(unit.name, 1200, rows)
    return p


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_the_page_is_laid_out_as_it_was(size):
    name = f"bank-{size[0]}x{size[1]}.txt"
    as_it_was(page_text(one(), *size), name)


@pytest.mark.parametrize("condition", CONDITIONS, ids=lambda c: c.word)
def test_every_condition_stands_with_its_word_and_what_it_means_uncut_at_80_cells(condition):
    text = page_text(one(bank(condition=condition.word)))
    assert condition.word in text.splitlines()[0]
    assert f"{condition.word}: {condition.says}" in text


def test_why_no_stage_may_close_and_what_it_reports_itself_is_said():
    text = page_text(one(dataclasses.replace(OFF, faults=("door open",))))
    assert "No stage may close: airflow is not proven." in text
    assert "It reports: door open." in text


def test_commanded_read_back_and_measured_stand_apart():
    text = page_text(one(bank(commanded_kw=120.0, read_back_kw=100.0, measured_kw=98.4, possible_kw=120.0)))
    assert re.search(
        r"ordered +read back +measured +possible +rated\n +120.0 kW +100.0 kW +98.4 kW +120.0 kW +150.0", text
    )


def test_a_stage_that_is_not_as_ordered_is_marked():
    p = one()
    row = next(line for line in draw(p, 80, 24) if any("S6" in text for text, _ in line))
    after = row[next(i for i, (text, _) in enumerate(row) if "S6" in text) :]
    assert [text.strip() for text, _ in after[:4]] == ["□ S6", "40.0 kW", "closed", "open"]
    assert after[3][1] is Mark.ABNORMAL


def test_stages_that_are_not_read_back_are_not_called_open():
    text = page_text(one(bank(closed=None, ordered=None)))
    assert re.search(r"\? S1 +4.0 kW +— +—", text)


def test_a_bank_that_chooses_its_own_stages_says_so():
    unit = bank("bank 9", stages=0, closed=None)
    p = one(unit)
    told = BankTold("bank 9", "Invented unit", 80.0, "127.0.0.1:509/1", (), step_kw=2.5)
    p.place = dataclasses.replace(p.place, banks=(told,))
    assert "set point in steps of 2.5 kW" in page_text(p)


def test_old_values_are_in_parentheses_and_the_rating_is_not():
    text = page_text(one(bank(age_s=12.0)))
    assert "(98.4) kW" in text
    assert "(closed)" in text
    assert "(150.0)" not in text
    assert "heard 12 s ago" in text


def test_all_is_old_when_the_picture_is():
    p = one()
    p.quiet_s = 60.0
    text = page_text(p)
    assert "(98.4) kW" in text
    assert "(50 kW)" in text


def test_registers_of_another_bank_are_never_shown():
    p = one()
    p.cursor.bank = 1
    text = page_text(p)
    assert "bank 2" in text
    assert "registers: asking" in text
    assert "4248 0000" not in text


def test_why_registers_cannot_be_shown_is_said():
    p = one()
    p.registers = Registers("bank 1", fault="the run host does not answer")
    assert "registers: the run host does not answer" in page_text(p)


def test_registers_can_be_scrolled_to_their_end_and_no_further():
    rows = tuple(Register("holding", n, None, "0000", f"point {n}.", "1", 0.5) for n in range(70))
    for width, height in ((80, 24), (120, 40), (60, 12)):
        p = one(rows=rows)
        p.cursor.scroll = page.furthest(p, width, room(height))
        text = page_text(p, width, height)
        assert "point 69." in text or width < 80
        p.cursor.scroll += 99
        assert page_text(p, width, height) == text


@given(st.integers(0, 39), st.integers(20, 60), st.sampled_from([80, 120, 200]))
@settings(max_examples=40)
def test_the_stage_under_the_cursor_is_always_seen(cursor, height, width):
    p = one()
    stages = tuple(StageTold(f"no {n}.", 4.0) for n in range(40))
    p.place = dataclasses.replace(p.place, banks=(dataclasses.replace(p.place.banks[0], stages=stages),))
    p.cursor.stage = cursor
    text = page_text(p, width, height)
    assert (text.count(f"> no {cursor}.") + len(re.findall(rf">[□■?] no {cursor}\.", text))) == (
        height >= 17 or "stage" in text
    )


Kw = st.none() | st.floats(allow_nan=True, allow_infinity=True) | st.sampled_from([math.nan, -0.04, 1e12, 99999.95])


@settings(max_examples=50)
@given(st.tuples(Kw, Kw, Kw, Kw), st.text(max_size=40), st.integers(40, 210), st.integers(8, 60), st.booleans())
def test_whatever_a_bank_says_the_window_is_filled_exactly(kws, words, width, height, quiet):
    commanded, read_back, measured, age_s = kws
    age_s = abs(age_s) if age_s is not None and math.isfinite(age_s) else None
    unit = bank(words, commanded_kw=commanded, read_back_kw=read_back, measured_kw=measured, exhaust_c=measured,
                age_s=age_s, unable=words, faults=(words,), condition=words)  # fmt: skip
    p = one(unit, (Register(words, 70000, 31, words, words, words, age_s),))
    p.quiet_s = 60.0 if quiet else 0.1
    told = BankTold(words, words, 1e9, words, (StageTold(words, 1e9), StageTold("b", 1.0)), words)
    p.place = dataclasses.replace(p.place, banks=(told,))
    exact(draw(p, width, height), width, height)


@settings(max_examples=50)
@given(st.floats(-1e6, 1e6), st.integers(80, 210), st.integers(24, 60))
def test_no_figure_is_cut(kw, width, height):
    unit = bank("bank", commanded_kw=kw, read_back_kw=kw, measured_kw=kw, possible_kw=kw, exhaust_c=kw, inlet_c=kw)
    p = one(unit, (Register("holding", 1, None, "0000", "power", f"{kw:.7g} kW", 0.5),))
    told = dataclasses.replace(p.place.banks[0], title="", endpoint="", name="bank")
    p.place = dataclasses.replace(p.place, banks=(told,))
    text = page_text(p, width, height)
    assert not re.search(r"\d…", text)
    written = {f"{kw:.{n}f}" for n in (0, 1)} | {f"{kw:.7g}", "-0", "0", "0.0"}
    for found in re.findall(r"-?\d[\d.]*(?:e[+-]?\d+)?(?= (?:kW|°C))", text):
        assert found in written | {"4.0", "8.0", "20.0", "30.0", "40.0", "150.0", "150"}, text
