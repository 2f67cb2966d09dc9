"""What is always on the screen, at every size: state, first alarm or question, drop key; all of it at 80 by 24."""

import dataclasses

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.tui.view.picture import DropStep, Page, Picture
from benchctl.tui.view.text import Mark, plain
from benchctl.tui.view.whole import draw
from tests.tui.pictures import alarm, as_it_was, bank, exact, leg, picture, prompt, scan, screen, source, told

SIZES = ((80, 24), (120, 40), (200, 60))


def shown(p: Picture, width: int = 80, height: int = 24) -> str:
    return " ".join(screen(p, width, height).split())


@settings(max_examples=150)
@given(st.integers(0, 220), st.integers(0, 70), st.sampled_from(Page))
def test_every_page_fills_every_window_exactly(width, height, page):
    lines = draw(picture(page), width, height)
    exact(lines, width, height if width else 0)


@given(st.integers(1, 39), st.integers(1, 7))
def test_a_small_window_says_how_to_take_the_load_off_and_how_much_is_on(width, height):
    text = plain(draw(picture(), width, height)[0])
    assert "^O all load off – load 300 kW – window too small"[: width - 1] in text or width < 3


@pytest.mark.parametrize("page", Page)
@pytest.mark.parametrize("size", SIZES)
def test_state_load_off_key_and_help_are_on_every_page(page, size):
    text = screen(picture(page, mode="running", program="ladder", leg=leg()), *size)
    assert "RUNNING" in text.splitlines()[0]
    assert "ladder" in text.splitlines()[0]
    assert "^O ALL LOAD OFF" in text
    assert "? help" in text


@pytest.mark.parametrize(
    ("given", "word"),
    [
        ({"mode": "running"}, "RUNNING"),
        ({"mode": "idle"}, "LOAD BY HAND"),
        ({"mode": "idle", "loaded": False}, "IDLE"),
        ({"mode": "running", "paused": True}, "PAUSED"),
        ({"mode": "running", "held": "time gap"}, "HELD"),
        ({"mode": "cooling down", "dropped": True}, "DROPPING"),
        ({"mode": "cooling down", "dropped": True, "off": True}, "ALL LOAD OFF"),
        ({"fault": "no"}, "RUN HOST FAILED"),
    ],
)
def test_the_state_is_one_word(given, word):
    assert screen(picture(**given)).splitlines()[0].startswith(f" {word} ")


def test_an_open_question_stands_where_it_cannot_be_missed_with_what_silence_does():
    second = screen(picture(prompt=prompt())).splitlines()[1]
    assert second.startswith(" ? Is the set warm?  y: go on  n: unload")
    assert second.endswith("1:00: hold")


@pytest.mark.parametrize("size", [(80, 24), (100, 30), (160, 40)])
def test_what_each_answer_does_is_read_whole_however_long_the_question(size):
    asked = prompt(
        text="segment 8: not in band for 60 s. Start the hold?", yes="start the hold as it is", no="unload",
        if_silent="unload", remaining_s=26.0,
    )  # fmt: skip
    lines = screen(picture(prompt=asked), *size).splitlines()
    assert lines[1].startswith(" ? segment 8: not in band for 60 s. Start the hold?")
    assert lines[1].endswith("0:26: unload")
    assert sum("y: start the hold as it is  n: unload" in line for line in lines) == 1
    assert "y: start" not in screen(picture(prompt=asked, charge="Kim", charge_console="console 9"), *size)


def test_an_alarm_whose_cause_is_gone_is_not_told_as_if_it_were_there():
    assert "nobody is attached: cleared " in screen(picture(alarms=(alarm(text="nobody is attached", active=False),)))
    for active, latched in ((True, False), (False, True)):
        there = alarm(text="nobody is attached", active=active, latched=latched)
        assert "cleared" not in screen(picture(alarms=(there,)))


