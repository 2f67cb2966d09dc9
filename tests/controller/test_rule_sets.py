"""Rule sets judge a plan before it starts; those that its program names are kept in the record of its run."""

import hashlib

import pytest

from benchctl.door import messages as m
from benchctl.door.server import Rejected
from benchctl.record.reader import Reader
from tests.controller.bench import SHORT, bench


def naming(name: str) -> str:
    return SHORT.replace("segments:", f"rule_sets: [{name}]\nsegments:")


async def test_the_record_keeps_the_rule_sets_that_the_program_names(tmp_path):
    async with bench(tmp_path) as here:
        told = await here.program(naming("nfpa110-monthly"))
        assert told["feasible"]
    (path,) = here.runs()
    with Reader(path) as reader:
        kept = {file.ref: file.text for file in reader.files if file.kind == "ruleset"}
        assert reader.settings.program is not None
        assert reader.settings.program.rule_sets == ("nfpa110-monthly",)
    assert "8.4.2" in kept["nfpa110-monthly"]


async def test_a_rule_set_that_is_not_there_is_told_before_anything_is_switched_on(tmp_path):
    async with bench(tmp_path) as here:
        with pytest.raises(Rejected, match=r"rule set that the program names cannot be read: .*no-such"):
            await here.program(naming("no-such"))
    assert here.runs() == []


def text_of(title: str, percent: int) -> str:
    return (
        f'title: {title}\ndocument: our own\nedition: "1"\nrules:\n'
        f"  - duty: {{key: low, at_least: {percent} %, for: 2 s, known: common practice}}\n"
    )


def sent(ref: str, text: str, **changes: str) -> m.RuleSetText:
    keys = {"ref": ref, "text": text, "sha256": hashlib.sha256(text.encode()).hexdigest()}
    return m.RuleSetText(**keys | changes)


async def test_a_plan_is_judged_by_the_rule_sets_that_came_with_it_before_anything_is_switched_on(tmp_path):
    """40 kW are more than 5 % of the nameplate, which no meter can show here, and less than 90 % of it."""
    async with bench(tmp_path) as here:
        rules = (sent("./mine.yaml", text_of("Mine", 5)), sent("other", text_of("Other", 90)))
        told = await here.program(naming("./mine.yaml"), rule_sets=rules)
        mine, other = told["verdicts"]
        assert (mine["rule_set"], mine["title"], mine["standing"]) == ("mine", "Mine", "cannot be shown")
        assert (other["rule_set"], other["standing"]) == ("other", "not satisfied")
        (rule,) = other["rules"]
        assert (rule["key"], rule["standing"], rule["known"]) == ("low", "not satisfied", "common practice, no source")
        assert rule["why"]
        assert not here.loaded()
    (path,) = here.runs()
    with Reader(path) as reader:
        kept = {file.ref: file.text for file in reader.files if file.kind == "ruleset"}
    assert kept == {"./mine.yaml": text_of("Mine", 5)}, "what the program names, as it was judged, and nothing else"


async def test_a_rule_set_that_the_program_names_and_that_did_not_come_is_read_here(tmp_path):
    async with bench(tmp_path) as here:
        (monthly,) = (await here.program(naming("nfpa110-monthly")))["verdicts"]
    assert monthly["rule_set"] == "nfpa110-monthly"
    assert monthly["edition"]
    assert {rule["clause"] for rule in monthly["rules"]} != {""}


async def test_a_rule_set_that_changed_on_its_way_or_is_broken_is_refused(tmp_path):
    async with bench(tmp_path) as here:
        with pytest.raises(Rejected, match="rule set mine did not arrive as it was sent"):
            await here.program(rule_sets=(sent("mine", text_of("Mine", 5), sha256="0" * 64),))
        with pytest.raises(Rejected, match=r"a rule set cannot be read: mine:2:1: not readable as YAML"):
            await here.program(rule_sets=(sent("mine", "title: [1\n"),))
    assert here.runs() == []


async def test_a_program_can_be_judged_without_being_chosen(tmp_path):
    async with bench(tmp_path) as here:
        told = await here.program(choose=False, rule_sets=(sent("mine", text_of("Mine", 5)),))
        assert (told["feasible"], told["verdicts"][0]["standing"]) == (True, "cannot be shown")
        assert "run" not in told
        assert here.title == ""
    assert here.runs() == []


async def test_judging_a_program_that_runs_changes_nothing_about_it(tmp_path):
    async with bench(tmp_path) as here:
        first = await here.program()
        again = await here.program(choose=False, rule_sets=(sent("mine", text_of("Mine", 5)),))
        assert again["run"] == first["run"]
        assert len(again["verdicts"]) == 1
    assert len(here.runs()) == 1
