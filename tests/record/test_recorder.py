"""What is written is what is read; nothing is changed afterwards; nothing is lost that was said to be on disk."""

# ruff: noqa: S608 - table names are this room's own

import dataclasses
import random
import signal
import sqlite3
import subprocess
import sys

import pytest

from benchctl.core.decision import Settings
from benchctl.core.inputs import Recorder as Health
from benchctl.field.answer import Answer, Got
from benchctl.field.sweep import Sweep, decoder_of, readings
from benchctl.files import read_program, read_site
from benchctl.record import book as book_module
from benchctl.record.digest import state_digest
from benchctl.record.fault import RecordFault
from benchctl.record.reader import Reader
from benchctl.record.recorder import Recorder
from benchctl.record.schema import COLUMNS, TABLES, insertion
from benchctl.record.verify import verify
from tests.record.bench import SETTINGS, SITE, START_S, frames, recorded


def test_every_scan_reads_back_as_it_was_written(tmp_path):
    made = frames(300)
    with Reader(recorded(tmp_path / "a.run", made)) as reader:
        scans = list(reader.scans())
        assert reader.settings == SETTINGS
        assert reader.meta["seed"] == "7"
        assert reader.meta["kind"] == "rehearsal"
        assert reader.condition == "closed"
        assert reader.end is not None
        assert (reader.end.outcome, reader.end.totals) == ("done", {"energy_kwh": 0.1})
        assert [e.text for e in reader.events()] == [e.text for f in made for e in f.decision.events]
    assert [s.inputs(SITE) for s in scans] == [f.inputs for f in made]
    assert [s.orders() for s in scans] == [f.decision.orders for f in made]
    assert [s.state_hash for s in scans] == [state_digest(f.decision.state) for f in made]
    assert [s.wall_ns for s in scans] == [round(f.wall_s * 4) * 250_000_000 for f in made]
    assert [s.delivered_kw for s in scans] == [f.decision.seen.delivered_kw for f in made]


@pytest.mark.parametrize("known", [1000, 3])
def test_orders_that_come_back_are_kept_once_as_long_as_they_are_remembered(tmp_path, monkeypatch, known):
    monkeypatch.setattr(book_module, "KNOWN", known)
    made = frames(120)
    path = recorded(tmp_path / "a.run", made)
    with Reader(path) as reader:
        assert [s.orders() for s in reader.scans()] == [f.decision.orders for f in made]
        assert [s.inputs(SITE) for s in reader.scans()] == [f.inputs for f in made]
    db = sqlite3.connect(path)
    ((rows, different),) = db.execute("SELECT count(*), count(DISTINCT data) FROM noun WHERE kind = 'orders'")
    db.close()
    assert different == len({f.decision.orders for f in made})
    assert (rows == different) == (known == 1000)
    assert verify(path).intact


def test_what_is_not_known_is_null_and_never_zero(tmp_path):
    made = frames(8)
    with Reader(recorded(tmp_path / "a.run", made)) as reader:
        scans = list(reader.scans())
    assert {s.volts_v for s in scans} == {None}
    assert scans[7].units_heard == 1
    assert scans[7].hottest_c == 27.1
    assert scans[3].units_heard == 2


def answers(device, rnd):
    """Random words of every block of a device, or none."""
    return tuple(
        Answer(Got.OK, tuple(rnd.randrange(1 << 16) for _ in range(block.words)))
        if rnd.random() < 0.8
        else Answer(rnd.choice((Got.SILENT, Got.NOT_ASKED, Got.DOWN)))
        for block in decoder_of(device).plan.blocks
    )


def test_the_words_of_the_wire_decode_to_the_readings_again(tmp_path):
    site, files = read_site("northquay")
    program, file = read_program("ladder")
    settings = Settings.of(site, program)
    rnd = random.Random(4)
    made = []
    for frame in frames(40):
        sweep = Sweep(
            tuple(answers(unit, rnd) for unit in site.units),
            tuple(answers(instrument, rnd) for instrument in site.instruments),
        )
        units, instruments = readings(site, sweep)
        heard = dataclasses.replace(frame.inputs, units=units, instruments=instruments)
        made.append(dataclasses.replace(frame, inputs=heard, sweep=sweep))
    recorder = Recorder(tmp_path / "a.run", settings, {}, (*files, file))
    for frame in made:
        recorder.write(frame)
    assert recorder.close("done", {}), recorder.problem
    with Reader(tmp_path / "a.run") as reader:
        assert [s.inputs(site) for s in reader.scans()] == [f.inputs for f in made]
        assert reader.files == (*files, file)
        assert reader.settings == settings
        # And without the nouns the recorded files give the same settings.
        assert reader._settings_from_files(ValueError("nouns have changed")) == settings


def test_full_states_are_there_to_start_a_replay_from(tmp_path):
    made = frames(300)
    with Reader(recorded(tmp_path / "a.run", made)) as reader:
        kept = [n for n in range(300) if reader.state(n) is not None]
        assert kept == [0, 120, 240, 299]
        assert reader.state(120) == made[120].decision.state


def test_rows_cannot_be_changed_removed_replaced_or_slipped_in(tmp_path):
    path = recorded(tmp_path / "a.run", frames(5))
    db = sqlite3.connect(path)
    for table in TABLES.keys() - {"file", "gap"}:
        n = db.execute(f'SELECT max(n) FROM "{table}"').fetchone()[0]
        row = db.execute(f'SELECT * FROM "{table}" WHERE n = ?', (n,)).fetchone()
        for statement, values in (
            (f'UPDATE "{table}" SET {COLUMNS[table][-1]} = {COLUMNS[table][-1]}', ()),
            (f'DELETE FROM "{table}"', ()),
            (insertion(table).replace("INSERT", "INSERT OR REPLACE"), row),
            (insertion(table), (n - 1, *row[1:])),
        ):
            with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
                db.execute(statement, values)
    db.close()


