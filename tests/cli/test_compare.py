"""The verbs compare and history: one source, run beside run."""

import pytest

from tests.cli.verbs import Verbs
from tests.report.made import on_disk


@pytest.fixture
def verb(capsys):
    return Verbs(capsys)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    top = tmp_path_factory.mktemp("runs")
    for name, count in (("one", 40), ("two", 60)):
        (top / name).mkdir()
        on_disk(top / name, count).rename(top / f"{name}.run")
    return top


def test_two_runs_stand_side_by_side_with_the_drift(verb, folder):
    code, out, _ = verb("compare", "one", "two", "--runs", folder)
    assert code == 0
    assert "last − first" in out
    assert any(line.startswith("hottest exhaust of the units, °C") for line in out.splitlines())


def test_rows_hold_each_run_with_its_figures_and_units(verb, folder):
    code, (first, second), _ = verb.rows("compare", "one", "two", "--runs", folder)
    assert code == 0
    assert (first["source"], first["site"], second["run"]) == ("set", "trial", "two")
    assert second["figures"]["hottest exhaust of the units [°C]"] == pytest.approx(20.1 + 59)


def test_one_run_alone_is_not_compared(verb, folder):
    assert verb("compare", "one", "--runs", folder)[0] == 2


def test_the_history_of_a_source_leaves_rehearsals_out_unless_asked(verb, folder):
    code, _, said = verb("history", "--source", "set", "--runs", folder)
    assert code == 1
    assert "2 rehearsals are left out" in said
    code, found, _ = verb.rows("history", "--source", "set", "--rehearsals", "--runs", folder)
    assert code == 0
    assert [row["run"] for row in found] == ["one", "two"]
    assert verb("history", "--source", "another", "--rehearsals", "--runs", folder)[0] == 1
