"""Time in a live run: a wall clock that is stepped, a program that is paused."""

import signal
import time
from itertools import pairwise

import pytest

from benchctl.record.reader import Reader
from tests.system.live import closed, console, loaded, records, settled, started, truth, truths
from tests.system.small import place, until
from tests.system.stepped import STEP_S

HOLD_S = 8.0
pytestmark = pytest.mark.slow


def test_B7_a_wall_clock_that_is_stepped_back_is_in_the_record_and_shortens_nothing(tmp_path):
    with place(tmp_path) as here:
        here.simulator()
        host = here.start("tests.system.stepped", "control", "--foreground", "--site", str(here.site))
        until(lambda: here.verb("status").returncode == 0, 20.0)
        begun_s = time.monotonic()
        run = started(here, hold=f"{HOLD_S:g} s")
        on_s = time.monotonic()
        host.send_signal(signal.SIGUSR1)
        until(lambda: truth(here)["load_kw"] < 1.0, 30.0)
        assert time.monotonic() - on_s > HOLD_S - 2.0
        assert time.monotonic() - begun_s < HOLD_S + 40.0
        with Reader(records(here)[0]) as reader:
            scans = list(reader.scans())
            clock = [event.text for event in reader.events() if "clock" in event.text]
        assert [text for text in clock if f"{STEP_S:.0f} s" in text], clock
        assert all(b.n == a.n + 1 and b.now_s > a.now_s for a, b in pairwise(scans))
        assert any(b.wall_ns < a.wall_ns for a, b in pairwise(scans))
        held_s = sum(scan.dt_s for scan in scans if (scan.target_kw or 0.0) == 40.0)
        assert HOLD_S - 1.0 < held_s < HOLD_S + 2.0
        assert run.process.poll() is None


def test_B8_a_paused_program_keeps_its_load_and_its_time(tmp_path):
    with place(tmp_path) as here:
        here.simulator()
        started(here, hold=f"{HOLD_S:g} s")
        shell = console(here, "attach", "--operator", "Robin")
        shell.until("target 40.0 kW")
        shell.type("over tester wants it held")
        shell.until("Robin at console 2 has taken over from tester at console 1: tester wants it held")
        shell.type("pause")
        shell.until("pause (Robin)")
        level, paused_s = settled(here), truth(here)["t"]
        until(lambda: truth(here)["t"] > paused_s + HOLD_S + 2.0)  # longer than the hold had left
        assert closed(here) == level
        shell.type("resume")
        shell.until("resume (Robin)")
        assert loaded(here)
        until(lambda: truth(here)["load_kw"] < 1.0, 30.0)
        on_s = [row["t"] for row in truths(here) if row["load_kw"] > 30.0]
        assert on_s[-1] - on_s[0] > 2.0 * HOLD_S + 1.0
        with Reader(records(here)[0]) as reader:
            scans = list(reader.scans())
            given = [event.now_s for event in reader.events() if event.text.startswith(("pause", "resume"))]
        held_s = sum(scan.dt_s for scan in scans if (scan.target_kw or 0.0) == 40.0)
        assert HOLD_S - 1.0 < held_s - (given[1] - given[0]) < HOLD_S + 2.0
