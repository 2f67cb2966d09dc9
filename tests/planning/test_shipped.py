"""The shipped programs planned at the shipped sites, and the verb."""

import argparse
import json

import pytest

from benchctl.cli import plan as verb
from benchctl.cli.voice import Voice
from benchctl.files import FileFault, names, read_program, read_site
from benchctl.planning import plan

# program, site: what must be refused there; nothing = feasible
REFUSED = {("ladder", "millrace"): {"capacity"}}
FEASIBLE = [
    ("ladder", "northquay"),
    ("ladder", "alder-ridge"),
    ("long-haul", "northquay"),
    ("blocks", "northquay"),
    ("fine-steps", "northquay"),
    ("operator-walk", "northquay"),
]


def run(program, site, *, as_json=False):
    """The verb's exit code."""
    return verb.run(argparse.Namespace(program=program, site=site, rule_set=[]), Voice(json_lines=as_json))


@pytest.mark.parametrize("site", names("site"))
@pytest.mark.parametrize("program", names("program"))
def test_every_shipped_program_is_planned_at_every_shipped_site(program, site):
    drawn = plan(read_site(site)[0], read_program(program)[0])
    assert drawn.legs
    assert drawn.totals.length_s > 0.0
    assert all(link.scan_s <= drawn.scan_period_s for link in drawn.links)


@pytest.mark.parametrize(("program", "site"), FEASIBLE)
def test_a_plan_that_works_exits_with_0(program, site, capsys):
    assert run(program, site) == 0
    out = capsys.readouterr().out
    assert out.splitlines()[-1].startswith("FEASIBLE")
    assert max(map(len, out.splitlines())) <= 110


@pytest.mark.parametrize(("program", "site"), REFUSED)
def test_a_plan_that_cannot_work_is_refused_with_the_reason(program, site, capsys):
    assert run(program, site) == 1
    out = capsys.readouterr().out
    assert out.splitlines()[-1].startswith("NOT FEASIBLE")
    # 400 kW of units rated 415 V on 400 V: 400 x (400/415)² = 371.6 kW.
    assert "371.6 kW at 400 V" in out
    assert "28.4 kW are missing" in out
    drawn = plan(read_site(site)[0], read_program(program)[0])
    assert {f.key for f in drawn.findings if f.severity.value == "refusal"} == REFUSED[program, site]


def test_json_has_one_row_for_each_leg_and_ends_with_the_totals(capsys):
    assert run("ladder", "northquay", as_json=True) == 0
    found = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    legs = [row for row in found if row["row"] == "segment"]
    assert [row["number"] for row in legs] == list(range(1, len(legs) + 1))
    assert found[-1]["row"] == "totals"
    assert found[-1]["feasible"] is True
    assert found[-1]["length_s"] == sum(row["length_s"] for row in legs)


def test_a_missing_file_is_no_traceback():
    with pytest.raises(FileFault, match="no such program"):
        run("no-such-program", "northquay")
