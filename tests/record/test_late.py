"""Readings that were entered after the record was sealed: beside it, marked, and never instead of what was there."""

import hashlib
import json
import shutil
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.assessment.judge import judge
from benchctl.assessment.verdict import Outcome
from benchctl.cli.late import moment
from benchctl.core.decision import Event
from benchctl.core.ruleset import Known, Origin, Readings, RuleSet
from benchctl.record import late as late_module
from benchctl.record.beside import beside
from benchctl.record.fault import RecordFault
from benchctl.record.late import NOT_USED, Late, add, late_path, read_late
from benchctl.record.reader import Reader
from benchctl.record.recorder import Recorder
from benchctl.record.seal import file_hash, seal_path
from benchctl.record.trail import trail
from tests.cli.verbs import Verbs
from tests.record.bench import frames
from tests.report.made import sound

NOW = "2026-11-25T16:00:00+00:00"
AT = "2026-10-25T00:30:20+00:00"  # twenty seconds after the first scan, less a quarter: tests/record/bench.py


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """A sealed record of a minute with one reading, typed in after ten seconds and taken two seconds before."""
    path = tmp_path_factory.mktemp("runs") / "trial.run"
    chosen = sound()
    recorder = Recorder(path, chosen, {"kind": "live"}, ())
    for frame in frames(120, chosen):
        events = frame.decision.events
        if frame.number == 20:
            data = (("number", 1), ("correction", False), ("taken_s", 2.0), ("oil_kpa", 420.0), ("coolant_c", 80.0))
            events = (*events, Event("reading", "reading 1", who="operator", data=data))
        recorder.write(replace(frame, decision=replace(frame.decision, events=events)))
    assert recorder.close("completed", {}), recorder.problem
    return path


@pytest.fixture
def run(kept, tmp_path):
    for file in (kept, seal_path(kept)):
        shutil.copy(file, tmp_path)
    return tmp_path / kept.name


def entry(values="oil_kpa=410", **more):
    keys = {"number": 0, "corrects": False, "at": AT, "values": values, "remark": "", "who": "witness", "why": "forgot"}
    return Late(**{**keys, "entered": NOW, **more})


def noted(path):
    with Reader(path) as reader:
        return trail(reader).noted


def test_a_late_reading_counts_at_its_true_time_marked_and_the_record_stays_as_it_was(run):
    before = run.read_bytes()
    assert add(run, entry()).number == 2
    assert run.read_bytes() == before
    first, second = noted(run)
    assert (first.number, first.late, first.at_s) == (1, "", 8.0)
    assert second.values == (("oil_kpa", 410.0),)
    assert second.at_s == pytest.approx(19.75, abs=1e-6)
    assert second.late == f"entered late on {NOW} by witness: forgot"


def test_a_late_correction_takes_over_and_both_stay_legible(run):
    add(run, entry("oil_kpa=240", number=1, corrects=True, at=""))
    add(run, entry("coolant_c=81", number=1, corrects=True, at=AT, who="surveyor"))
    found = noted(run)
    assert [(n.number, n.corrected, bool(n.late)) for n in found] == [
        (1, True, False),
        (1, True, True),
        (1, False, True),
    ]
    assert dict(found[0].values) == {"oil_kpa": 420.0, "coolant_c": 80.0}
    assert dict(found[1].values) == {"oil_kpa": 240.0, "coolant_c": 80.0}
    assert dict(found[2].values) == {"oil_kpa": 240.0, "coolant_c": 81.0}
    assert (found[0].at_s, found[1].at_s) == (8.0, 8.0)
    assert found[2].at_s == pytest.approx(19.75, abs=1e-6)


def test_a_late_reading_can_be_corrected_itself(run):
    assert add(run, entry()).number == 2
    add(run, entry("oil_kpa=411", number=2, corrects=True, at=""))
    assert [(n.number, n.corrected, dict(n.values)["oil_kpa"]) for n in noted(run)] == [
        (1, False, 420.0),
        (2, True, 410.0),
        (2, False, 411.0),
    ]


