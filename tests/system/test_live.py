"""The live controller as processes over TCP on loopback: what becomes of load, heat and record whatever happens.

The simulator writes what is physically true; what is judged here is that, not what the product says.
"""

import json
import os
import signal
import time
from pathlib import Path

import pytest

from benchctl.record.reader import Reader
from benchctl.record.replay import replay
from benchctl.record.verify import verify
from tests.system.live import fans_on, loaded, outcome, quiet, started
from tests.system.small import Place, place, short_program, until

HOLD_S = 0.7  # two truths and a scan


def record(here: Place) -> Path:
    (path,) = (here.folder / "runs").glob("*.run")
    return path


@pytest.fixture
def here(tmp_path):
    with place(tmp_path) as made:
        made.simulator()
        yield made


@pytest.mark.slow
def test_a_program_runs_on_real_units_to_its_end_and_its_record_replays(here):
    program = short_program(here.folder, "3 s")
    ran = here.verb(
        "run", str(program), "--site", str(here.site), "--confirmed", "--operator", "tester", "--json", timeout_s=110.0
    )
    assert ran.returncode == 0, ran.stderr
    told = json.loads(ran.stdout.splitlines()[-1])
    assert told["outcome"] == "completed"
    assert told["planned_peak_kw"] == 40.0
    assert told["delivered_peak_kw"] == pytest.approx(40.0, abs=4.0)
    assert told["cool_down_s"] >= 30.0
    assert {"run", "virtual_s", "wall_s", "delivered_from", "trips", "events"} <= set(told)
    path = Path(told["run"])
    assert verify(path).intact
    with Reader(path) as reader:
        assert replay(reader).equal
        assert {file.kind for file in reader.files} == {"site", "unit", "instrument", "program"}
        assert any("unattended" in event.text for event in reader.events())


@pytest.mark.slow
def test_H7_a_controller_that_is_killed_leaves_the_load_to_the_units_own_watchdogs(here):
    started(here)
    pid = here.host_pid()
    assert pid is not None
    os.kill(pid, signal.SIGKILL)
    killed_s = time.monotonic()
    until(lambda: quiet(here))
    assert time.monotonic() - killed_s < 4.0 + 3.0  # the watchdog's time, a contactor, a slow machine
    assert fans_on(here)


@pytest.mark.slow
def test_H7_the_run_of_a_killed_controller_is_closed_as_interrupted_by_the_next(here):
    run = started(here)
    path = record(here)
    os.kill(here.host_pid(), signal.SIGKILL)
    assert run.end() == 4
    assert "the run host is gone" in run.said
    again = here.verb("control", "--site", str(here.site))
    assert again.returncode == 0, again.stderr
    until(lambda: "closed and sealed now" in (here.folder / "runs" / "small.log").read_text(), 20.0)
    assert outcome(path) == "interrupted"
    assert verify(path).intact


@pytest.mark.slow
def test_a_client_that_is_killed_changes_nothing_and_another_unloads(here):
    run = started(here)
    run.process.kill()
    time.sleep(HOLD_S)
    assert loaded(here)
    off = here.verb("unload", "--json")
    assert off.returncode == 0, off.stderr
    assert json.loads(off.stdout.splitlines()[-1])["confirmed"]
    until(lambda: quiet(here), 5.0)
    assert fans_on(here)
    until(lambda: ".run: interrupted" in (here.folder / "runs" / "small.log").read_text(), 60.0)
    assert outcome(record(here)) == "interrupted"


@pytest.mark.slow
def test_a_drop_from_another_shell_is_read_back_and_confirmed(here):
    started(here)
    dropped = here.verb("drop", "--json")
    assert dropped.returncode == 0, dropped.stderr
    assert quiet(here) or until(lambda: quiet(here), 1.0)
    assert fans_on(here)
    status = here.verb("status")
    assert "TRIPPED: dropped by" in status.stdout


@pytest.mark.slow
def test_a_drop_that_is_not_read_back_says_so_and_names_the_emergency_stop(here):
    started(here)
    simulator = here.started[0]
    simulator.send_signal(signal.SIGSTOP)
    try:
        dropped = here.verb("drop")
    finally:
        simulator.send_signal(signal.SIGCONT)
    assert dropped.returncode == 1
    assert "NOT CONFIRMED: use the unit's emergency stop" in dropped.stderr
    until(lambda: quiet(here), 10.0)


@pytest.mark.slow
def test_a_controller_that_is_asked_to_end_unloads_cools_down_and_only_then_ends(here):
    run = started(here)
    os.kill(here.host_pid(), signal.SIGTERM)
    until(lambda: quiet(here), 15.0)
    assert fans_on(here)
    run.end(90.0)
    assert outcome(record(here)) == "interrupted"
    log = (here.folder / "runs" / "small.log").read_text()
    assert "no load on, cool-down paid" in log
    cooled = [line for line in log.splitlines() if "unloaded:" in line or "ends:" in line]
    assert len(cooled) == 2


@pytest.mark.slow
def test_F1_a_controller_that_stood_still_holds_and_asks(here):
    started(here)
    pid = here.host_pid()
    os.kill(pid, signal.SIGSTOP)
    time.sleep(3.0)  # shorter than the units' watchdog
    os.kill(pid, signal.SIGCONT)
    status = until(lambda: (s := here.verb("status").stdout) and "QUESTION" in s and s, 20.0)
    assert "held: a hole in time" in status


@pytest.mark.slow
def test_two_owners_of_one_unit_are_one_too_many(here):
    assert here.verb("control", "--site", str(here.site)).returncode == 0
    other = here.folder / "sites" / "other.yaml"
    other.write_text(here.site.read_text().replace("Small place", "The same units"))
    second = here.verb("control", "--site", str(other))
    assert second.returncode == 2
    assert f"is held by `benchctl control` for small (process {here.host_pid()}" in second.stderr
    assert "Traceback" not in second.stderr


@pytest.mark.slow
def test_an_unattended_run_needs_the_site_files_word(tmp_path):
    with place(tmp_path, more="") as here:
        here.simulator()
        program = short_program(tmp_path)
        ran = here.verb("run", str(program), "--site", str(here.site), "--confirmed", "--operator", "tester")
        assert ran.returncode == 1
        assert "does not say `unattended: allowed`" in ran.stderr
        assert quiet(here)
