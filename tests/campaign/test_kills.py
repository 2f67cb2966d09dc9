"""Some of the kills and losses of power of the long campaign (`python -m tests.campaign kills --count 1000`)."""

import os
import sqlite3
import time
from random import Random

import pytest

from benchctl.record.fault import RecordFault
from benchctl.record.live import LiveRecorder
from tests.campaign import power
from tests.campaign.kills import kills
from tests.campaign.power import log_of, power_loss
from tests.record.bench import SETTINGS, frames

posix = pytest.mark.skipif(os.name != "posix", reason="fork and kill -9 are POSIX")


@posix
@pytest.mark.slow
@pytest.mark.timeout(240)
def test_killed_run_hosts_leave_records_that_open_and_a_next_start_that_tells_the_truth():
    tally = kills(6)
    assert tally.wrong == []
    assert tally.kills == 6
    assert tally.records > 3
    assert tally.powers > 6


def writing(folder, count):
    """A record that is being written."""
    recorder = LiveRecorder(folder / "a.run", SETTINGS, {}, (), reserve_bytes=0)
    for frame in frames(count):  # each in a transaction of its own, as on a bench
        recorder.write(frame)
        while recorder.last_number != frame.number:
            time.sleep(0.001)
    return recorder


def test_the_log_is_read_as_its_format_says(tmp_path):
    recorder = writing(tmp_path, 20)
    log = log_of(tmp_path / "a.run-wal")
    assert log is not None
    assert len(log.commits) >= 2
    assert log.commits[-1] == len(log.ends) - 1
    db = sqlite3.connect(tmp_path / "a.run")
    assert db.execute("PRAGMA page_size").fetchone() == (log.page,)
    db.close()
    assert recorder.close("done", {})


def test_a_loss_of_power_takes_the_last_transaction_at_most(tmp_path):
    recorder = writing(tmp_path, 40)
    done, wrong = power_loss(tmp_path / "a.run", tmp_path / "power", Random(1))
    assert wrong == []
    assert done >= 6
    assert recorder.close("done", {})


def test_a_log_that_was_not_synced_would_be_noticed(tmp_path, monkeypatch):
    """The imitation can fail: where more than the last transaction is gone, it says so."""
    recorder = writing(tmp_path, 40)
    through, log = power._copy, log_of(tmp_path / "a.run-wal")
    assert log is not None

    def unsynced(path, folder, cut=None, **how):
        return through(path, folder, cut=cut if cut is None or cut == log.ends[log.commits[-2]] else log.ends[5], **how)

    monkeypatch.setattr(power, "_copy", unsynced)
    _, wrong = power.power_loss(tmp_path / "a.run", tmp_path / "power", Random(1))
    assert wrong
    assert recorder.close("done", {})


def test_a_second_writer_is_refused_while_the_first_lives(tmp_path):
    recorder = writing(tmp_path, 3)
    with pytest.raises(RecordFault, match="is being written by another process"):
        LiveRecorder(tmp_path / "a.run", SETTINGS, {}, (), reserve_bytes=0)
    assert recorder.close("done", {})
    with pytest.raises(RecordFault, match="exists already"):
        LiveRecorder(tmp_path / "a.run", SETTINGS, {}, (), reserve_bytes=0)
