"""The verbs runs, show, export and replay: words for people, rows for programs, exit codes for both."""

import argparse
import importlib
import json
import sqlite3

import pytest

from benchctl.cli.voice import Voice
from benchctl.record import replay as replay_module
from benchctl.record.recorder import Recorder
from tests.record.bench import SETTINGS, decide, frames, recorded


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with one run, named by the environment."""
    monkeypatch.setenv("BENCHCTL_RUNS", str(tmp_path / "runs"))
    monkeypatch.setattr(replay_module, "decide", decide)
    recorded(tmp_path / "runs" / "trial-steps-1.run", frames(20))
    return tmp_path / "runs"


@pytest.fixture
def verb(capsys):
    """Runs a verb: exit code, standard output, standard error."""

    def call(name, *words, json_lines=False):
        module = importlib.import_module(f"benchctl.cli.{name}")
        parser = argparse.ArgumentParser()
        module.arguments(parser)
        code = module.run(parser.parse_args(words), Voice(json_lines))
        out, err = capsys.readouterr()
        return code, out, err

    return call


def rows(out):
    return [json.loads(text) for text in out.splitlines()]


def test_runs_lists_what_there_is(folder, verb):
    code, out, _ = verb("runs")
    assert (code, out.split()) == (0, ["trial-steps-1", "rehearsal", "20", "scans", "done"])
    code, out, _ = verb("runs", json_lines=True)
    (row,) = rows(out)
    assert (row["run"], row["scans"], row["outcome"], row["condition"]) == ("trial-steps-1", 20, "done", "closed")


def test_runs_goes_on_after_one_that_cannot_be_read(folder, verb):
    (folder / "bad.run").write_bytes(b"no record at all, only words")
    code, out, err = verb("runs")
    assert code == 1
    assert "trial-steps-1" in out
    assert "bad.run: not a record" in err


def test_runs_of_an_empty_folder(tmp_path, verb):
    assert verb("runs", "--runs", str(tmp_path)) == (0, "", f"no runs in {tmp_path}\n")


def test_show_tells_what_when_outcome_events_totals_and_the_check(folder, verb):
    code, out, err = verb("show", "steps")
    assert (code, err) == (0, "")
    for text in (
        "program steps at trial, closed",
        "seed             7",
        "=set load (operator)",
        "outcome: done",
        "energy_kwh               0.1",
        "record: intact, sealed",
    ):
        assert text in out
    kinds = [row["row"] for row in rows(verb("show", "latest", json_lines=True)[1])]
    assert kinds == ["run", "event", "event", "event", "event", "end", "verification"]


def test_show_of_an_interrupted_run(folder, verb):
    recorder = Recorder(folder / "other.run", SETTINGS, {}, ())
    for frame in frames(5):
        recorder.write(frame)
    recorder.flush()
    recorder._book.close()
    code, out, _ = verb("show", "other")
    assert code == 0
    assert "outcome: none, the run is interrupted" in out
    assert "record: intact, not sealed" in out


def test_show_of_an_altered_run_ends_with_1(folder, verb):
    db = sqlite3.connect(folder / "trial-steps-1.run")
    db.execute("DROP TRIGGER event_update")
    db.execute("UPDATE event SET text = 'nothing happened' WHERE n = 2")
    db.commit()
    db.close()
    code, out, _ = verb("show", "latest")
    assert code == 1
    assert "record: ALTERED" in out
    assert "event 2: does not follow" in out


def test_replay_tells_equality_by_exit_code_and_words(folder, verb, monkeypatch):
    code, out, _ = verb("replay", "latest")
    assert (code, out) == (0, "20 scans decided again, 0 gaps: all equal\n")

    def other(state, inputs, settings):
        decision = decide(state, inputs, settings)
        decision.state.units[1].fan = True
        return decision

    monkeypatch.setattr(replay_module, "decide", other)
    code, out, _ = verb("replay", "latest")
    assert code == 1
    assert "the first difference is in scan 0" in out
    assert "state after scan 0: units[1].fan: recorded False, now True" in out
    (row,) = rows(verb("replay", "latest", json_lines=True)[1])
    assert (row["equal"], row["difference"]["scan"]) == (False, 0)


def test_export_writes_a_file_once(folder, verb, tmp_path):
    out = tmp_path / "a.csv"
    code, told, _ = verb("export", "latest", "--csv", "--flavour", "comma", "--zone", "UTC", "--out", str(out))
    assert (code, told) == (0, f"{out}: 20 scans\n")
    text = out.read_bytes().decode("utf-8-sig")
    assert text.splitlines()[1].startswith("2026-10-25T00:30:00.250+00:00;0,0;0;")
    code, _, err = verb("export", "latest", "--csv", "--out", str(out))
    assert (code, err) == (2, f"{out}: exists already; choose another name\n")
    assert out.read_bytes().decode("utf-8-sig") == text


def test_export_goes_to_standard_output_without_a_file(folder, capsysbinary):
    module = importlib.import_module("benchctl.cli.export")
    parser = argparse.ArgumentParser()
    module.arguments(parser)
    assert module.run(parser.parse_args(["latest", "--csv"]), Voice(False)) == 0
    assert capsysbinary.readouterr().out.startswith(b"\xef\xbb\xbftime,elapsed_s,scan,")


def test_an_export_that_fails_half_way_leaves_no_file(folder, verb, tmp_path):
    db = sqlite3.connect(folder / "trial-steps-1.run")
    db.execute("DROP TRIGGER scan_update")
    db.execute("UPDATE scan SET raw = x'00' WHERE n = 9")
    db.commit()
    db.close()
    code, _, err = verb("export", "latest", "--csv", "--out", str(tmp_path / "a.csv"))
    assert code == 2
    assert "scan 9: inputs are damaged" in err
    assert not (tmp_path / "a.csv").exists()


@pytest.mark.parametrize("words", [("show", "nothing"), ("replay", "nothing"), ("export", "nothing", "--csv")])
def test_a_run_that_is_not_there_ends_with_2_and_one_line(folder, verb, words):
    code, out, err = verb(*words)
    assert (code, out) == (2, "")
    assert err == f"'nothing': no such run in {folder} (latest there: trial-steps-1)\n"


def test_an_unknown_zone_ends_with_2(folder, verb):
    code, _, err = verb("export", "latest", "--csv", "--zone", "Mars/Base")
    assert code == 2
    assert "--zone 'Mars/Base': no such time zone" in err