def test_a_late_remark_fills_a_paper_and_says_that_it_is_late(run):
    add(run, entry("", remark="witness: the surveyor"))
    with Reader(run) as reader:
        found = trail(reader)
    assert found.papers["witness"] == f"the surveyor (entered late on {NOW} by witness: forgot)"
    assert found.papers["readings"] == "1 taken"


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"values": "oil_kpa=9999"}, "expected a number from 0 to 1500"),
        ({"values": "oil=400"}, "expected one of oil_kpa"),
        ({"values": ""}, "neither a reading nor a remark"),
        ({"remark": "witness: x"}, "neither a reading nor a remark, or both"),
        ({"who": " "}, "who: found nothing"),
        ({"why": ""}, "why: found nothing"),
        ({"at": ""}, "found no time"),
        ({"at": "2026-10-25T00:30:20"}, "has no offset"),
        ({"at": "noon"}, "expected ISO 8601"),
        ({"at": "2026-10-27T00:30:20+00:00"}, "more than 24 h before or after the run"),
        ({"at": AT, "entered": "2026-10-25T00:30:10+00:00"}, "in the future"),
        ({"number": 7, "corrects": True}, "reading 7: not taken, cannot be corrected; taken: 1"),
    ],
)
def test_what_cannot_be_true_is_refused_and_nothing_is_kept(run, wrong, told):
    with pytest.raises(RecordFault, match=told):
        add(run, entry(**wrong))
    assert not late_path(run).exists()


def test_a_record_that_is_altered_or_not_sealed_or_not_closed_takes_no_entries(run, tmp_path):
    seal_path(run).unlink()
    with pytest.raises(RecordFault, match="is not sealed"):
        add(run, entry())
    shutil.copy(run, tmp_path / "other.run")
    recorder = Recorder(tmp_path / "open.run", sound(), {}, ())
    try:
        with pytest.raises(RecordFault, match="is being written: enter it there"):
            add(tmp_path / "open.run", entry())
    finally:
        recorder.close("done", {})


def test_entries_of_another_record_are_refused_and_not_used(run, kept):
    add(run, entry())
    with run.open("ab") as stream:
        stream.write(b"x")
    with pytest.raises(RecordFault, match="was altered after it was sealed"):
        add(run, entry())
    shutil.copy(kept, run)
    text = late_path(run).read_text()
    other = Recorder(run.with_name("b.run"), sound(), {}, ())
    for frame in frames(5, sound()):
        other.write(frame)
    assert other.close("done", {})
    late_path(run.with_name("b.run")).write_text(text)
    with pytest.raises(RecordFault, match="belongs to a record with another hash"):
        add(run.with_name("b.run"), entry())
    with Reader(run.with_name("b.run")) as reader:
        found = trail(reader)
    assert found.noted == ()
    assert [e.what for e in found.entries if "another hash" in e.text] == [NOT_USED]


def test_a_wall_clock_is_found_in_the_run_by_its_scans(run):
    with Reader(run) as reader:
        scans = [(wall_ns, now_s) for wall_ns, now_s in reader.columns("wall_ns", "now_s")]
        begun_s = scans[0][1]
        for wall_ns, now_s in scans:
            assert reader.elapsed_s(wall_ns) == pytest.approx(now_s - begun_s, abs=1e-9)
            assert reader.elapsed_s(wall_ns + 100_000_000) == pytest.approx(now_s - begun_s + 0.1, abs=1e-6)
        assert reader.elapsed_s(scans[0][0] - 5_000_000_000) == pytest.approx(-5.0)


@pytest.fixture(scope="module")
def desk(kept, tmp_path_factory):
    """A record with three late entries, and their file's bytes."""
    folder = tmp_path_factory.mktemp("desk")
    for file in (kept, seal_path(kept)):
        shutil.copy(file, folder)
    path = folder / kept.name
    add(path, entry())
    add(path, entry("", remark="as found: µ & dirty"))
    add(path, entry("oil_kpa=100", number=2, corrects=True, at=""))
    return path, late_path(path).read_bytes()


@given(st.integers(0, 10**6), st.integers(0, 7))
@settings(max_examples=300, deadline=None)
def test_any_bit_turned_over_in_late_entries_is_noticed(desk, place, bit):
    path, data = desk
    altered = bytearray(data)
    altered[place % len(data)] ^= 1 << bit
    late_path(path).write_bytes(altered)
    try:
        with pytest.raises(RecordFault):
            read_late(path)
    finally:
        late_path(path).write_bytes(data)


