"""`benchctl assess`: words for people, rows for programs, exit codes, and verdicts that lie beside the record."""

import hashlib
import json
from dataclasses import replace

import pytest

from benchctl.cli import main
from benchctl.cli.assess import tell_verdicts
from benchctl.cli.voice import Voice
from benchctl.record.assessed import assessed, verdicts_path
from benchctl.record.reader import Reader
from benchctl.record.verify import verify
from tests.record.rehearsals import PROGRAM, rehearsed

SHOWN = """\
title: What was done
document: our own
edition: "1"
rules:
  - duty: {key: low, at_least: 34 %, for: 50 s, known: common practice}
  - rest: {key: cool, for: 30 s, known: common practice}
"""
PROGRAM_FILE = """\
title: Short
load_is: source total
rounding: at least
check_load: false
rule_sets: [RULES]
segments:
  - ramp: {to: 35 %, over: 5 s}
  - hold: {for: 55 s, starts: in band}
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with one short run, whose program names a rule set."""
    made = tmp_path_factory.mktemp("runs")
    rehearsed(made / "quay-1.run", program=replace(PROGRAM, rule_sets=("nfpa110-monthly",)))
    return made


@pytest.fixture
def call(folder, capsys):
    """Runs the command line on that folder: exit code, standard output, standard error."""

    def run(*words):
        code = main(["assess", *words, "--runs", str(folder)])
        return code, *capsys.readouterr()

    return run


def test_the_rule_sets_of_the_program_are_taken_and_every_verdict_has_its_working(call):
    code, out, err = call("quay-1")
    assert (code, err) == (1, "")
    assert "NOT MET: Monthly exercise" in out
    assert "exercise: at least 30 % of nameplate kW for 30 min" in out
    assert "limit quoted elsewhere; clause 8.4.2; S3" in out
    assert "= time in limits" in out
    assert "least: 30 % × 400 kW ÷ 100: 120 kW" in out
    assert "Acceptance is the authority's" in out
    assert "Note: the edition adopted at the site is not stated" in out
    brief = call("quay-1", "--brief")[1]
    assert "= time in limits" not in brief


def test_rows_are_one_a_verdict_and_complete_in_themselves(call):
    code, out, _ = call("quay-1", "--rule-set", "nfpa110-monthly", "--rule-set", "iso8528-g2", "--json")
    found = [json.loads(line) for line in out.splitlines()]
    assert code == 1
    assert {row["rule_set"] for row in found} == {"nfpa110-monthly", "iso8528-g2"}
    (exercise,) = [row for row in found if row["rule"] == "exercise"]
    assert (exercise["outcome"], exercise["judged"], exercise["clause"]) == ("not met", "not met", "8.4.2")
    assert exercise["edition"] == "2010 and later, quoted from 2019"
    assert (exercise["known"], exercise["source"]) == ("quoted elsewhere", "S3")
    timed = exercise["working"][0]
    assert timed["unit"] == "s"
    assert timed["low"] == timed["value"] <= timed["high"] < 1800.0
    assert timed["value"] == exercise["to_s"] - exercise["from_s"]
    assert {row["outcome"] for row in found} == {"shown", "not met", "not demonstrated"}


def test_all_shown_is_exit_0(call, tmp_path):
    (tmp_path / "mine.yaml").write_text(SHOWN)
    code, out, _ = call("latest", "--rule-set", str(tmp_path / "mine.yaml"))
    assert code == 0
    assert "SHOWN: What was done (mine; our own 1)" in out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("nothing",), "no such run"),
        (("quay-1", "--rule-set", "nfpa110-montly"), "nfpa110-monthly"),
    ],
)
def test_what_cannot_be_read_is_exit_2_in_words(call, words, told):
    code, out, err = call(*words)
    assert (code, out) == (2, "")
    assert told in err
    assert "Traceback" not in err


def test_without_any_rule_set_the_shipped_ones_are_told(tmp_path, capsys):
    rehearsed(tmp_path / "bare.run")
    assert main(["assess", "bare", "--runs", str(tmp_path)]) == 2
    assert "names no rule set: name one with --rule-set; shipped:" in capsys.readouterr().err


def test_kept_verdicts_name_the_record_s_hash_and_alter_nothing(call, folder):
    path = folder / "quay-1.run"
    before = path.read_bytes()
    code, _, err = call("quay-1", "--save")
    assert (code, f"kept in {verdicts_path(path)}" in err) == (1, True)
    assert path.read_bytes() == before
    assert verify(path).intact
    kept = json.loads(verdicts_path(path).read_text())
    assert kept["hash"] == hashlib.sha256(before).hexdigest()
    assert kept["rule_sets"][0]["name"] == "nfpa110-monthly"
    assert {row["rule"] for row in kept["verdicts"]} >= {"exercise", "readings", "cool_down", "papers"}
    figures = {one["name"] for one in kept["figures"]}
    assert figures >= {"energy", "largest load, of nameplate kW", "average load", "fuel by table"}


def test_a_rehearsal_tells_its_verdicts_and_keeps_the_rule_set_as_it_was(tmp_path, capsys):
    rule_set, program, runs = tmp_path / "mine.yaml", tmp_path / "short.yaml", tmp_path / "runs"
    rule_set.write_text(SHOWN)
    program.write_text(PROGRAM_FILE.replace("RULES", str(rule_set)))
    assert main(["rehearse", str(program), "--site", "northquay", "--runs", str(runs)]) == 0
    out = capsys.readouterr().out
    assert "verdict     mine:" in out
    (path,) = runs.glob("*.run")
    rule_set.write_text(SHOWN.replace("50 s", "50 h"))  # the run is judged by what was agreed, not by what came later
    with Reader(path) as reader:
        found = assessed(reader)
    assert found.judgements[0].verdicts[0].criterion == "at least 34 % of nameplate kW for 50 s"
    rule_set.unlink()
    assert tell_verdicts(path, Voice(json_lines=True)) == [
        {"rule_set": "mine", "outcome": found.judgements[0].outcome.value}
    ]


def test_a_rehearsal_by_a_rule_set_that_is_not_there_does_not_begin(tmp_path, capsys):
    program = tmp_path / "short.yaml"
    program.write_text(PROGRAM_FILE.replace("RULES", "no-such"))
    assert main(["rehearse", str(program), "--site", "northquay", "--runs", str(tmp_path / "runs")]) == 2
    assert "no such ruleset" in capsys.readouterr().err
    assert not (tmp_path / "runs").exists()


def test_a_record_that_cannot_be_read_is_only_told_at_the_end_of_a_run(tmp_path, capsys):
    (tmp_path / "a.run").write_text("no record")
    assert tell_verdicts(tmp_path / "a.run", Voice(json_lines=False)) == []
    assert "not assessed" in capsys.readouterr().err