def test_a_record_is_never_written_over(tmp_path):
    path = recorded(tmp_path / "a.run", frames(3))
    with pytest.raises(RecordFault, match=r"a\.run: exists already"):
        Recorder(path, SETTINGS, {}, ())


def test_two_processes_do_not_write_one_record(tmp_path):
    first = Recorder(tmp_path / "a.run", SETTINGS, {}, ())
    with pytest.raises(RecordFault, match="being written by another"):
        Recorder(tmp_path / "a.run", SETTINGS, {}, ())
    assert first.close("done", {})


def test_closing_leaves_the_record_and_its_seal_only(tmp_path):
    recorded(tmp_path / "a.run", frames(3))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.run", "a.run.seal"]


def test_scans_that_were_never_written_become_a_gap_with_a_state_after_it(tmp_path):
    made = frames(30)
    path = recorded(tmp_path / "a.run", made[:10] + made[15:])
    with Reader(path) as reader:
        (gap,) = reader.gaps
        assert (gap.first_scan, gap.last_scan) == (10, 14)
        assert reader.state(15) == made[15].decision.state
    assert verify(path).intact


def test_a_frame_that_cannot_be_kept_does_not_take_others_with_it(tmp_path):
    made = frames(6)
    made[3] = dataclasses.replace(made[3], inputs=dataclasses.replace(made[3].inputs, clock_stepped_s=float("nan")))
    recorder = Recorder(tmp_path / "a.run", SETTINGS, {}, ())
    for frame in made:
        recorder.write(frame)
    recorder.close("done", {})
    assert recorder.health is Health.FAILED
    assert "scan 3" in recorder.problem
    assert "clock_stepped_s: NaN" in recorder.problem
    with Reader(tmp_path / "a.run") as reader:
        assert [s.n for s in reader.scans()] == [0, 1, 2, 4, 5]
        assert [(g.first_scan, g.last_scan) for g in reader.gaps] == [(3, 3)]


def test_a_reader_sees_the_run_while_it_is_written(tmp_path):
    made = frames(30)
    recorder = Recorder(tmp_path / "a.run", SETTINGS, {}, ())
    with Reader(tmp_path / "a.run") as reader:
        assert list(reader.scans()) == []
        for upto in (10, 20, 30):
            for frame in made[upto - 10 : upto]:
                recorder.write(frame)
            assert recorder.flush()
            assert [s.n for s in reader.scans()] == list(range(upto))
            assert reader.condition == "being written"
        assert recorder.close("done", {})
    with Reader(tmp_path / "a.run") as reader:
        assert reader.condition == "closed"


WRITER = """
import sys
import time
from pathlib import Path
from benchctl.record.live import LiveRecorder
from benchctl.record.recorder import Recorder
from tests.record.bench import SETTINGS, frames
made = frames(4000)
live = sys.argv[2] == "live"
make = LiveRecorder if live else Recorder
recorder = make(Path(sys.argv[1]), SETTINGS, {}, ())
for frame in made:
    recorder.write(frame)
    while live and recorder.last_number != frame.number:
        time.sleep(0.0002)
    if live or (frame.number % 50 == 49 and recorder.flush()):
        print(recorder.last_number, flush=True)
print("end", flush=True)
"""


@pytest.mark.parametrize("kind", ["inline", "live"])
def test_after_kill_9_everything_acknowledged_is_there(tmp_path, kind):
    path = tmp_path / "a.run"
    writer = subprocess.Popen([sys.executable, "-c", WRITER, str(path), kind], stdout=subprocess.PIPE, text=True)
    assert writer.stdout is not None
    acknowledged = [int(writer.stdout.readline()) for _ in range(12)][-1]
    writer.send_signal(signal.SIGKILL)
    rest = [line for line in writer.stdout.read().splitlines()[:-1] if line.isdigit()]
    writer.stdout.close()
    assert writer.wait(30) == -signal.SIGKILL
    acknowledged = int(rest[-1]) if rest else acknowledged
    assert acknowledged > 0
    with Reader(path) as reader:
        numbers = [s.n for s in reader.scans()]
        assert numbers == list(range(len(numbers)))
        assert numbers[-1] >= acknowledged
        assert reader.condition == "interrupted"
        expected = frames(acknowledged + 1)[-1]
        scan = next(iter(reader.scans(acknowledged - 1)))
        assert (scan.inputs(SITE), scan.orders()) == (expected.inputs, expected.decision.orders)
    found = verify(path)
    assert found.intact
    assert not found.sealed
    assert any("no end" in note for note in found.notes)


def test_a_record_that_cannot_be_started_says_so(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(RecordFault, match="cannot be started"):
        Recorder(tmp_path / "file" / "a.run", SETTINGS, {}, ())


def test_settings_that_cannot_be_kept_leave_no_file_behind(tmp_path):
    wrong = dataclasses.replace(SETTINGS, peak_kw=float("nan"))
    with pytest.raises(RecordFault, match=r"cannot be started: Settings\.peak_kw: NaN"):
        Recorder(tmp_path / "a.run", wrong, {}, ())
    assert list(tmp_path.iterdir()) == []


def test_times_are_whole_nanoseconds_of_the_wall_clock(tmp_path):
    with Reader(recorded(tmp_path / "a.run", frames(2))) as reader:
        first, second = reader.scans()
    assert first.wall_ns == int(START_S) * 10**9 + 250_000_000
    assert second.wall_ns - first.wall_ns == 500_000_000
