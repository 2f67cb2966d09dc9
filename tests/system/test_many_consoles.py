"""Several consoles of one run host, as processes: one has charge, the others watch, one takes over with a reason.

What is true is what the simulator says, and what the record holds is read from the record.
"""

import pytest

from benchctl.record.reader import Reader
from tests.needs import needs
from tests.system.live import ON_S, attended, console, loaded, log, quiet, records, told
from tests.system.small import place, short_program, until
from tests.system.tmux import Terminal

pytestmark = pytest.mark.slow
SIZE = (100, 30)


@pytest.fixture
def here(tmp_path):
    with place(tmp_path, more="") as made:
        made.simulator()
        yield made


def screen(here, name: str, who: str) -> Terminal:
    shown = Terminal(here, name, "console", "--site", str(here.site), "--operator", who, size=SIZE)
    shown.until("^O ALL LOAD OFF")
    shown.until("bank 2")
    return shown


@needs("tmux")
def test_a_second_console_watches_takes_over_with_a_reason_and_the_first_is_told(here):
    first = screen(here, "first", "Robin")
    second = None
    try:
        first.press("c")
        first.until("Who watches")
        first.press("Enter")
        first.until("Robin has charge")
        second = screen(here, "second", "Kim")
        second.until("WATCHING")
        second.until("Robin at console 1 has charge, 1 watches")
        first.until("Robin has charge, 1 watches")
        second.press("l")
        second.until("Robin at console 1 has charge: C takes over; u, ^O, v, m are everybody's")
        first.press("l")
        first.until("Load in kW")
        first.type("40")
        first.press("Enter")
        until(lambda: loaded(here), ON_S)

        second.press("C")
        second.until("Who watches from now on")
        second.type("shift change")
        second.press("Enter", "Enter")
        second.until("Kim has charge, 1 watches")
        first.until("WATCHING")
        first.until("Kim at console 2 has taken over from Robin at console 1: shift change")
        assert "WATCHING" not in second.screen
        first.press("-")
        first.until("Kim at console 2 has charge: C takes over")
        assert loaded(here)
        status = here.verb("status")
        assert "Kim is in charge at console 2; 1 console watches" in status.stdout

        first.press("u")  # what takes load off is everybody's
        second.until("unload (Robin at console 1)")
        second.until("Kim has charge, 1 watches")
        until(lambda: quiet(here), ON_S)
    finally:
        first.close()
        if second is not None:
            second.close()
    said = told(records(here)[-1])
    assert "taken over: Kim at console 2 has taken over from Robin at console 1: shift change (Kim)" in said
    with Reader(records(here)[-1]) as reader:
        given = [c for scan in reader.scans() for c in scan.inputs(reader.settings.site).commands]
    assert [(c.verb.value, c.who, c.why, c.console) for c in given] == [
        ("take charge", "Robin", "cautions confirmed", "console 1"),
        ("set load", "Robin", "", "console 1"),
        ("take over", "Kim", "shift change", "console 2"),
        ("unload", "Robin", "", "console 1"),
    ]


def test_a_run_asks_why_it_takes_over_and_whoever_had_charge_is_told_to_watch(here):
    other = console(here, "control", "--site", str(here.site))
    other.end()
    other = console(here, "attach", "--operator", "Robin")
    other.type("charge")
    other.until("take charge (Robin)")
    run = console(here, "run", str(short_program(here.folder, "10 min")), "--site", str(here.site))
    run.until("Type why you take over (nothing: leave).")
    assert "Robin is in charge at console 1" in run.said
    run.type("the test is mine")
    run.until("Type your name")
    run.type("Kim")
    until(lambda: loaded(here) or run.process.poll() is not None, ON_S)
    other.until("Kim at console 2 has taken over from Robin at console 1: the test is mine - YOU WATCH from now on")
    other.type("pause")
    other.until("pause: Kim at console 2 has charge: take over, with a reason, to order")
    other.until("type over and why to take over")
    other.type("over I saw smoke")
    other.until("Robin at console 1 has taken over from Kim at console 2: I saw smoke")
    run.until("YOU WATCH from now on")
    other.type("pause")
    other.until("pause (Robin)")
    run.until("pause (Robin at console 1)")
    assert loaded(here)


def test_a_run_that_nobody_says_why_for_takes_nothing_over(here):
    first = attended(here)
    words = ("run", str(short_program(here.folder, "20 min")), "--site", str(here.site))
    second = console(here, *words)
    second.until("Type why you take over")
    second.type("")
    second.until("nobody has taken charge: nothing was switched")
    assert second.end() == 1
    assert loaded(here)
    assert "taken over" not in log(here)
    assert first.process.poll() is None


def test_when_the_console_in_charge_is_killed_another_takes_charge_and_goes_on(here):
    first = attended(here)
    second = console(here, "attach", "--operator", "Kim")
    second.until("YOU WATCH: Robin at console 1 has charge: take over, with a reason, to order")
    first.process.kill()
    first.end()
    second.type("pause")
    second.until("Robin at console 1 has charge and is not attached: take charge to order")
    second.type("charge")
    second.until("Kim at console 2 has taken over from Robin at console 1, not attached any more")
    second.type("pause")
    second.until("pause (Kim)")
    assert loaded(here)
    assert "nobody is attached" not in log(here)
