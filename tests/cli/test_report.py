"""The verb report: the files, the rows, the exit codes."""

import shutil

import pytest

from tests.cli.verbs import Verbs
from tests.report.made import on_disk


@pytest.fixture
def verb(capsys):
    return Verbs(capsys)


def test_it_writes_the_pdf_and_the_page_into_the_folder_named(verb, tmp_path):
    run = on_disk(tmp_path)
    code, out, _ = verb("report", run, "--out", tmp_path / "a" / "b", "--rule-set", "nfpa110-monthly")
    assert code == 0
    assert (tmp_path / "a" / "b" / "trial.pdf").read_bytes().startswith(b"%PDF-")
    assert (tmp_path / "a" / "b" / "trial.html").is_file()
    assert "not demonstrated" in out or "not met" in out


def test_rows_name_the_files_the_verdicts_and_what_is_missing(verb, tmp_path):
    run = on_disk(tmp_path)
    code, (row,), _ = verb.rows("report", run, "--out", tmp_path, "--rule-set", "doe3003-record")
    assert code == 0
    assert len(row["files"]) == 5
    assert set(row["verdicts"]) == {"doe3003-record"}
    assert any("witness" in text for text in row["missing"])


def test_the_record_is_not_touched(verb, tmp_path):
    run = on_disk(tmp_path)
    before = run.read_bytes()
    verb("report", run, "--out", tmp_path / "out")
    assert run.read_bytes() == before
    beside = {p.name for p in tmp_path.glob("trial.run*")}
    assert beside - {"trial.run.lock"} == {"trial.run", "trial.run.seal"}


def test_us_letter(verb, tmp_path):
    run = on_disk(tmp_path)
    assert verb("report", run, "--out", tmp_path, "--paper", "letter", "--units", "us")[0] == 0


def test_of_an_altered_record_there_is_a_report_that_says_so(verb, tmp_path):
    run = on_disk(tmp_path)
    other = tmp_path / "other" / "trial.run"
    other.parent.mkdir()
    shutil.copy(run, other)
    seal = run.with_name("trial.run.seal").read_text().replace('"hash": "', '"hash": "0')
    other.with_name("trial.run.seal").write_text(seal)
    code, _, said = verb("report", other, "--out", tmp_path / "out")
    assert code == 1
    assert "ALTERED" in said
    assert "THE RECORD WAS ALTERED" in (tmp_path / "out" / "trial.html").read_text(encoding="utf-8")


def test_what_cannot_be_read_is_told_in_a_line(verb, tmp_path):
    code, _, said = verb("report", tmp_path / "none.run", "--out", tmp_path)
    assert code == 2
    assert len(said.splitlines()) == 1
    run = on_disk(tmp_path)
    code, _, said = verb("report", run, "--out", tmp_path, "--rule-set", "no-such")
    assert code == 2
    assert "no-such" in said


def test_without_the_typesetter_page_and_tables_are_written_and_it_is_said(verb, tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "typst", None)
    run = on_disk(tmp_path)
    code, _, said = verb("report", run, "--out", tmp_path / "out")
    assert code == 1
    assert "typesetter is not installed" in said
    assert sorted(p.suffix for p in (tmp_path / "out").iterdir()) == [".csv", ".csv", ".html", ".sha256"]


SHORT = """\
title: A short climb
check_load: false
source_cooldown: 5 s
reading_interval: 15 s
readings: [oil_kpa]
rule_sets: [nfpa110-monthly]
segments:
  - ramp: {to: 20 %, over: 5 s}
  - hold: {for: 20 s}
  - block: {to: 40 %, label: step up}
  - hold: {for: 20 s}
  - ramp: {to: 0 %, over: 5 s}
"""


@pytest.mark.slow
def test_from_the_rehearsal_to_the_checked_report(verb, tmp_path):
    (tmp_path / "short.yaml").write_text(SHORT)
    verb("rehearse", tmp_path / "short.yaml", "--site", "northquay", "--runs", tmp_path / "runs")
    code, (row,), _ = verb.rows("report", "latest", "--runs", tmp_path / "runs", "--out", tmp_path / "out")
    assert code == 0
    assert row["verdicts"] == {"nfpa110-monthly": "not met"}  # 40 s are no 30 min
    (pdf,) = (tmp_path / "out").glob("*.pdf")
    code, (checked,), _ = verb.rows("verify", pdf)
    assert (code, checked["record_sha256"]) == (0, row["record_sha256"])
    assert verb("verify", "latest", "--runs", tmp_path / "runs")[0] == 0
    text = next((tmp_path / "out").glob("*.html")).read_text(encoding="utf-8")
    for said in ("REHEARSAL", "step up", "Readings that a person took at the set", "fuel by table", "source meter"):
        assert said in text
