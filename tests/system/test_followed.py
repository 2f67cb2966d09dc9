"""A run of a real run host, followed by other processes while it is written: to its end, to its death, to theirs."""

import csv
import io
import json
import signal

import pytest

from benchctl.record.reader import Reader
from benchctl.record.verify import verify
from tests.system.live import kill_host, records, started
from tests.system.small import PATIENCE_S, place, until


@pytest.fixture
def here(tmp_path):
    with place(tmp_path) as made:
        made.simulator()
        yield made


def follower(here, *words):
    return here.start("benchctl", "export", "latest", "--follow", *words)


def test_followers_get_every_scan_and_the_reason_and_leave_the_record_as_it_would_be(here):
    run = started(here, hold="8 s")
    whole, late = follower(here, "--json"), follower(here, "--csv", "--from", "now")
    assert json.loads(whole.stdout.readline())["kind"] == "run"
    first = json.loads(whole.stdout.readline())
    assert run.end(120.0) == 0, run.said
    out = whole.stdout.read()  # communicate would leave out what the two lines above have read ahead
    _, said = whole.communicate(timeout=PATIENCE_S)
    assert whole.returncode == 0, said
    *scans, end = [json.loads(line) for line in out.splitlines()]
    table, late_said = late.communicate(timeout=PATIENCE_S)
    assert late.returncode == 0
    (path,) = records(here)
    with Reader(path) as reader:
        numbers = [scan.n for scan in reader.scans()]
        events = [e.text for e in reader.events()]
    assert [first["scan"], *(s["scan"] for s in scans)] == numbers
    assert [e["text"] for s in (first, *scans) for e in s["events"]] == events
    assert end == {"kind": "end", "outcome": "completed", "sealed": True, "why": "the run has ended: completed"}
    assert f"the run has ended: completed; {len(numbers)} scans" in said
    rows = list(csv.DictReader(io.StringIO(table.removeprefix("\ufeff"), newline="")))
    assert [int(row["scan"]) for row in rows] == numbers[-len(rows) :]
    assert 1 < len(rows) < len(numbers)
    assert all(row["bank 1 age_s"] for row in rows)
    assert "the run has ended: completed" in late_said
    assert verify(path).intact
    assert path.read_bytes()[18:20] == b"\x01\x01"  # it has left its log: nobody was reading when it was closed


def test_a_killed_run_host_is_told_and_one_who_stops_reading_is_no_fault(here):
    started(here)
    follow, cut = follower(here, "--json"), follower(here, "--csv")
    assert cut.stdout.readline()
    cut.stdout.close()  # as `| head -1` does
    assert cut.wait(PATIENCE_S) == 0
    assert cut.stderr.read() == ""
    until(lambda: "scan" in follow.stdout.readline())
    kill_host(here)
    out, said = follow.communicate(timeout=PATIENCE_S)
    assert follow.returncode == 1
    end = json.loads(out.splitlines()[-1])
    assert end["outcome"] is None
    assert "interrupted after scan" in end["why"]
    assert "Traceback" not in said


def test_the_operator_s_end_of_a_follower_is_no_traceback(here):
    run = started(here, hold="10 min")
    follow = follower(here, "--csv")
    assert follow.stdout.readline()
    follow.send_signal(signal.SIGINT)
    _, said = follow.communicate(timeout=PATIENCE_S)
    assert follow.returncode == 1
    assert "Traceback" not in said
    assert run.process.poll() is None