def test_entries_taken_out_or_exchanged_or_cut_off_are_noticed_and_the_last_head_tells_missing_ones(desk):
    path, data = desk
    lines = data.splitlines(keepends=True)
    assert len(lines) == 4
    before = read_late(path)
    assert before is not None
    try:
        for altered in (lines[:1] + lines[2:], [lines[0], lines[2], lines[1], lines[3]], lines[1:], [data[:-1]], []):
            late_path(path).write_bytes(b"".join(altered))
            if altered:
                with pytest.raises(RecordFault):
                    read_late(path)
        late_path(path).write_bytes(b"".join(lines[:3]))  # the last one is gone: only who knows the head can tell
        after = read_late(path)
        assert after is not None
        assert after.head != before.head
    finally:
        late_path(path).write_bytes(data)


def test_each_line_can_be_checked_by_hand(desk):
    # From the description, with nothing of the project but the file.
    _, data = desk
    head = ""
    for line in data.decode().splitlines():
        told = json.loads(line)
        h = told.pop("h")
        head = hashlib.sha256((head + json.dumps(told, separators=(",", ":"))).encode()).hexdigest()
        assert h == head


@pytest.fixture
def verb(capsys):
    return Verbs(capsys)


def test_the_verb_keeps_an_entry_and_show_verify_assess_and_report_tell_it(verb, run, tmp_path):
    digest = file_hash(run)
    words = ("late", run, "oil_kpa=400", "coolant_c=82", "--at", "+0:30", "--who", "witness", "--why", "on paper")
    code, (row,), _ = verb.rows(*words)
    assert (code, row["number"], row["values"]) == (0, 2, "oil_kpa=400; coolant_c=82")
    assert file_hash(run) == digest
    code, out, _ = verb("show", run)
    assert code == 0
    assert "reading 2: oil_kpa=400; coolant_c=82" in out
    assert "by witness: on paper" in out
    code, (row,), _ = verb.rows("verify", run)
    assert (code, [b["kind"] for b in row["beside"]]) == (0, ["late entries"])
    verb("report", run, "--out", tmp_path / "out", "--rule-set", "doe3003-record")
    page = (tmp_path / "out" / "trial.html").read_text(encoding="utf-8")
    assert "by witness: on paper" in page
    assert "trial.run.late.jsonl" in page


def test_a_late_reading_that_was_missing_is_a_finding_no_longer(run):
    rule = Readings("fuel", 60.0, ("fuel_percent",), Origin("", Known.PRACTICE), late_s=30.0)
    rules = RuleSet("trial", "Trial", "a text", "2010", (rule,))

    def verdict():
        with Reader(run) as reader:
            (found,) = judge(trail(reader), rules).verdicts
        return found

    assert verdict().outcome is Outcome.NOT_DEMONSTRATED
    add(run, entry("fuel_percent=70"))
    assert verdict().outcome is Outcome.SHOWN
    assert f"not in the sealed record but beside it: reading 2 entered late on {NOW} by witness" in verdict().why
    with Reader(run) as reader:
        assert trail(reader).papers["readings"] == "2 taken, 1 of them entered late"


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("00:30:20", "2026-10-25T00:30:20+00:00"),
        ("0:30", "2026-10-25T00:30:00+00:00"),
        ("+20", "2026-10-25T00:30:20+00:00"),
        ("+1:30", "2026-10-25T00:31:30+00:00"),
        ("+1:00:01", "2026-10-25T01:30:01+00:00"),
        ("2026-10-25T00:30:20", "2026-10-25T00:30:20+00:00"),
        ("2026-10-25T02:30:20+02:00", "2026-10-25T02:30:20+02:00"),
    ],
)
def test_times_are_typed_as_people_say_them(kept, typed, meant):
    with Reader(kept) as reader:
        reader.meta["started"] = "2026-10-25T00:30:00+00:00"
        assert moment(typed, reader) == meant


@pytest.mark.parametrize("typed", ["25:00", "noon", "+", "1:2:3:4", "2026-13-01"])
def test_a_time_that_is_none_is_told(verb, run, typed):
    code, _, said = verb("late", run, "oil_kpa=1", "--at", typed, "--who", "a", "--why", "b")
    assert code == 2
    assert "expected a time such as" in said


def test_two_that_add_at_once_wait_for_each_other(run, monkeypatch):
    from filelock import FileLock

    monkeypatch.setattr(late_module, "PATIENCE_S", 0.05)
    with FileLock(str(late_path(run)) + ".lock"), pytest.raises(RecordFault, match="another process"):
        add(run, entry())


def test_nothing_beside_a_record_is_told_as_nothing(run):
    assert beside(run, file_hash(run)) == ()
