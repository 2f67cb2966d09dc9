"""Who must be there while load is on: consoles that are killed, stopped or closed, and a person who gives no sign."""

import signal
import statistics

import pytest

from benchctl.record.reader import Reader
from tests.system.live import attended, fans_on, loaded, log, quiet, records, truth
from tests.system.small import place, until


@pytest.mark.slow
def test_a_console_that_is_killed_is_an_alarm_at_once_and_an_unload_after_the_sites_time(tmp_path):
    with place(tmp_path, more="attendance: {console_lost: 6 s}") as here:
        here.simulator()
        run = attended(here)
        killed_s = truth(here)["t"]
        run.process.kill()
        until(lambda: "nobody is attached" in log(here), 5.0)
        assert loaded(here)
        until(lambda: quiet(here), 30.0)
        assert truth(here)["t"] - killed_s > 6.0
        assert fans_on(here)
        assert "nobody has been attached" in log(here)


@pytest.mark.slow
def test_a_console_that_is_stopped_counts_as_gone_moves_no_scan_and_is_there_again_when_it_goes_on(tmp_path):
    with place(tmp_path, more="attendance: {console_lost: 1 min}") as here:
        here.simulator()
        run = attended(here)
        until(lambda: len(_lengths_s(here)) > 20)
        before = len(_lengths_s(here))
        run.process.send_signal(signal.SIGSTOP)
        try:
            until(lambda: "nobody is attached" in log(here), 15.0)
            until(lambda: len(_lengths_s(here)) > before + 20)
            after = len(_lengths_s(here))
        finally:
            run.process.send_signal(signal.SIGCONT)
        lengths_s = _lengths_s(here)
        period_s = _period_s(here)
        moved_s = abs(statistics.median(lengths_s[before:after]) - statistics.median(lengths_s[before - 20 : before]))
        assert moved_s < period_s / 10.0
        until(lambda: "returned to normal: nobody is attached" in log(here), 15.0)
        assert loaded(here)


def _lengths_s(here) -> list[float]:
    with Reader(records(here)[-1]) as reader:
        return [scan.dt_s for scan in reader.scans()]


def _period_s(here) -> float:
    with Reader(records(here)[-1]) as reader:
        return reader.settings.scan_period_s


@pytest.mark.slow
def test_a_person_who_gives_no_sign_is_asked_for_and_any_key_is_one(tmp_path):
    with place(tmp_path, more="attendance: {check_in: 6 s}") as here:
        here.simulator()
        run = attended(here)
        run.until("is somebody there? Check in within 2 min", 15.0)
        run.type("")
        run.until("check in (Robin)")
        asked = run.said.count("is somebody there?")
        until(lambda: run.said.count("is somebody there?") > asked, 15.0)
        assert loaded(here)


@pytest.mark.slow
def test_a_person_who_does_not_come_is_an_alarm_and_then_an_unload_although_the_console_is_attached(tmp_path):
    times = "check_in: 4 s, check_in_alarm: 3 s, check_in_unload: 4 s"
    with place(tmp_path, more=f"attendance: {{{times}}}") as here:
        here.simulator()
        run = attended(here)
        run.type("")  # a sign, from which the times run
        run.until("check in (Robin)")
        signed_s = truth(here)["t"]
        run.until("is somebody there? Check in within 3 s", 15.0)
        run.until("no sign of a person: check in", 15.0)
        assert truth(here)["t"] - signed_s > 4.0 + 3.0 - 1.0
        assert loaded(here)
        run.until("no sign of a person for 11 s: unloading", 15.0)
        until(lambda: quiet(here), 15.0)
        assert truth(here)["t"] - signed_s > 4.0 + 3.0 + 4.0 - 1.0
        assert fans_on(here)
        assert run.process.poll() is None
        assert "nobody is attached" not in log(here)
