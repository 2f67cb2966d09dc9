"""What signals and closed pipes do to the run host and to its clients, judged by what is physically true.

Case H7: SIGTERM, SIGHUP and the rest are carried out as a policy says, not passed over.
"""

import fcntl
import os
import signal
import subprocess
import sys

import pytest

from tests.system.live import closed, console, fans_on, loaded, log, quiet, settled, started, truth
from tests.system.small import PATIENCE_S, Place, place, until

pytestmark = pytest.mark.slow
MORE_S = 1.0  # of the bench's own time: two scans


@pytest.fixture
def here(tmp_path):
    with place(tmp_path) as made:
        made.simulator()
        yield made


def later(here: Place) -> None:
    """Until the bench has had time to do what it must not."""
    now_s = truth(here)["t"]
    until(lambda: truth(here)["t"] > now_s + MORE_S)


def tell_host(here: Place, number: signal.Signals) -> None:
    pid = here.host_pid()
    assert pid is not None
    os.kill(pid, number)


def test_H7_a_terminal_that_goes_changes_nothing_and_an_interrupt_unloads(here):
    run = started(here)
    before = settled(here)
    tell_host(here, signal.SIGHUP)
    until(lambda: "SIGHUP" in log(here))
    later(here)
    assert closed(here) == before
    tell_host(here, signal.SIGINT)
    until(lambda: quiet(here), 15.0)
    assert fans_on(here)
    assert "unload the process was asked to end (signal SIGINT)" in log(here)
    run.until("cooling down")


def test_H7_a_second_signal_to_end_drops_and_ends_with_the_fans_running(here):
    run = started(here)
    tell_host(here, signal.SIGTERM)
    until(lambda: "signal SIGTERM" in log(here))
    tell_host(here, signal.SIGTERM)
    until(lambda: quiet(here), 5.0)
    assert run.end() == 3
    assert "drop the process was asked to end (signal SIGTERM)" in log(here)
    assert "asked twice to end, load read back off" in log(here)
    assert fans_on(here)


@pytest.mark.parametrize("number", [signal.SIGHUP, signal.SIGTERM, signal.SIGINT], ids=lambda n: n.name)
def test_what_ends_a_client_is_no_harm_to_the_load(here, number):
    run = started(here)
    run.process.send_signal(number)
    if number is signal.SIGINT:  # Ctrl-C, the one that is meant for the load
        until(lambda: quiet(here), 15.0)
        assert "Ctrl-C: unloading, then cooling down" in run.said
    else:
        run.process.wait(PATIENCE_S)
        later(here)
        assert loaded(here)
        assert here.verb("drop").returncode == 0
        assert quiet(here)
    assert fans_on(here)


def test_a_client_whose_output_nobody_reads_any_more_ends_without_a_good_exit_code(here):
    started(here)
    words = f"{sys.executable} -m benchctl attach; echo $? >code"
    ended = subprocess.run(
        ["sh", "-c", f"({words}) 2>&1 >/dev/null | head -n 1"],
        capture_output=True, text=True, check=False, timeout=PATIENCE_S, cwd=here.folder, env=here.env,
    )  # fmt: skip
    assert "Traceback" not in ended.stdout + ended.stderr
    assert until((here.folder / "code").read_text).strip() == "1"
    later(here)
    assert loaded(here)


def test_a_run_host_whose_own_output_is_full_or_closed_goes_on(here):
    host = here.start("benchctl", "control", "--foreground", "--site", str(here.site))
    assert host.stderr is not None
    fcntl.fcntl(host.stderr.fileno(), fcntl.F_SETPIPE_SZ, 4096)
    until(lambda: here.verb("status").returncode == 0, 20.0)
    started(here)
    shell = console(here, "attach")
    for n in range(200):  # more than the pipe takes
        shell.type(f"remark {n}: {'nobody reads what the run host says of this ' * 2}")
    shell.until("remark", 20.0)
    later(here)
    assert loaded(here)
    status = here.verb("status")
    assert status.returncode == 0, status.stderr
    host.stderr.close()
    later(here)
    assert loaded(here)
    assert here.verb("drop").returncode == 0
    assert quiet(here)
    assert fans_on(here)
