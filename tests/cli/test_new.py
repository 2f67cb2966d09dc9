"""The verb `new`, and `plan` with rule sets: what is written, what is refused in words, what is never overwritten."""

import json

import pytest

from benchctl.cli import GOOD, NOT_GOOD, USAGE, main
from benchctl.files import read_program, read_rule_set

EVERYDAY = ["nfpa110-acceptance", "nfpa110-monthly", "nfpa110-annual", "nfpa110-36-month", "nfpa110-combined"]


def rows(capsys):
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


@pytest.mark.parametrize("name", EVERYDAY)
def test_a_program_is_written_that_the_plan_finds_feasible_and_the_rule_set_satisfied(tmp_path, capsys, name):
    file = tmp_path / "test.yaml"
    assert main(["new", str(file), "--rule-set", name, "--site", "northquay"]) == GOOD
    said = capsys.readouterr()
    assert f"{file}: written" in said.out
    assert max(map(len, said.out.splitlines())) <= 250
    program, _ = read_program(str(file))
    assert program.rule_sets == (name,)
    assert main(["plan", str(file), "--site", "northquay", "--json"]) == GOOD  # by the rule set that the file names
    found = rows(capsys)
    judged = [row for row in found if row["row"] == "rule"]
    assert [row["key"] for row in judged] == [rule.key for rule in read_rule_set(name)[0].rules]
    assert not [row for row in judged if row["standing"] == "not satisfied"]
    assert found[-1]["feasible"] is True


def test_a_file_that_is_there_is_never_overwritten(tmp_path, capsys):
    file = tmp_path / "mine.yaml"
    file.write_text("mine")
    assert main(["new", str(file), "--rule-set", "nfpa110-annual", "--site", "northquay"]) == USAGE
    assert capsys.readouterr().err == f"{file}: is there already and is not overwritten; choose another name\n"
    assert file.read_text() == "mine"


def test_a_site_that_cannot_is_refused_in_words_and_nothing_is_written(tmp_path, capsys):
    """Millrace: 400 kW of units rated 415 V give 400 x (400/415)² = 371.6 kW at 400 V."""
    file = tmp_path / "test.yaml"
    assert main(["new", str(file), "--rule-set", "nfpa110-acceptance", "--site", "millrace"]) == NOT_GOOD
    said = capsys.readouterr()
    assert said.out == ""
    assert "millrace cannot satisfy nfpa110-acceptance; nothing is written" in said.err
    assert "the units give 371.6 kW at 400 V" in said.err
    assert not file.exists()


def test_json_says_what_was_written_and_how_it_is_judged(tmp_path, capsys):
    file = tmp_path / "test.yaml"
    assert main(["new", str(file), "--rule-set", "nfpa110-annual", "--site", "alder-ridge", "--json"]) == GOOD
    found = rows(capsys)
    assert {row["row"] for row in found} == {"rule", "rule set", "program"}
    assert found[-2]["least_s"] == 5400.0
    assert found[-1] | {"written": True, "site": "alder-ridge", "rule_set": "nfpa110-annual", "why": []} == found[-1]
    assert main(["new", str(tmp_path / "no.yaml"), "--rule-set", "mil608", "--site", "millrace", "--json"]) == NOT_GOOD
    (row,) = rows(capsys)
    assert (row["written"], bool(row["why"])) == (False, True)


@pytest.mark.parametrize(
    ("rule_set", "site", "told"),
    [("nfpa110-anual", "northquay", "did you mean 'nfpa110-annual'?"), ("nfpa110-annual", "northkey", "no such site")],
)
def test_names_that_are_not_there_are_usage_errors(tmp_path, capsys, rule_set, site, told):
    assert main(["new", str(tmp_path / "x.yaml"), "--rule-set", rule_set, "--site", site]) == USAGE
    assert told in capsys.readouterr().err


def test_a_folder_that_is_not_there_is_told(tmp_path, capsys):
    file = tmp_path / "no" / "x.yaml"
    assert main(["new", str(file), "--rule-set", "nfpa110-annual", "--site", "northquay"]) == USAGE
    assert capsys.readouterr().err == f"{file}: No such file or directory\n"


def test_a_rule_set_of_ones_own_is_named_by_its_path(tmp_path, capsys):
    mine = tmp_path / "mine.yaml"
    mine.write_text(
        "title: Mine\ndocument: ours\nedition: none\nrules:\n"
        "  - duty: {key: half, at_least: 50 %, for: 10 min, known: common practice}\n"
    )
    file = tmp_path / "test.yaml"
    assert main(["new", str(file), "--rule-set", str(mine), "--site", "northquay"]) == GOOD
    capsys.readouterr()
    assert main(["plan", str(file), "--site", "northquay"]) == GOOD
    assert "RULE SET  mine: Mine" in capsys.readouterr().out


def test_a_plan_is_judged_by_any_number_of_rule_sets(capsys):
    names = ["nfpa110-36-month", "nfpa110-annual"]
    assert main(["plan", "long-haul", "--site", "northquay", "--rule-set", *names]) == GOOD
    out = capsys.readouterr().out
    assert [line for line in out.splitlines() if line.startswith("RULE SET")] != []
    assert all(f"RULE SET  {name}" in out for name in names)
    assert "[8.4.9; read in the text; S5; in an accreditor's answer]" in out
    assert "adopted at the site: not" in out


def test_a_plan_that_does_not_satisfy_a_rule_set_is_no_good(capsys):
    args = ["plan", "long-haul", "--site", "northquay", "--rule-set", "nfpa110-36-month", "--rule-set", "iso8528-g2"]
    assert main(args) == NOT_GOOD
    out = capsys.readouterr().out
    assert "FEASIBLE: 0 refusals" in out
    assert "NOT satisfied   hertz_up" in out


def test_json_keeps_the_totals_last(capsys):
    assert main(["plan", "long-haul", "--site", "northquay", "--rule-set", "nfpa110-36-month", "--json"]) == GOOD
    found = rows(capsys)
    assert [row["row"] for row in found[-2:]] == ["rule set", "totals"]
    first = next(row for row in found if row["row"] == "rule")
    assert (first["standing"], first["clause"], first["known"], first["source"]) == (
        "satisfied",
        "8.4.9",
        "read in the text",
        "S5",
    )