def test_the_first_out_alarm_is_named_and_the_others_are_counted():
    alarms = (alarm("inlet warm", text="bank 2: hot air at the inlet"), alarm(first_out=True), alarm("volts off", ""))
    assert "exhaust hotter than expected (+2)" in shown(picture(alarms=alarms))


def test_no_alarm_is_said_quietly():
    line = draw(picture(), 80, 24)[1]
    assert "· no alarms" in plain(line)
    assert line[0][1] is Mark.QUIET


def test_an_old_picture_says_so_in_words_and_no_figure_looks_live():
    p = picture()
    p.quiet_s = 7.0
    text = screen(p)
    assert "NOT LIVE: 0:07 old" in text
    assert "(299.6)" in text
    assert " 299.6 " not in text


def test_a_lost_run_host_is_said_with_what_to_do():
    p = picture()
    p.lost = "the run host has ended"
    text = shown(p, 120)
    assert "NO RUN HOST" in text
    assert "look at the units" in text


def test_a_rehearsal_says_so_and_tells_its_true_pace():
    p = picture()
    p.place = dataclasses.replace(p.place, rehearsal=True)
    p.pace_asked, p.pace = 60.0, 60.4
    assert "REHEARSAL ×60 " in screen(p)
    p.pace = 41.2
    assert "REHEARSAL ×60 (really ×41.2)" in screen(p)
    p.pace_asked = None
    assert "REHEARSAL ×max (really ×41.2)" in screen(p)


@pytest.mark.parametrize("step", [s for s in DropStep if s is not DropStep.NONE])
def test_a_drop_shows_how_far_it_is(step):
    p = picture()
    p.drop, p.drop_why = step, "no answer" if step is DropStep.FAILED else ""
    assert f"ALL LOAD OFF {step.value}" in shown(p)


def test_the_last_event_is_told_with_who_did_it():
    p = picture()
    p.story.add(told("command", "set load 300 kW", 5.0, who="operator"))
    assert "12:00:05 set load 300 kW (operator)" in shown(p)


def test_two_hundred_banks_scroll_around_the_cursor():
    p = picture(Page.CHAIN, *(bank(f"bank {n}") for n in range(1, 201)))
    p.cursor.bank = 150
    assert ">■ bank 151" in screen(p)


@pytest.mark.parametrize("size", SIZES)
def test_the_chain_page_is_laid_out_as_it_was(size):
    p = picture(alarms=(alarm(first_out=True),), program="", energy_kwh=81.2)
    p.story.add(told("command", "set load 300 kW", 5.0, who="operator"))
    name = f"chain-{size[0]}x{size[1]}.txt"
    as_it_was(screen(p, *size), name)


def test_before_the_first_scan_the_page_says_what_is_waited_for():
    assert "starting the run host" in shown(Picture(starting="starting the run host"))
    assert scan().now_s == 600.0


def test_what_nobody_knows_the_age_of_never_looks_live():
    """A measurement without an age may be of any time: in parentheses on the chain's page, struck on the far one."""
    p = picture(source=source(age_s=None))
    text = screen(p)
    assert "(299.6) kW" in text
    assert "(49.98) Hz" in text
    marks = {mark for line in draw(p, 80, 24) for said, mark in line if "(49.98)" in said or "(433)" in said}
    assert marks == {Mark.OLD}
    p = picture(Page.FAR, source=source(age_s=None))
    assert "(49.98)" in screen(p, 60, 12)


@given(st.none() | st.floats(2.01, 1e9))
def test_whatever_the_age_beyond_the_limit_the_source_looks_old_and_so_does_a_bank(age_s):
    p = picture(Page.CHAIN, bank(age_s=age_s), source=source(age_s=age_s))
    text = screen(p)
    assert "(299.6) kW" in text
    assert "(98.4)" in text
    assert " 98.4 " not in text


def test_a_session_that_is_declared_unattended_says_so_on_every_page():
    for page in Page:
        assert "has charge, unattended" in screen(picture(page, unattended=True)).splitlines()[1]
