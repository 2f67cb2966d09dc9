"""The table of hazards is held to the code: its causes, what the operator reads, the tests that it names."""

import re
from collections import Counter
from dataclasses import fields

import pytest

from benchctl.core.causes import ROWS
from tests.safety.evidence import ROOT, missing
from tests.safety.hazard import Hazard
from tests.safety.hazards import EACH_CAUSE, HAZARDS

NAMES = [row.key for row in HAZARDS]


@pytest.mark.parametrize("row", HAZARDS, ids=NAMES)
def test_each_test_that_a_hazard_names_is_one_that_runs(row):
    assert [why for node in row.shown if (why := missing(node))] == []
    assert row.shown
    assert max(Counter(row.shown).values()) == 1


@pytest.mark.parametrize("row", HAZARDS, ids=NAMES)
def test_what_the_operator_is_told_stands_in_the_code(row):
    assert {key for key in row.causes if key not in {cause.key for cause in ROWS}} == set()
    assert [s.words for s in row.said if s.words not in (ROOT / s.file).read_text(encoding="utf-8")] == []


@pytest.mark.parametrize("row", HAZARDS, ids=NAMES)
def test_no_cell_of_a_hazard_is_empty_and_every_sentence_has_its_end(row):
    for cell in fields(Hazard):
        text = getattr(row, cell.name)
        if cell.type is str or cell.type == "str":
            assert text.strip() == text != "", cell.name
    for text in (row.arises, row.noticed, row.bench, row.unit, row.leaves):
        assert text.endswith(".")


def test_every_cause_that_the_bench_knows_belongs_to_a_hazard():
    assert {cause.key for cause in ROWS} == {key for row in HAZARDS for key in row.causes}


def test_every_hazard_that_the_whole_bench_can_be_brought_into_is_shown_by_it():
    whole = ("tests/safety/", "tests/system/", "tests/rehearsal/", "tests/tui/", "tests/door/", "tests/mqtt/")
    files = ("record altered", "report claims too much", "hostile files", "bytes not meant")
    for row in HAZARDS:
        assert row.key in files or any(node.startswith(whole) for node in row.shown), row.key


def test_every_scene_of_this_room_is_named_by_a_hazard():
    named = {node for row in HAZARDS for node in row.shown}
    of_tables = {"test_hazards.py", "test_page.py", "test_actions.py"}
    scenes = {
        f"tests/safety/{file.name}::{name}"
        for file in (ROOT / "tests" / "safety").glob("test_*.py")
        if file.name not in of_tables
        for name in re.findall(r"^def (test_\w+)", file.read_text(encoding="utf-8"), re.MULTILINE)
    }
    assert len(scenes) >= 25
    assert scenes - named == set()


def test_keys_and_titles_are_unique_and_each_cause_is_shown():
    assert len(set(NAMES)) == len(NAMES) == len({row.title for row in HAZARDS})
    assert [why for node in EACH_CAUSE if (why := missing(node))] == []


def test_a_test_that_is_not_there_is_noticed():
    assert missing("tests/core/test_nothing.py::test_x") == "tests/core/test_nothing.py is not there"
    assert missing("tests/core/test_trim.py::test_x") == "tests/core/test_trim.py has no test test_x"
    assert missing("tests/core/worlds.py::test_x") == "tests/core/worlds.py is no file that pytest looks into"
