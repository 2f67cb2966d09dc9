"""Records of every form that there has been stay readable: a sample of each, made by the benchctl of its day.

Beside each sample lies what that benchctl itself exported of it (every tenth line), so that today's reading is held
against another program than today's. How a sample is made: check out the commit, rehearse `minute` at `yard` (both are
in the record), export, seal and all; keep it, and never make it again.
"""

import csv
import io
import shutil
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

import pytest

from benchctl.record.export import POINT, csv_lines
from benchctl.record.fault import RecordFault
from benchctl.record.forms import FORMS
from benchctl.record.late import Late, add
from benchctl.record.reader import Reader
from benchctl.record.recover import close_interrupted
from benchctl.record.replay import OTHER_FIELDS, replay
from benchctl.record.schema import SCHEMA, statements
from benchctl.record.seal import seal_path
from benchctl.record.trail import trail
from benchctl.record.verify import verify
from tests.cli.verbs import Verbs

SAMPLES = Path(__file__).parent / "samples"
KEPT = {path.parent.name: path for path in sorted(SAMPLES.glob("*/*.run"))}
LEAST_BYTES, MOST_BYTES = 10_000, 130_000


@pytest.fixture(params=KEPT)
def sample(request, tmp_path):
    """A copy of a sample with its seal."""
    path = KEPT[request.param]
    for file in (path, seal_path(path)):
        shutil.copy(file, tmp_path)
    return tmp_path / path.name


@pytest.fixture
def verb(capsys):
    return Verbs(capsys)


def test_there_is_a_sample_of_every_form():
    found = []
    for path in KEPT.values():
        with Reader(path) as reader:
            found.append(reader.form)
        assert LEAST_BYTES < path.stat().st_size < MOST_BYTES
    assert [form for form in FORMS if form not in found] == []
    assert FORMS[0].schema == SCHEMA


def test_a_sample_is_unaltered_by_its_own_chains_and_seal(sample):
    found = verify(sample)
    assert found.altered == ()
    assert found.sealed


def test_a_sample_says_what_its_own_benchctl_said_of_it(sample):
    (path,) = SAMPLES.glob(f"*/{sample.name}")
    text = path.with_name("exported.csv").read_text(encoding="utf-8").removeprefix("\ufeff")
    then = list(csv.DictReader(io.StringIO(text, newline="")))
    with Reader(sample) as reader:
        lines = "".join(csv_lines(reader, POINT, UTC)).removeprefix("\ufeff")
    now = {row["scan"]: row for row in csv.DictReader(io.StringIO(lines, newline=""))}
    assert len(then) > 10
    for row in then:
        assert {name: number(now[row["scan"]][name]) for name in row} == {name: number(row[name]) for name in row}


def number(text):
    """A cell as what it means: whole kW were once written without their point."""
    try:
        return float(text)
    except ValueError:
        return text


def test_everything_in_a_sample_can_be_read(sample):
    with Reader(sample) as reader:
        site, program = reader.settings.site, reader.settings.program
        assert program is not None
        assert (site.name, program.name, [u.name for u in site.units]) == ("yard", "minute", ["bank 1", "bank 2"])
        scans = list(reader.scans())
        assert len(scans) == reader.scan_count > 50
        heard = [scan.inputs(site) for scan in scans]
        assert {len(inputs.units) for inputs in heard} == {2}
        assert max(inputs.units[0].load or 0 for inputs in heard) > 0
        assert any(order.raise_to for scan in scans for order in scan.orders().units)
        assert all(reader.state(n) is not None for n in reader.states())
        assert [e.kind for e in reader.events()].count("segment") >= 5
        assert reader.end is not None
        assert reader.end.outcome == "completed"
        found = trail(reader)
    assert max(found.power_kw) == pytest.approx(16.0, abs=1.0)  # 80 % of 20 kW, in stages of 2 kW
    assert [round(change.to_kw - change.from_kw) for change in found.changes] == [8]


