"""A run host that was killed under load, and what becomes of the load that its successor finds on.

Case H7: a tool that is started again while load is on, which it did not start.
"""

import pytest

from benchctl.record.verify import verify
from tests.system.live import (
    closed,
    console,
    fans_on,
    kill_host,
    loaded,
    log,
    outcome,
    quiet,
    records,
    started,
    told,
    truth,
    truths,
)
from tests.system.small import place, until

LONG = "60 s"  # a watchdog that leaves time to start again


def found(here) -> list[int]:
    """A run host that has found the load of one that was killed; returns the stages that were closed."""
    started(here)
    kill_host(here)
    killed_s = truth(here)["t"]
    until(lambda: truth(here)["t"] > killed_s)
    before = closed(here)
    assert here.verb("control", "--site", str(here.site)).returncode == 0
    until(lambda: "load is on that this session did not start" in here.verb("status").stdout, 20.0)
    return before


@pytest.mark.slow
def test_H7_load_found_on_is_left_alone_until_it_is_adopted_lowered_and_unloaded(tmp_path):
    with place(tmp_path, watchdog=LONG) as here:
        here.simulator()
        before = found(here)
        since_s = truth(here)["t"]
        status = here.verb("status").stdout
        assert " kW are on that this session did not start. Adopt them?" in status
        assert "nobody is in charge" in status
        shell = console(here, "attach", "--operator", "Robin")
        shell.until("QUESTION")
        assert {(u["closed"], u["fan_on"]) for t in truths(here) if t["t"] > since_s for u in t["units"]} == {
            (bits, True) for bits in before
        }
        shell.type("adopt")
        shell.until("adopt: nobody has taken charge")
        shell.type("charge")
        shell.until("take charge (Robin)")
        shell.type("adopt")
        shell.until("adopt (Robin)")
        assert closed(here) == before
        shell.type("set 20")
        until(lambda: 15.0 < truth(here)["load_kw"] < 25.0, 20.0)
        off = here.verb("unload")
        assert off.returncode == 0, off.stderr
        assert quiet(here)
        assert fans_on(here)
        first, second = records(here)
        until(lambda: "closed and sealed now" in log(here))
        assert outcome(first) == "interrupted"
        assert verify(first).intact
        events = told(second)
        assert any("load is on that this session did not start" in event for event in events)
        assert [e for e in events if "adopt" in e and "(Robin)" in e]


@pytest.mark.slow
def test_H7_load_found_on_that_nobody_answers_for_comes_off_by_itself(tmp_path):
    with place(tmp_path, watchdog=LONG, more="attendance: {unattended: allowed, console_lost: 5 s}") as here:
        here.simulator()
        found(here)
        assert loaded(here)
        until(lambda: quiet(here), 25.0)
        assert fans_on(here)
        until(lambda: "nobody answered" in log(here))
        assert any("(nobody (load found on))" in event for event in told(records(here)[-1]))
