"""A disk that is too small, and one that fills up while load is on.

Case F5: the bench goes on, the operator is told within a scan or two, what was written stays readable and says that
it is not complete; a run that is not likely to fit is refused with the estimate.
"""

import json
import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchctl.record.reader import Reader
from tests.system.live import closed, console, fans_on, loaded, quiet, records, settled, started, truth
from tests.system.small import Place, place, short_program, until

SIZE = "24m"  # the reserve of 16 MB fits, the record of a run of ten minutes too, but only just


def mounted(folder: Path) -> bool:
    """Whether a small file system could be made there."""
    if shutil.which("mount") is None or os.geteuid() != 0:
        return False
    words = ["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", str(folder)]
    return subprocess.run(words, capture_output=True, check=False).returncode == 0


def fill(path: Path, leave: int = 0) -> None:
    """Take all room but so many bytes."""
    with path.open("ab", buffering=0) as out:
        while True:
            free = shutil.disk_usage(path.parent).free - leave
            try:
                if free < 1 or not out.write(b"\0" * min(free, 1 << 20)):
                    return
            except OSError:
                return


@pytest.fixture
def here(tmp_path: Path) -> Iterator[Place]:
    runs = tmp_path / "runs"
    runs.mkdir()
    if not mounted(runs):
        pytest.skip("needs mount")
    try:
        with place(tmp_path) as made:
            made.simulator()
            yield made
    finally:
        subprocess.run(["umount", "-l", str(runs)], check=True)


@pytest.mark.slow
def test_F5_a_full_disk_stops_the_record_in_words_and_nothing_else(here: Place) -> None:
    runs = here.folder / "runs"
    fill(runs / "filler", leave=18_000_000)
    words = ("run", str(short_program(here.folder, "10 min")), "--site", str(here.site), "--confirmed")
    refused = here.verb(*words, "--operator", "tester")
    assert refused.returncode == 1
    assert re.search(r"refusal: the record may need 2[34]\.\d MB, 1[78]\.\d MB are free", refused.stderr)
    assert quiet(here)
    run = started(here, "--anyway")
    before = settled(here)
    full_s = truth(here)["t"]
    fill(runs / "filler")
    run.until("RECORDING STOPPED: what follows cannot be proven", 10.0)
    assert truth(here)["t"] - full_s < 3.0  # a scan of 0.5 s that fails, one that tells; a slow machine
    status = here.verb("status").stdout
    assert "held: RECORDING STOPPED" in status
    fill(runs / "filler")  # and the reserve that was given up
    since_s = truth(here)["t"]
    until(lambda: truth(here)["t"] > since_s + 2.0)
    assert loaded(here)
    assert closed(here) == before
    shell = console(here, "attach", "--operator", "Robin")
    shell.until("RECORDING STOPPED")
    assert here.verb("unload").returncode == 0
    assert quiet(here)
    assert fans_on(here)
    assert run.end(60.0) == 1
    assert "the record is not complete" in run.said
    (path,) = records(here)
    with Reader(path) as reader:
        assert reader.scan_count > 10
        assert reader.end is None
        assert any("segment 2" in event.text for event in reader.events())
    shown = json.loads(here.verb("show", str(path), "--json").stdout.splitlines()[0])
    assert shown["condition"] == "interrupted"
