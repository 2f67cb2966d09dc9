"""The room that a record needs is estimated before the run, and never under what it then takes."""

import errno
import random
import time

import pytest

from benchctl.core.decision import Settings
from benchctl.field.answer import Answer, Got
from benchctl.field.sweep import Sweep, decoder_of, readings
from benchctl.files import read_site
from benchctl.record import space
from benchctl.record.live import LiveRecorder
from benchctl.record.recorder import Recorder
from benchctl.record.space import left_bytes, needed_bytes, short_of_space
from tests.record.bench import SETTINGS, frames, recorded


def test_a_record_of_readings_takes_less_than_was_estimated(tmp_path):
    path = recorded(tmp_path / "a.run", frames(1200))
    assert path.stat().st_size - 200_000 < needed_bytes(SETTINGS, 600.0) - space.BYTES_A_RUN


def answers(device, rnd):
    """Random words of every block of a device."""
    return tuple(
        Answer(Got.OK, tuple(rnd.randrange(1 << 16) for _ in range(block.words)))
        for block in decoder_of(device).plan.blocks
    )


@pytest.mark.parametrize("name", ["northquay", "alder-ridge"])
def test_a_record_of_a_chain_whose_every_word_moves_takes_less_than_was_estimated(tmp_path, name):
    site, files = read_site(name)
    settings, rnd = Settings.of(site, None, 0.5), random.Random(3)
    recorder = Recorder(tmp_path / "a.run", settings, {}, files)
    for frame in frames(200):
        sweep = Sweep(tuple(answers(u, rnd) for u in site.units), tuple(answers(i, rnd) for i in site.instruments))
        assert len(readings(site, sweep)[0]) == len(site.units)
        recorder.write(frame.__class__(frame.number, frame.wall_s, frame.inputs, frame.decision, (), sweep))
    assert recorder.close("done", {}), recorder.problem
    assert (tmp_path / "a.run").stat().st_size < needed_bytes(settings, 100.0)


@pytest.mark.parametrize("count", [40, 700])  # before and after the log is brought in for the first time
def test_a_live_record_never_takes_more_than_was_estimated_while_it_is_written(tmp_path, count):
    recorder, most = LiveRecorder(tmp_path / "a.run", SETTINGS, {}, (), reserve_bytes=1 << 20), 0
    for frame in frames(count):
        recorder.write(frame)
        end = time.monotonic() + 20.0
        while recorder.last_number != frame.number:  # one commit a scan, as on a bench
            assert time.monotonic() < end, recorder.problem
            time.sleep(0.0002)
        most = max(most, sum(path.stat().st_size for path in tmp_path.iterdir()))
    assert recorder.close("done", {}), recorder.problem
    assert most > 1 << 20
    assert most < needed_bytes(SETTINGS, count * SETTINGS.scan_period_s) + (1 << 20)


def test_missing_room_is_told_with_both_figures(tmp_path, monkeypatch):
    monkeypatch.setattr(space, "left_bytes", lambda folder: 1_500_000)
    assert short_of_space(tmp_path, SETTINGS, 3600.0) == (f"the record may need 20.1 MB, 1.5 MB are free in {tmp_path}")
    monkeypatch.setattr(space, "left_bytes", lambda folder: 28_000_000)
    assert short_of_space(tmp_path, SETTINGS, 3600.0) == ""
    assert short_of_space(tmp_path, SETTINGS, 3600.0, reserve_bytes=16_000_000) != ""


def test_a_disk_that_does_not_answer_is_told(tmp_path, monkeypatch):
    def gone(folder):
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(space, "left_bytes", gone)
    assert short_of_space(tmp_path, SETTINGS, 0.0) == (
        f"the record may need 5.0 MB, and what is free in {tmp_path} is not known: Input/output error"
    )


def test_room_is_asked_of_the_disk_even_where_the_folder_is_not_made_yet(tmp_path):
    assert left_bytes(tmp_path / "not" / "yet") > 0
