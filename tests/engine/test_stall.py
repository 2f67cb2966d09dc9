"""A process that is stopped and goes on (SIGSTOP, SIGCONT): one hole in time, and nothing catches up."""

import json
import os
import signal
import subprocess
import sys
import time
from itertools import pairwise
from typing import Any

import pytest

from tests.engine.stalled import PERIOD_S

STOPPED_S = 3.0

pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="POSIX only")


def told(process: "subprocess.Popen[str]", scans: int) -> list[dict[str, Any]]:
    """The next scans."""
    assert process.stdout is not None
    return [json.loads(process.stdout.readline()) for _ in range(scans)]


@pytest.mark.timeout(60)
def test_a_process_that_was_stopped_tells_a_hole_in_its_first_scan_and_catches_nothing_up():
    process = subprocess.Popen([sys.executable, "-m", "tests.engine.stalled"], stdout=subprocess.PIPE, text=True)
    try:
        told(process, 5)
        os.kill(process.pid, signal.SIGSTOP)
        stopped_s = time.monotonic()
        time.sleep(STOPPED_S)
        went_on_s = time.monotonic()
        os.kill(process.pid, signal.SIGCONT)
        scans = told(process, 20)
    finally:
        process.kill()
        process.wait()
        assert process.stdout is not None
        process.stdout.close()

    after = [scan for scan in scans if scan["at_s"] > went_on_s]
    # Where it was stopped between the time of a scan and its telling, that scan is told late and the next has the hole.
    gap = next(i for i, scan in enumerate(after) if scan["gap_s"])
    assert gap <= 1
    assert after[gap]["dt_s"] == pytest.approx(STOPPED_S, abs=1.0)
    assert after[gap]["dt_s"] >= went_on_s - stopped_s - PERIOD_S
    assert after[gap]["gaps"] == [f"{after[gap]['dt_s']:.0f} s not observed"]
    assert after[gap]["stood_still_s"] == 0.0  # the computer's clocks ran on
    assert after[gap]["stepped_s"] == 0.0
    assert sum(bool(scan["gap_s"]) for scan in scans) == 1
    assert [b["number"] - a["number"] for a, b in pairwise(scans)] == [1] * (len(scans) - 1)
    # Nothing catches up: in a second there are no more scans than the grid has places, and the one that was awaited.
    one_s = [scan for scan in after if scan["at_s"] - went_on_s <= 1.0]
    assert len(one_s) <= 1.0 / PERIOD_S + 2
