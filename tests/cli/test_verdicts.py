"""A recorded run judged for a screen: in a process of its own, by its own rule sets and others; faults in words."""

import asyncio
import sys
from dataclasses import replace

import pytest

from benchctl.assessment.plain import rows
from benchctl.cli import verdicts
from benchctl.record.assessed import assessed
from benchctl.record.reader import Reader
from benchctl.record.seal import seal_path
from benchctl.tui.view.rules import STANDINGS
from tests.record.rehearsals import PROGRAM, rehearsed


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Two short runs: the program of one names a rule set."""
    made = tmp_path_factory.mktemp("runs")
    rehearsed(made / "quay-1.run", program=replace(PROGRAM, rule_sets=("nfpa110-monthly",)))
    rehearsed(made / "quay-2.run")
    return made


async def test_another_process_says_what_assessing_says(folder):
    found = await verdicts.verdicts(folder, "quay-1", ["iso8528-g2"])
    assert (found["condition"], found["left_out"]) == ("closed", [])
    assert [told["rule_set"] for told in found["sets"]] == ["nfpa110-monthly", "iso8528-g2"]
    with Reader(folder / "quay-1.run") as reader:
        (judgement,) = assessed(reader).judgements
    monthly = found["sets"][0]
    assert monthly["standing"] == judgement.outcome.value == "not met"
    assert [(r["key"], r["standing"], r["why"]) for r in monthly["rules"]] == [
        (v.key, v.outcome.value, v.why) for v in judgement.verdicts
    ]
    assert [r["working"] for r in monthly["rules"]] == [r["working"] for r in rows(judgement)]
    assert {r["standing"] for told in found["sets"] for r in told["rules"]} <= set(STANDINGS)


def test_times_are_of_the_day_too(folder):
    (monthly,) = verdicts.judged(folder / "quay-1.run")["sets"]
    with Reader(folder / "quay-1.run") as reader:
        began = assessed(reader).trail.began
    timed = [rule for rule in monthly["rules"] if rule["from_s"] is not None]
    assert timed
    for rule in timed:
        assert rule["from_at"] == verdicts._clock(began, rule["from_s"])
        assert rule["from_at"][2] == ":"


def test_a_run_of_a_program_that_names_none_is_judged_by_those_that_are_asked_for(folder):
    assert verdicts.judged(folder / "quay-2.run")["sets"] == []
    (only,) = verdicts.judged(folder / "quay-2.run", ["nfpa110-monthly"])["sets"]
    assert only["rule_set"] == "nfpa110-monthly"


def test_a_record_without_its_seal_says_so(folder, tmp_path):
    path = tmp_path / "quay-1.run"
    path.write_bytes((folder / "quay-1.run").read_bytes())
    assert not seal_path(path).exists()
    assert verdicts.judged(path)["sealed"] is False


async def test_what_cannot_be_judged_says_why(folder, tmp_path):
    assert "there is no such run in" in (await verdicts.verdicts(folder, "quay-9"))["fault"]
    assert "no-such" in (await verdicts.verdicts(folder, "quay-1", ["no-such"]))["fault"]
    (tmp_path / "broken.run").write_bytes(b"no record")
    assert (await verdicts.verdicts(tmp_path, "broken"))["fault"].startswith("not a record")


async def test_a_process_that_fails_is_told_in_its_last_words(folder, monkeypatch):
    monkeypatch.setattr(sys, "executable", "/bin/false")
    assert "exit code 1" in (await verdicts.verdicts(folder, "quay-1"))["fault"]


async def test_whoever_goes_leaves_no_process_behind(folder, monkeypatch):
    started = []
    real = asyncio.create_subprocess_exec

    async def kept(*words, **keys):
        started.append(await real("sleep", "600", **keys))
        return started[-1]

    monkeypatch.setattr(asyncio, "create_subprocess_exec", kept)
    task = asyncio.create_task(verdicts.verdicts(folder, "quay-1"))
    while not started:  # noqa: ASYNC110 - the process is started elsewhere
        await asyncio.sleep(0.01)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert started[0].returncode is not None
