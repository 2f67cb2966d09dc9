"""A rehearsed operator that breaks: the rehearsal ends at once, with the fault and not with a hang or a traceback."""

import tempfile
from pathlib import Path

import pytest

from benchctl.cli import FAULT, main
from benchctl.core.decision import Frame
from benchctl.rehearsal import Rehearsal
from benchctl.rehearsed import RehearsedOperator
from tests.rehearsal.test_rehearsal import settings_of

SCANS = 60


def breaks(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """At its 60th frame the operator's method raises."""
    works, frames = getattr(RehearsedOperator, name), []

    def broken(self: RehearsedOperator, frame: Frame) -> object:
        frames.append(frame)
        if len(frames) == SCANS:
            raise LookupError("no such answer")
        return works(self, frame)

    monkeypatch.setattr(RehearsedOperator, name, broken)


@pytest.mark.parametrize("with_bytes", [False, True])
@pytest.mark.parametrize("name", ["commands", "over"])
def test_the_rehearsal_ends_with_the_operators_fault_in_the_scan_in_which_it_breaks(monkeypatch, name, with_bytes):
    breaks(monkeypatch, name)
    frames: list[Frame] = []
    rehearsal = Rehearsal(settings_of("ladder"), listeners=(frames.append,), with_bytes=with_bytes)
    with pytest.raises(LookupError, match="no such answer"):
        rehearsal.run()
    assert len(frames) == SCANS


@pytest.mark.parametrize("name", ["commands", "over"])
def test_the_user_is_told_in_one_line_and_the_makers_in_a_file(monkeypatch, capsys, tmp_path, name):
    breaks(monkeypatch, name)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    assert main(["rehearse", "ladder", "--site", "northquay", "--runs", str(tmp_path / "runs")]) == FAULT
    said = "".join(capsys.readouterr())
    assert "Traceback" not in said
    (told,) = (line for line in said.splitlines() if "fault" in line)
    assert told.startswith("a fault of benchctl itself: LookupError: no such answer; details for its makers: ")
    report = Path(told.rpartition(": ")[2])
    assert report.parent == tmp_path
    assert "Traceback" in report.read_text(encoding="utf-8")
