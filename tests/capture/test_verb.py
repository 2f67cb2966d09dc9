"""The whole way: a rehearsed and sealed run, a recording of its block load, and what it then shows."""

import json
import re
import shutil
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from benchctl.assessment.trail import Trail
from benchctl.assessment.transients import transients
from benchctl.assessment.verdict import Outcome
from benchctl.capture.made import recorded_moves
from benchctl.capture.store import CaptureFault, captures_of, load, thinned, traces_beside
from benchctl.cli import main
from benchctl.core.decision import Settings
from benchctl.core.program import Block, Hold, Program, Target
from benchctl.core.ruleset import Quantity, Transient
from benchctl.files import read_rule_set, read_scenario, read_site
from benchctl.record.reader import Reader
from benchctl.record.recorder import Recorder
from benchctl.record.seal import file_hash
from benchctl.record.trail import trail
from benchctl.record.verify import verify
from benchctl.rehearsal import Rehearsal
from benchctl.report.make import open_run, write
from tests.capture.signals import sine, times, write_comtrade

RATE = 1_600.0
LEAD_S = 2.0  # of a recording before its load step
G2 = [rule for rule in read_rule_set("iso8528-g2")[0].rules if isinstance(rule, Transient)]


@pytest.fixture(scope="module")
def rehearsed(tmp_path_factory):
    """Blocks of 40 and 40 % of the nameplate, half a minute each."""
    path = tmp_path_factory.mktemp("run") / "blocks.run"
    site, files = read_site("northquay")
    parts = (Hold(10.0), Block(Target(40.0, percent=True)), Hold(30.0), Block(Target(80.0, percent=True)), Hold(30.0))
    settings = Settings.of(site, Program("blocks", "Blocks", parts, check_load=False))
    recorder = Recorder(path, settings, {}, files)
    rehearsal = Rehearsal(
        settings, read_scenario("quiet", site)[0], seed=1, wall_s=1_790_000_000.0, with_bytes=False,
        listeners=(recorder.write,), health=lambda: recorder.health,
    )  # fmt: skip
    rehearsal.run()
    assert recorder.close("done", {}), recorder.problem
    return path


@pytest.fixture
def run(rehearsed, tmp_path):
    """A copy of the record with its seal."""
    for file in rehearsed.parent.glob(f"{rehearsed.name}*"):
        shutil.copy(file, tmp_path / file.name)
    return tmp_path / rehearsed.name


BASE: dict[str, Trail] = {}  # the rehearsed run's trail is read once; what lies beside the copies, each time


def the_trail(path):
    key = file_hash(path)
    if key not in BASE:
        with Reader(path) as reader:
            BASE[key] = trail(reader)
    return replace(BASE[key], traces=traces_beside(path)[0])


def ups(path):
    return [m for m in recorded_moves(the_trail(path)) if m.up]


def waves(move, dip_hz=3.0, dip_share=0.10, length_s=9.0):
    """A recording of a step: hertz and volts fall and come back within two seconds, amps are as the run's kW."""
    t = times(length_s, RATE)
    since = t - LEAD_S
    hertz = 50.0 - dip_hz * np.interp(since, [0.0, 0.4, 1.8], [0.0, 1.0, 0.0])
    volts = 230.0 * (1.0 - dip_share * np.interp(since, [0.0, 0.0001, 0.8], [0.0, 1.0, 0.0]))
    amps = np.where(since < 0.0, move.before, move.after) * 1000.0 / (3.0 * 230.0)
    shifts = (0.0, -2.0 * np.pi / 3.0, 2.0 * np.pi / 3.0)
    made = {f"U{p}": sine(t, volts, hertz, s) for p, s in zip("ABC", shifts, strict=True)}
    return t, made | {f"I{p}": sine(t, amps, hertz, s) for p, s in zip("ABC", shifts, strict=True)}


def stamp(path, at_s):
    """The clock of a recorder that is right, at a time of the run, as COMTRADE writes it."""
    when = datetime.fromisoformat(the_trail(path).began) + timedelta(seconds=at_s)
    return when.strftime("%d/%m/%Y,%H:%M:%S.%f")


def comtrade(path, move, clock_s=0.0, **more):
    """clock_s: how far the recorder's clock goes wrong. Written in BINARY32 and with the revision of 1999: no zone."""
    t, made = waves(move, **more)
    started = stamp(path, move.at_s - LEAD_S + clock_s)
    return write_comtrade(path.parent, t, made, RATE, "BINARY32", "1999", started=started)


def verdicts(path, key):
    rules = [rule for rule in G2 if rule.key == key]
    return [v.outcome for v in transients(the_trail(path), rules)]


