"""Rule sets that a program names: kept in the record of its run, as they were when it was chosen."""

import pytest

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