def test_a_sample_is_shown_assessed_reported_exported_and_listed(sample, verb, tmp_path):
    assert verb("show", sample)[0] == 0
    assert verb("verify", sample)[0] == 0
    code, rows, _ = verb.rows("assess", sample, "--rule-set", "iso8528-g2")
    assert code == 1
    assert {row["outcome"] for row in rows if "outcome" in row} & {"not demonstrated", "shown"}
    assert verb("report", sample, "--out", tmp_path / "out", "--rule-set", "iso8528-g2")[0] == 0
    assert (tmp_path / "out" / f"{sample.stem}.pdf").read_bytes().startswith(b"%PDF")
    assert verb("verify", tmp_path / "out" / f"{sample.stem}.pdf")[0] == 0
    assert verb("export", sample, "--csv", "--out", tmp_path / "out.csv")[0] == 0
    code, (row,), _ = verb.rows("runs", "--runs", tmp_path)
    assert (code, row["outcome"]) == (0, "completed")


def test_the_newest_sample_has_what_people_said_in_it():
    with Reader(KEPT["schema2-spoken"]) as reader:
        found = trail(reader)
    assert [(n.number, n.corrected, dict(n.values)) for n in found.noted] == [
        (1, True, {"oil_kpa": 420.0, "coolant_c": 80.0}),
        (1, False, {"oil_kpa": 240.0, "coolant_c": 80.0}),
    ]
    assert found.papers["witness"] == "the surveyor"


def test_late_readings_can_be_added_to_a_sample(sample):
    with Reader(sample) as reader:
        at = reader.first_wall_ns / 1e9
    when = datetime.fromtimestamp(at + 30.0, UTC).isoformat()
    add(sample, Late(0, False, when, "oil_kpa=400", "", "operator", "on paper", "2026-11-25T16:00:00+00:00"))
    with Reader(sample) as reader:
        (late,) = [noted for noted in trail(reader).noted if noted.late]
    assert late.values == (("oil_kpa", 400.0),)
    assert late.at_s == pytest.approx(30.0, abs=1e-3)
    assert verify(sample).intact


def test_a_flipped_bit_in_a_sample_is_noticed(sample, verb):
    data = sample.read_bytes()
    for i, place in enumerate(range(0, len(data), len(data) // 25)):
        sample.write_bytes(data[:place] + bytes([data[place] ^ 1 << i % 8]) + data[place + 1 :])
        assert verb("verify", sample)[0] != 0, place


def test_a_sample_that_was_interrupted_is_closed_by_its_own_form(sample):
    # Put back to what a crash leaves: no end, no seal. Triggers stand in the way, so they are taken off and put back.
    with Reader(sample) as reader:
        form = reader.form
    seal_path(sample).unlink()
    db = sqlite3.connect(sample, isolation_level=None)
    db.execute('DROP TRIGGER "end_delete"')
    db.execute('DELETE FROM "end"')
    db.execute(next(sql for sql in statements(form.tables) if '"end_delete"' in sql))
    db.close()
    assert close_interrupted(sample)
    found = verify(sample)
    assert (found.altered, found.sealed) == ((), True)
    with Reader(sample) as reader:
        assert reader.end is not None
        assert reader.end.outcome == "interrupted"


def test_a_sample_is_replayed_as_far_as_it_can_be_compared(sample):
    """States have got fields since, so their digests say nothing; orders are compared in every scan.

    Where decide has learned something since, the first scan that differs is told with both orders, and nothing fails.
    """
    with Reader(sample) as reader:
        found = replay(reader)
    assert found.note == OTHER_FIELDS or found.equal
    assert found.compared > 0
    assert found.difference is None or any(line.startswith("orders.") for line in found.difference.lines)


def test_a_schema_that_nobody_has_written_yet_is_told(sample):
    seal_path(sample).unlink()
    db = sqlite3.connect(sample, isolation_level=None)
    db.execute('DROP TRIGGER "meta_update"')
    db.execute("UPDATE meta SET v = '99' WHERE k = 'schema'")
    db.close()
    with pytest.raises(RecordFault, match="record schema 99, expected 1 or 2"):
        verify(sample)
