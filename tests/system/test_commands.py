"""The verbs as processes: last line, exit codes, places in errors. What outside checks rely on."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

KEYS = {
    "outcome",
    "run",
    "virtual_s",
    "wall_s",
    "planned_peak_kw",
    "delivered_peak_kw",
    "delivered_from",
    "cool_down_s",
    "trips",
    "events",
    "verdicts",
}
SHORT = """title: one short step
trim: true
segments:
  - ramp: {to: 100 kW, over: 10 s}
  - hold: {for: 20 s, starts: in band}
  - ramp: {to: 0 kW, over: 10 s}
"""
NEEDED = """title: the site takes its set back
faults:
  - {fault: site needs the set, on: source, during: 2, at: 5 s}
"""


def benchctl(*words: str, runs: Path, timeout_s: float = 100.0) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "benchctl", *words],
        capture_output=True,
        text=True,
        check=False,
        timeout=timeout_s,
        env={"PATH": "", "BENCHCTL_RUNS": str(runs), "PYTHONUTF8": "1"},
    )


@pytest.fixture
def short(tmp_path: Path) -> Path:
    path = tmp_path / "short.yaml"
    path.write_text(SHORT)
    return path


def test_a_rehearsal_ends_with_one_line_that_tells_its_outcome_and_its_record_replays(tmp_path, short):
    done = benchctl("rehearse", str(short), "--site", "northquay", "--json", runs=tmp_path)
    assert done.returncode == 0, done.stderr
    last = json.loads(done.stdout.splitlines()[-1])
    assert set(last) == KEYS
    assert last["outcome"] == "completed"
    assert last["planned_peak_kw"] == 100.0
    assert last["delivered_peak_kw"] == pytest.approx(100.0, abs=6.0)  # the smallest stage is 4 kW
    assert last["cool_down_s"] >= 240.0  # the shortest minimum of the units' profiles
    assert Path(last["run"]).is_file()
    assert Path(last["run"]).with_suffix(".seal").is_file() or Path(last["run"] + ".seal").is_file()
    assert "Traceback" not in done.stderr
    again = benchctl("replay", "latest", "--json", runs=tmp_path)
    assert again.returncode == 0, again.stderr
    assert json.loads(again.stdout.splitlines()[-1])["equal"] is True
    shown = benchctl("show", "latest", runs=tmp_path)
    assert shown.returncode == 0
    assert "all units are cool" in shown.stdout


def test_a_trip_is_exit_code_3(tmp_path, short):
    scenario = tmp_path / "needed.yaml"
    scenario.write_text(NEEDED)
    done = benchctl("rehearse", str(short), "--site", "northquay", "--scenario", str(scenario), "--json", runs=tmp_path)
    assert done.returncode == 3, done.stderr
    last = json.loads(done.stdout.splitlines()[-1])
    assert (last["outcome"], last["trips"]) == ("tripped", 1)


def test_a_plan_that_cannot_be_carried_out_is_exit_code_1_and_says_why(tmp_path):
    done = benchctl("plan", "ladder", "--site", "millrace", runs=tmp_path)
    assert done.returncode == 1
    assert "371.6 kW" in done.stdout  # 400 kW rated at 415 V on 400 V: (400/415)^2
    refused = benchctl("rehearse", "ladder", "--site", "millrace", "--json", runs=tmp_path)
    assert refused.returncode == 1
    assert json.loads(refused.stdout.splitlines()[-1])["outcome"] == "not feasible"


def test_a_flaw_in_a_file_is_told_with_its_place_and_is_exit_code_2(tmp_path, short):
    short.write_text(SHORT.replace("for: 20 s", "for: 1:30"))
    done = benchctl("plan", str(short), "--site", "northquay", runs=tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith(f"{short}:5:17: ")


def test_a_file_that_is_not_there_is_exit_code_2(tmp_path):
    done = benchctl("plan", "laddr", "--site", "northquay", runs=tmp_path)
    assert done.returncode == 2
    assert "ladder" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_runs_folder_that_cannot_be_made_is_told_without_a_traceback(tmp_path, short):
    blocked = tmp_path / "blocked"
    blocked.write_text("a file, no folder")
    done = benchctl("rehearse", str(short), "--site", "northquay", runs=blocked)
    assert done.returncode == 2
    assert "blocked" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_same_seed_gives_the_same_run(tmp_path, short):
    runs = [
        benchctl("rehearse", str(short), "--site", "northquay", "--seed", "5", "--json", runs=tmp_path)
        for _ in range(2)
    ]
    rows = [json.loads(r.stdout.splitlines()[-1]) for r in runs]
    for row in rows:
        del row["run"], row["wall_s"]
    assert rows[0] == rows[1]
    assert runs[0].stderr == runs[1].stderr
