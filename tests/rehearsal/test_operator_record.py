"""The record of a rehearsal whose operator breaks: what was told before the fault is what a person needs to see."""

import tempfile

from benchctl.cli import main
from benchctl.record.reader import Reader
from tests.rehearsal.test_operator_breaks import SCANS, breaks


def test_the_record_is_closed_as_a_fault_and_holds_every_scan_up_to_it(monkeypatch, tmp_path):
    breaks(monkeypatch, "commands")
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    main(["rehearse", "ladder", "--site", "northquay", "--runs", str(tmp_path)])
    (path,) = tmp_path.glob("*.run")
    with Reader(path) as run:
        assert run.scan_count == SCANS
        assert run.end is not None
        assert run.end.outcome == "fault"