def test_a_capture_shows_what_the_meter_could_not_and_leaves_the_record_as_it_was(run, capsys):
    assert verdicts(run, "hertz_up") == [Outcome.NOT_DEMONSTRATED] * 2
    second, before = ups(run)[1], file_hash(run)
    assert main(["capture", str(run), str(comtrade(run, second, clock_s=31.0)), "--json"]) == 0
    row = json.loads(capsys.readouterr().out)
    assert row["aligned"]["by"] == "step"
    assert row["aligned"]["offset_s"] == pytest.approx(second.at_s - LEAD_S, abs=0.01)
    assert row["record_hash"] == file_hash(run) == before
    assert verify(run).intact
    with Reader(run) as reader:
        assert trail(reader).traces == the_trail(run).traces
    assert verdicts(run, "hertz_up") == [Outcome.NOT_DEMONSTRATED, Outcome.SHOWN]
    assert verdicts(run, "volts_up") == [Outcome.NOT_DEMONSTRATED, Outcome.SHOWN]


def test_a_dip_that_is_too_deep_is_not_met_whatever_the_meter_saw(run):
    comtrade(run, ups(run)[1], dip_hz=6.0, dip_share=0.25)
    assert main(["capture", str(run), str(run.parent / "made.cfg")]) == 0
    for key in ("hertz_up", "volts_up"):
        assert verdicts(run, key)[1] is Outcome.NOT_MET


def test_the_figures_are_those_that_the_signal_was_made_with(run):
    comtrade(run, ups(run)[1])
    assert main(["capture", str(run), str(run.parent / "made.cfg")]) == 0
    (rule,) = (rule for rule in G2 if rule.key == "hertz_up")
    verdict = transients(the_trail(run), [rule])[1]
    deviation = next(w for w in verdict.working if "deviation" in w.name)
    assert deviation.value == pytest.approx(-6.0, abs=0.1)  # 3 Hz of 50
    recovery = next(w for w in verdict.working if "the switching" in w.name)
    inside_s = 1.8 - 0.5 / 3.0 * 1.4  # back within ± 0.5 Hz on the straight way up
    assert recovery.low is not None
    assert recovery.high is not None
    assert recovery.low <= inside_s <= recovery.high
    assert recovery.value == pytest.approx(inside_s, abs=0.03)


def test_by_the_clock_the_offset_is_what_the_clocks_say_and_the_zone_is_told(run, capsys):
    path = comtrade(run, ups(run)[1], clock_s=1.5)
    assert main(["capture", str(run), str(path), "--align", "time", "--json"]) == 0
    row = json.loads(capsys.readouterr().out)
    assert row["aligned"]["offset_s"] == pytest.approx(ups(run)[1].at_s - LEAD_S + 1.5, abs=1e-3)
    assert "zone is not known" in row["aligned"]["told"]
    assert row["aligned"]["doubt_s"] == 2.0
    assert verdicts(run, "hertz_up")[1] is Outcome.SHOWN  # its own load step tells when the load moved


def test_an_offset_that_is_stated_is_taken_and_said(run, capsys):
    path = comtrade(run, ups(run)[0])
    assert main(["capture", str(run), str(path), "--offset", "7.25", "--name", "by-hand"]) == 0
    out = capsys.readouterr().out
    assert "by offset: begins at 7.250 s of the run" in out
    assert "as stated by --offset" in out
    assert [p.stem for p in captures_of(run)] == ["by-hand"]


def test_a_table_of_values_is_laid_over_by_its_own_kw(run, capsys):
    move = ups(run)[0]
    t = np.arange(0.0, 10.0, 0.02)
    kw = np.where(t < 4.0, move.before, move.after)
    rows = [f"{a:.2f},400,400,400,1,1,1,50,{b:.3f}" for a, b in zip(t, kw, strict=True)]
    table, mapping = run.parent / "a.csv", run.parent / "m.yaml"
    table.write_text("Time,U12,U23,U31,I1,I2,I3,f,P\n" + "\n".join(rows))
    shipped = Path("configs/mappings/analyser-values.yaml").read_text(encoding="utf-8")
    mapping.write_text(shipped.replace(', form: date and time, zone: "+00:00"', ""), encoding="utf-8")
    assert main(["capture", str(run), str(table), "--map", str(mapping), "--json"]) == 0
    row = json.loads(capsys.readouterr().out)
    assert row["aligned"]["offset_s"] == pytest.approx(move.at_s - 4.0, abs=0.05)
    assert row["recording"]["mapping"] == "m"


def test_the_same_recording_gives_the_same_bytes_and_no_capture_is_written_over(run, capsys):
    path = comtrade(run, ups(run)[1])
    assert main(["capture", str(run), str(path), "--name", "a"]) == 0
    assert main(["capture", str(run), str(path), "--name", "b"]) == 0
    a, b = (p.read_bytes() for p in captures_of(run))
    assert a == b
    assert main(["capture", str(run), str(path), "--name", "a"]) == 2
    assert "is there already" in capsys.readouterr().err


