"""A record read while it is written: all of it once and in order, why it ended, and nobody held up by it."""

import json
import os
import signal
import subprocess
import sys
import time

import pytest

from benchctl.record.export import POINT, Rows, csv_line, csv_lines, json_end, json_head, json_line, json_lines
from benchctl.record.fault import RecordFault
from benchctl.record.follow import DEAD_S, SLOW_S, Follow, told
from benchctl.record.live import LiveRecorder
from benchctl.record.reader import Reader
from benchctl.record.verify import verify
from tests.record.bench import SETTINGS, frames, recorded

LIMIT_S = 30.0


class Played:
    """A clock that only passes in pauses; what is to happen in them, one after the other."""

    def __init__(self, *deeds):
        self.now_s, self.deeds, self.said = 0.0, list(deeds), []

    def pause(self, seconds):
        self.now_s += seconds
        assert self.now_s < 1000.0, "it does not end"
        if self.deeds:
            self.deeds.pop(0)()

    def follow(self, path, after=None):
        return Follow(path, after, say=self.said.append, pause=self.pause, clock=lambda: self.now_s)


def live(path):
    return LiveRecorder(path, SETTINGS, {}, (), reserve_bytes=4096)


def put(recorder, made):
    """Write frames, and wait until they are on disk."""
    for frame in made:
        recorder.write(frame)
    end_s = time.monotonic() + LIMIT_S
    while recorder.last_number != made[-1].number:
        assert time.monotonic() < end_s
        time.sleep(0.001)


def test_every_scan_comes_once_in_order_with_its_events_while_it_is_written(tmp_path):
    path, made = tmp_path / "a.run", frames(700)
    recorder = live(path)
    put(recorder, made[:3])
    deeds = [lambda k=k: put(recorder, made[k : k + 17]) for k in range(3, 700, 17)]
    played = Played(*deeds, lambda: recorder.close("completed", {}))
    follow = played.follow(path)
    seen = list(follow)
    assert [scan.n for scan, _ in seen] == list(range(700))
    with Reader(path) as reader:
        assert [(s.n, e) for s, e in seen] == [(s.n, e) for s, e in told(reader)]
        assert sum(len(e) for _, e in seen) == len(list(reader.events()))
    assert follow.ended is not None
    assert (follow.ended.outcome, follow.ended.sealed) == ("completed", True)
    assert follow.ended.why == "the run has ended: completed"


def test_it_begins_after_a_scan_where_it_is_told_to_and_has_no_event_of_before(tmp_path):
    path, made = tmp_path / "a.run", frames(40)
    recorder = live(path)
    put(recorder, made[:26])  # scan 25 has an event
    played = Played(lambda: put(recorder, made[26:]), lambda: recorder.close("completed", {}))
    seen = list(played.follow(path, 25))
    assert [scan.n for scan, _ in seen] == list(range(26, 40))
    assert [scan.n for scan, events in seen if events] == [30, 35]


def test_a_closed_run_is_told_at_once(tmp_path):
    played = Played()
    follow = played.follow(recorded(tmp_path / "a.run", frames(450)))
    assert len(list(follow)) == 450
    assert played.now_s < 1.0
    assert follow.ended is not None
    assert follow.ended.outcome == "done"


def test_the_seal_comes_after_the_end_and_is_waited_for_but_not_for_ever(tmp_path, monkeypatch):
    path = tmp_path / "a.run"
    recorder = live(path)
    put(recorder, frames(3))
    monkeypatch.setattr("benchctl.record.recorder.write_seal", lambda _: None)
    played = Played(lambda: recorder.close("completed", {}))
    follow = played.follow(path)
    list(follow)
    assert 10.0 <= played.now_s < 12.0
    assert follow.ended is not None
    assert not follow.ended.sealed
    assert follow.ended.why == "the run has ended: completed; it has no seal"


