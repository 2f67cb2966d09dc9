"""A chain that goes away under load and comes back: frozen, or dead and started again on the same sockets.

Case A7: a device that restarted has lost what it was told; nothing comes back by itself.
"""

import json
import signal

import pytest

from tests.system.live import console, fans_on, log, quiet, started, truth, truths
from tests.system.small import place, until

pytestmark = pytest.mark.slow


@pytest.fixture
def here(tmp_path):
    with place(tmp_path) as made:
        made.simulator()
        yield made


def no_load_for(here, seconds: float) -> None:
    """That no load comes on by itself."""
    since_s = truth(here)["t"]
    until(lambda: truth(here)["t"] > since_s + seconds)
    assert all(row["load_kw"] < 1.0 for row in truths(here) if row["t"] > since_s)


def test_A7_a_chain_that_froze_and_goes_on_is_named_and_gets_no_load_by_itself(here):
    run = started(here)
    chain = here.started[0]
    chain.send_signal(signal.SIGSTOP)
    try:
        for unit in ("bank 1", "bank 2"):
            until(lambda unit=unit: f"{unit}: no contact" in log(here), 20.0)  # lost after 5 s, beyond the watchdog's 4
    finally:
        chain.send_signal(signal.SIGCONT)
    until(lambda: "bank 1 answers again after" in log(here), 20.0)
    until(lambda: quiet(here), 10.0)
    no_load_for(here, 5.0)
    assert fans_on(here)
    assert "the units left cannot give the target" in here.verb("status").stdout
    assert run.process.poll() is None
    assert here.verb("unload").returncode == 0


def test_A7_a_chain_that_died_and_was_started_again_is_joined_again_and_stays_off_until_it_is_asked(here):
    run = started(here)
    here.started[0].kill()
    here.started[0].wait()
    until(lambda: "bank 1: no contact" in log(here) and "bank 2: no contact" in log(here), 20.0)
    here.truth.write_text("")
    here.simulator()
    until(lambda: "bank 1: restarted, its load is lost" in log(here), 20.0)
    status = here.verb("status").stdout
    assert "held: no unit is left that can be loaded" in status
    assert "! bank 1: restarted, its load is lost" in status
    no_load_for(here, 3.0)
    shell = console(here, "attach", "--operator", "Robin")
    shell.until("restarted")
    shell.type("over tester has gone to look at the banks")
    shell.until("Robin at console 2 has taken over from tester at console 1: tester has gone to look at the banks")
    for unit in ("bank 1", "bank 2"):
        shell.type(f"join {unit}")
        shell.until(f"join {unit} (Robin)")
    shell.until("returned to normal bank 2: no contact")
    until(lambda: fans_on(here), 20.0)
    shell.type("yes")
    shell.until("answer")
    no_load_for(here, 3.0)  # what was lost in a leg stays off in it
    assert run.process.poll() is None


def test_A7_a_chain_that_stays_away_ends_the_run_as_lost_with_exit_code_4(here):
    run = started(here, "--json")
    here.started[0].kill()
    until(lambda: "bank 2: no contact" in log(here), 20.0)
    assert run.end(100.0) == 4
    assert run.process.stdout is not None
    told = json.loads(run.process.stdout.read().splitlines()[-1])
    assert told["outcome"] == "chain lost"