def test_what_was_kept_reads_back_with_hashes_of_record_and_files(run):
    path = comtrade(run, ups(run)[1])
    assert main(["capture", str(run), str(path)]) == 0
    kept = load(captures_of(run)[0])
    assert kept.hash == file_hash(run)
    assert [f["hash"] for f in kept.recording["files"]] == [file_hash(path), file_hash(path.with_suffix(".dat"))]
    assert [f["file"] for f in kept.recording["files"]] == ["made.cfg", "made.dat"]
    assert f"sha256 {kept.content_hash[:16]}" in traces_beside(run)[0][0].told
    curve = kept.curves[0]
    points = thinned(curve)
    assert len(points) <= 600
    known = dict(zip((round(t, 6) for t in curve.t_s), curve.values, strict=True))
    assert all(known[t] == v for t, v in points)
    assert min(v for _, v in points) == min(curve.values)
    assert max(v for _, v in points) == max(curve.values)


def test_a_capture_of_another_record_is_not_used_and_that_is_told(run):
    path = comtrade(run, ups(run)[1])
    assert main(["capture", str(run), str(path)]) == 0
    assert len(traces_beside(run)[0]) == 8
    with run.open("ab") as stream:
        stream.write(b"one more")
    traces, left_out = traces_beside(run)
    assert traces == ()
    assert "another hash" in left_out[0]
    with Reader(run) as reader:
        assert any(entry.what == "capture not used" for entry in trail(reader).entries)


def test_a_report_is_drawn_with_the_traces_of_a_capture_and_names_its_hash(run, tmp_path):
    without = page_of(run, tmp_path)
    second = ups(run)[1]
    assert main(["capture", str(run), str(comtrade(run, second))]) == 0
    dossier = open_run(run, ["iso8528-g2"])
    assert len(dossier.trail.traces) == 8
    with_it = page_of(run, tmp_path)
    (kept,) = captures_of(run)
    name, mark = f"{kept.parent.name}/{kept.name}", load(kept).content_hash[:16]
    assert mark in with_it
    assert name in with_it  # beside the record, with its own hash
    hertz = [t for t in dossier.trail.traces if t.quantity is Quantity.HERTZ]
    least = min(v for t in hertz for v in t.values if v == v)  # noqa: PLR0124 - NaN
    assert f"{least:.2f} (" in with_it  # the extreme in the table of transients is the capture's, not the meter's
    assert f"{least:.2f} (" not in without


def page_of(run, tmp_path):
    assert not write(open_run(run, ["iso8528-g2"]), tmp_path / "out").fault
    return (tmp_path / "out" / f"{run.stem}.html").read_text(encoding="utf-8")


def test_any_bit_turned_over_in_a_capture_is_noticed(run):
    assert main(["capture", str(run), str(comtrade(run, ups(run)[1]))]) == 0
    (kept,) = captures_of(run)
    data = kept.read_bytes()
    exponents = [m.start() for m in re.finditer(rb"(?<=[0-9])e(?=-)", data)][:3]  # an E there means the same number
    for at in (*range(0, len(data), len(data) // 20), *exponents):
        other = bytearray(data)
        other[at] ^= 0x20
        kept.write_bytes(other)
        with pytest.raises(CaptureFault):
            load(kept)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('"offset_s": 4', '"offset_s": 5', "was changed after it was kept"),
        ('"doubt_s": ', '"doubt_s": 1', "was changed after it was kept"),
        ('{"format": 1', '{"format": 9', "is no capture of form 1"),
        ('"record": {', '"recor": {', "was changed"),
        ('"content_hash"', '"hash"', "is no capture: KeyError"),
        ("{", "[", "is no capture: JSONDecodeError"),
    ],
)
def test_a_capture_that_was_altered_is_not_used(run, old, new, told):
    path = comtrade(run, ups(run)[1])
    assert main(["capture", str(run), str(path)]) == 0
    kept = captures_of(run)[0]
    text = kept.read_text()
    assert old in text
    kept.write_text(text.replace(old, new, 1))
    with pytest.raises(CaptureFault, match=told):
        load(kept)
    assert traces_beside(run)[0] == ()


@pytest.mark.parametrize(
    ("file", "more", "told"),
    [
        ("none.cfg", [], "none.cfg: no such file"),
        ("a.csv", [], "a table needs a mapping"),
        ("made.dat", [], "name its .cfg file"),
        ("made.cfg", ["--align", "time", "--offset", "3"], "leave --align time away"),
        ("made.cfg", ["--offset", "9999"], "no time in common"),
        ("made.cfg", ["--offset", "nan"], "expected a number of seconds"),
        ("made.cfg", ["--name", "../x"], "expected a plain file name"),
        ("made.cfg", ["--map", "no-such"], "no such mapping"),
    ],
)
def test_what_cannot_be_done_is_told_in_a_line_and_nothing_is_kept(run, capsys, file, more, told):
    comtrade(run, ups(run)[1], length_s=4.0)
    (run.parent / "a.csv").write_text("t,U\n")
    assert main(["capture", str(run), str(run.parent / file), *more]) == 2
    assert told in capsys.readouterr().err
    assert captures_of(run) == ()