def test_a_run_that_nobody_writes_any_more_is_told_after_a_bounded_wait(tmp_path):
    """The writer is killed by the system, so its lock is freed and nothing is tidied up."""
    path = tmp_path / "a.run"
    code = (
        "import pathlib, sys, time\n"
        "from tests.record.test_follow import live, put, frames\n"
        "put(live(pathlib.Path(sys.argv[1])), frames(12))\n"
        "print('there', flush=True)\n"
        "time.sleep(600)\n"
    )
    with subprocess.Popen([sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "there\n"
        looked = []

        def die():
            writer.send_signal(signal.SIGKILL)
            writer.wait(LIMIT_S)
            looked.append(played.now_s)

        played = Played(*[lambda: None] * 40, die)  # ten seconds in which nothing comes
        follow = played.follow(path)
        assert [scan.n for scan, _ in follow] == list(range(12))
    assert follow.ended is not None
    assert follow.ended.outcome is None
    assert "interrupted after scan 11" in follow.ended.why
    assert played.now_s - looked[0] <= 2 * DEAD_S
    assert not (tmp_path / "a.run.seal").exists()


def test_a_run_that_stands_still_is_waited_for_as_long_as_somebody_has_it_open_and_told_of_once(tmp_path):
    path, made = tmp_path / "a.run", frames(6)
    recorder = live(path)
    put(recorder, made[:3])
    nothing = [lambda: None] * 400  # a hundred seconds
    played = Played(*nothing, lambda: put(recorder, made[3:]), lambda: recorder.close("completed", {}))
    assert len(list(played.follow(path))) == 6
    (line,) = played.said
    assert line.startswith(f"nothing new for {SLOW_S:.0f} s")


def test_following_leaves_no_lock_behind_and_the_closed_record_is_one_plain_file(tmp_path):
    """While a reader is attached a record cannot leave its log (WAL): so nobody may be between two looks."""
    path, made = tmp_path / "a.run", frames(30)
    recorder = live(path)
    put(recorder, made[:10])
    played = Played(lambda: put(recorder, made[10:]), lambda: recorder.close("completed", {}))
    list(played.follow(path))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.run", "a.run.seal"]
    assert path.read_bytes()[18:20] == b"\x01\x01"  # 1 = rollback journal, by SQLite's description of its file format
    assert verify(path).intact


def test_who_reads_for_a_moment_while_a_record_is_closed_is_waited_for_and_who_stays_is_not(tmp_path, monkeypatch):
    for name, leaves in (("a.run", True), ("b.run", False)):
        recorder = live(tmp_path / name)
        put(recorder, frames(3))
        with Reader(tmp_path / name) as reader:
            assert reader.newest == 2
            monkeypatch.setattr(
                "benchctl.record.book.time.sleep", lambda _, r=reader, go=leaves: r.close() if go else None
            )
            assert recorder.close("completed", {}), recorder.problem
        monkeypatch.undo()
        assert verify(tmp_path / name).intact
        assert ((tmp_path / name).read_bytes()[18:20] == b"\x01\x01") is leaves


def test_a_reader_that_stands_in_the_middle_of_a_page_holds_up_no_writer(tmp_path):
    path, made = tmp_path / "a.run", frames(400)
    recorder = live(path)
    put(recorder, made[:250])
    follow = iter(Follow(path))
    for _ in range(100):
        next(follow)
    put(recorder, made[250:])  # and here is nobody who reads
    assert recorder.close("completed", {}), recorder.problem
    assert [scan.n for scan, _ in follow] == list(range(100, 400))


def test_a_record_that_is_taken_away_is_told_after_some_tries(tmp_path):
    path = recorded(tmp_path / "a.run", frames(3))
    with Reader(path) as reader:
        assert reader.newest == 2
    played = Played(*[lambda: None] * 3)
    follow = iter(played.follow(path, 0))
    next(follow)
    path.unlink()
    with pytest.raises(RecordFault, match="no such file"):
        list(follow)
    assert played.now_s < 10.0


# -- as lines


def followed(path, played, after=None):
    with Reader(path) as reader:
        rows = Rows(reader, None, after)
    return [csv_line(rows, one, POINT) for one in played.follow(path, after)]


def test_what_was_followed_is_what_a_later_export_gives(tmp_path):
    path, made = tmp_path / "a.run", frames(260)
    recorder = live(path)
    put(recorder, made[:1])
    played = Played(lambda: put(recorder, made[1:]), lambda: recorder.close("completed", {}))
    lines = followed(path, played)
    with Reader(path) as reader:
        assert lines == list(csv_lines(reader, POINT))[1:]


@pytest.mark.parametrize("after", [0, 6, 7, 119, 120, 125])
def test_rows_from_now_on_have_the_ages_and_the_elapsed_time_of_the_whole(tmp_path, after):
    """Frame 0 and each seventh is one in which the first bank does not answer; a full state is kept once a minute."""
    made = frames(140)
    path = recorded(tmp_path / "a.run", made)
    with Reader(path) as reader:
        whole = [line.split(",") for line in list(csv_lines(reader, POINT))[1:]]
        heads = next(csv_lines(reader, POINT)).split(",")
    lines = [line.split(",") for line in followed(path, Played(), after)]
    for name in ("elapsed_s", "bank 2 age_s", "source meter age_s", "time"):
        column = next(i for i, head in enumerate(heads) if name in head)
        assert [row[column] for row in lines] == [row[column] for row in whole[after + 1 :]], name


def test_json_lines_name_every_cell_and_end_with_the_reason(tmp_path):
    path = recorded(tmp_path / "a.run", frames(12))
    with Reader(path) as reader:
        head, *scans, end = [json.loads(line) for line in json_lines(reader)]
        made = list(told(reader))
        rows = Rows(reader)
        assert json.loads(json_head(reader)) == head
        assert json.loads(json_line(rows, made[0])) == scans[0]
    assert head == {"kind": "run", "run": "a", "site": "trial", "program": "steps", "started": head["started"]}
    assert [s["scan"] for s in scans] == list(range(12))
    assert scans[1]["bank 1 exhaust_c"] == 21.1
    assert scans[0]["bank 1 exhaust_c"] is None
    assert scans[1]["volts_v"] is None
    assert scans[5]["events"] == [{"kind": "command", "unit": "bank 2", "who": "operator", "text": "=set load"}]
    assert scans[1]["events"] == []
    assert end == {"kind": "end", "outcome": "done", "sealed": True, "why": "the run has ended: done"}


def test_the_reason_in_json_of_a_run_without_an_end_has_no_outcome(tmp_path):
    follow = Played().follow(recorded(tmp_path / "a.run", frames(2)))
    list(follow)
    assert follow.ended is not None
    assert json.loads(json_end(follow.ended))["outcome"] == "done"
    recorder = live(tmp_path / "b.run")
    put(recorder, frames(2))
    with Reader(tmp_path / "b.run") as reader:
        *_, last = json_lines(reader)
    assert json.loads(last) == {"kind": "end", "outcome": None, "sealed": False, "why": "the run goes on"}
    recorder.close("completed", {})
    assert os.path.exists(tmp_path / "b.run")  # noqa: PTH110
