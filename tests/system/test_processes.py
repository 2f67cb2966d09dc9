"""The simulator as a process of its own, met by the probe and loaded by a stranger, over TCP on loopback."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.needs import needs
from tests.system.site import site_on_free_ports

PATIENCE_S = 60.0


def run(*words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", *words],
        capture_output=True,
        text=True,
        check=False,
        timeout=PATIENCE_S,
        cwd=folder,
        env=os.environ | {"BENCHCTL_RUNS": str(folder)},
    )


@pytest.fixture
def simulator(tmp_path):
    """A running simulator: (site file, truth file, process)."""
    site, truth = site_on_free_ports(tmp_path), tmp_path / "truth.jsonl"
    process = subprocess.Popen(
        [sys.executable, "-m", "simulator", str(site), "--truth", str(truth)],
        stderr=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
    )
    assert process.stderr is not None
    for line in process.stderr:
        if line.startswith("ready"):
            break
    yield site, truth, process
    if process.poll() is None:
        process.send_signal(signal.SIGTERM)
    process.communicate(timeout=PATIENCE_S)


def test_the_probe_meets_every_device_of_a_served_site(simulator, tmp_path):
    site, _, _ = simulator
    met = run("benchctl", "probe", "--site", str(site), folder=tmp_path)
    assert met.returncode == 0, met.stderr + met.stdout
    assert "4 of 4 units answer: 500 kW rated" in met.stdout


def test_a_probe_that_meets_nobody_says_so_and_is_exit_code_4(tmp_path):
    met = run("benchctl", "probe", "--site", str(site_on_free_ports(tmp_path)), folder=tmp_path)
    assert met.returncode == 4
    assert "Traceback" not in met.stderr


def test_the_truth_is_told_ten_times_a_second_and_ends_cleanly(simulator):
    _, truth, process = simulator
    begun_s = time.monotonic()
    while time.monotonic() - begun_s < PATIENCE_S:
        rows = [json.loads(line) for line in truth.read_text().splitlines()[:-1]]
        if len(rows) >= 12:
            break
        time.sleep(0.05)
    assert set(rows[0]) == {"t", "load_kw", "source", "units"}
    assert set(rows[0]["source"]) == {"volts", "hertz", "kw"}
    assert set(rows[0]["units"][0]) >= {"kw", "closed", "fan_on", "airflow", "exhaust_c"}
    assert 0.05 < (rows[11]["t"] - rows[1]["t"]) / 10 < 0.5
    process.send_signal(signal.SIGTERM)
    process.wait(timeout=PATIENCE_S)
    assert process.returncode == 0


def test_a_port_that_is_taken_is_told_without_a_traceback(simulator, tmp_path):
    site, _, _ = simulator
    second = run("simulator", str(site), folder=tmp_path)
    assert second.returncode == 2
    assert "Traceback" not in second.stderr


@needs("tmux")
def test_a_rehearsal_in_a_real_terminal_shows_its_curve_and_outcome(tmp_path):
    program = tmp_path / "short.yaml"
    program.write_text("title: short\nsegments:\n  - ramp: {to: 60 kW, over: 5 s}\n  - hold: {for: 10 s}\n")
    session = f"benchctl-test-{os.getpid()}"
    socket = str(tmp_path / "tmux")
    tmux = ["tmux", "-S", socket]
    command = f"{sys.executable} -m benchctl rehearse {program} --site northquay --runs {tmp_path}; read -r _"
    subprocess.run(
        [*tmux, "new-session", "-d", "-s", session, "-x", "100", "-y", "40", command],
        check=True,
        env=os.environ | {"LANG": "C.UTF-8"},
    )
    try:
        begun_s, screen = time.monotonic(), ""
        while time.monotonic() - begun_s < PATIENCE_S and "record " not in screen:
            time.sleep(0.2)
            screen = subprocess.run(
                [*tmux, "capture-pane", "-p", "-t", session], check=True, capture_output=True, text=True
            ).stdout
        assert "outcome     completed" in screen
        assert "│" in screen
    finally:
        subprocess.run([*tmux, "kill-session", "-t", session], check=False)
