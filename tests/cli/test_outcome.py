"""How following a run ends: its outcome, the exit code, the line for machines, and a run host that is gone."""

import asyncio
import json
from typing import Any

import pytest

from benchctl.cli import follow as room
from benchctl.cli import main
from benchctl.cli.rehearse import EXIT
from tests.cli.desk import REST, at
from tests.controller.bench import SHORT
from tests.door.rooms import until


def ended(**changes: Any) -> dict[str, Any]:
    """What the run host tells of the end of a run."""
    return {
        "outcome": "completed", "run": "/runs/a.run", "virtual_s": 61.0, "wall_s": 61.2, "planned_peak_kw": 40.0,
        "delivered_peak_kw": 39.6, "delivered_from": "units", "cool_down_s": 30.0, "trips": 0, "events": 12,
        "sealed": True, "problem": ""} | changes  # fmt: skip


@pytest.mark.parametrize("outcome", [*EXIT, "interrupted", "by hand", "not cool", "fault"])
async def test_the_outcome_is_the_exit_code_of_a_rehearsal(outcome):
    async with at(run="/runs/a.run") as desk:
        desk.client.tell("outcome", outcome, data=ended(outcome=outcome))
        assert await desk.code() == EXIT.get(outcome, 1)
        assert desk.voice.rows[0]["outcome"] == outcome


def test_the_outcome_line_has_the_fields_of_a_rehearsals(tmp_path, capsys):
    (tmp_path / "short.yaml").write_text(SHORT)
    main(["rehearse", str(tmp_path / "short.yaml"), "--site", "northquay", "--json", "--runs", str(tmp_path)])
    wanted = json.loads(capsys.readouterr().out.splitlines()[-1])

    async def follow() -> dict[str, Any]:
        async with at() as desk:
            desk.client.tell("outcome", "completed", data=ended())
            await desk.code()
            return desk.voice.rows[0]

    row = asyncio.run(follow())
    assert set(row) == set(wanted)
    assert row["wall_s"] == 61.2


@pytest.mark.parametrize(("outcome", "code"), [("completed", 1), ("tripped", 3), ("chain lost", 4)])
async def test_a_record_that_is_not_complete_is_told_and_never_good(outcome, code):
    async with at() as desk:
        full = "recording stopped after scan 12: the disk is full"
        desk.client.tell("outcome", outcome, data=ended(outcome=outcome, sealed=False, problem=full))
        assert await desk.code() == code
        assert desk.voice.heard(f"the record is not complete: {full}")
        assert not {"sealed", "problem"} & set(desk.voice.rows[0])


async def test_a_peak_that_nobody_measured_is_not_known():
    async with at() as desk:
        desk.client.tell("outcome", "interrupted", data=ended(delivered_peak_kw=None, delivered_from=""))
        await desk.code()
        assert desk.voice.texts[1] == "peak        40.0 kW planned, not known delivered"


async def test_the_outcome_of_another_run_ends_nothing():
    async with at(run="/runs/b.run") as desk:
        desk.client.tell("outcome", "by hand", data=ended(outcome="by hand"))
        desk.client.tell("outcome", "completed", data=ended(run="/runs/b.run"))
        assert await desk.code() == 0
        assert [row["run"] for row in desk.voice.rows] == ["/runs/b.run"]


@pytest.mark.parametrize("outcome", ["by hand", "not started"])
async def test_who_is_attached_stays_when_a_record_ends_because_nothing_goes_on(outcome):
    async with at() as desk:
        desk.client.tell("outcome", outcome, data=ended(outcome=outcome))
        await until(lambda: desk.voice.said)
        assert desk.voice.said[0].endswith("record closed      /runs/a.run")
        desk.client.tell("outcome", "completed", data=ended(run="/runs/b.run"))
        assert await desk.code() == 0
        assert [row["run"] for row in desk.voice.rows] == ["/runs/b.run"]


async def test_a_run_host_that_is_gone_is_told_with_what_to_do():
    async with at(run="/runs/a.run") as desk:
        desk.client.lose("the connection to the run host is lost")
        assert await desk.code() == EXIT["chain lost"]
        assert desk.voice.said == ["the connection to the run host is lost", room.LOST]
        assert desk.voice.rows == [{"outcome": "chain lost", "why": "the connection to the run host is lost"}]


async def test_a_run_host_that_ends_with_nothing_on_is_no_alarm():
    async with at(REST) as desk:
        desk.client.lose("the run host has ended: nobody needs it")
        assert await desk.code() == 0
        assert desk.voice.said == ["the run host has ended: nobody needs it; no load was on"]
