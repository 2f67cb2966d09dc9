"""The console in a real terminal of 80 by 24, on banks that answer over TCP: a program from start to end, every way to
take the load off, pastes, sizes, a terminal that is killed. What is true is what the simulator says, not the screen."""

import json
import time

import pytest

from benchctl.record.reader import Reader
from tests.needs import needs
from tests.system.live import ON_S, fans_on, loaded, quiet, truth
from tests.system.small import place, short_program, until
from tests.system.tmux import Terminal

pytestmark = [pytest.mark.slow, needs("tmux")]
SIZE = (80, 24)


@pytest.fixture
def here(tmp_path):
    with place(tmp_path, more="") as made:
        made.simulator()
        yield made


def console(here, name: str) -> Terminal:
    shown = Terminal(here, name, "console", "--site", str(here.site), "--operator", "Robin", size=SIZE)
    shown.until("^O ALL LOAD OFF")
    shown.until("bank 2")
    return shown


def charge(shown: Terminal) -> None:
    shown.press("c")
    shown.until("Who watches")
    shown.press("Enter")
    shown.until("Robin has charge")


def test_a_program_from_its_choice_to_its_end_with_pastes_sizes_a_lost_terminal_and_a_way_out(here):
    program = short_program(here.folder, "90 s")
    first = console(here, "first")
    try:
        charge(first)
        first.press("f")
        first.until("another file")
        first.press("End", "Enter")
        first.until("Path of a program file")
        first.type(str(program))
        first.press("Enter")
        first.until("It can be run, and is chosen.")
        first.press("Enter")
        first.until("g starts it through the checks")
        first.press("g")
        first.until("Real banks are loaded.")
        first.press("Enter")
        until(lambda: loaded(here), ON_S)
        first.until("RUNNING")

        first.paste("quiet site\nstart 300\n")
        first.until("pasted text ignored")
        for width, height in ((120, 40), (60, 20), (40, 10), (20, 5), (1, 1), (200, 60), SIZE):
            first.resize(width, height)
        first.press("1")
        first.until("readback")
        assert loaded(here)

        first.press("q")
        first.until("stay")
        assert "kW" in first.screen
        first.press("q")
        first.press("3")
        first.until("POWER kW")
        assert loaded(here)
    finally:
        first.close()
    assert loaded(here)

    second = console(here, "second")
    try:
        second.until("RUNNING")
        second.press("u")
        until(lambda: quiet(here), 30.0)
        assert fans_on(here)
        second.until("COOLING DOWN")
        second.until("DONE", 90.0)
        second.press("q")
        second.until("ended with exit code 0")
    finally:
        second.close()
    (run,) = (here.folder / "runs").glob("*short*.run")  # what was done by hand before has a record of its own
    with Reader(run) as reader:
        end = reader.end
        whats = [e.kind for e in reader.events()]
    assert end is not None
    assert end.outcome == "interrupted"
    assert "segment" in whats


def test_the_drop_key_takes_the_load_off_from_every_page_and_is_shown_to_be_done(here):
    shown = console(here, "drops")
    try:
        charge(shown)
        for page in "12345678?":
            shown.press(page)
            shown.press("l")
            shown.until("Load in kW")
            shown.type("40")
            shown.press("Enter")
            until(lambda: loaded(here), ON_S)
            at_s = truth(here)["t"]
            shown.press("C-o")
            until(lambda: quiet(here), 20.0)
            off_s = next(t["t"] for t in lines(here) if t["t"] > at_s and t["load_kw"] < 1.0)
            assert off_s - at_s < 5.0, page
            shown.until("ALL LOAD OFF read back open")
            shown.press("r")
            shown.until("Starts nothing")
            shown.press("Enter")
            shown.until("COOLING DOWN")
            assert fans_on(here)
    finally:
        shown.close()


def lines(here):
    text = here.truth.read_text(encoding="utf-8")
    return [json.loads(line) for line in text.splitlines() if line.endswith("}")]


def test_with_nothing_on_the_console_is_left_at_once(here):
    shown = console(here, "idle")
    try:
        begun_s = time.monotonic()
        shown.press("q")
        shown.until("ended with exit code 0")
        assert time.monotonic() - begun_s < ON_S
    finally:
        shown.close()
