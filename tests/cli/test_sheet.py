"""The verb sheet: rows for the readings that will fall due, and fuel against the tank."""

import pytest

from benchctl.core.readings import BY_NAME
from benchctl.files import read_program
from benchctl.report.sheet import moments, names
from tests.cli.verbs import Verbs


@pytest.fixture
def verb(capsys):
    return Verbs(capsys)


def test_the_sheet_has_the_programs_gauges_and_what_is_always_of_use(verb):
    code, out, _ = verb("sheet", "ladder", "--site", "northquay")
    assert code == 0
    for said in ("oil pressure, kPa", "coolant temperature, °C", "starting battery, V", "air outside, °C", "target kW"):
        assert said in out
    assert "The program needs about" in out


def test_rows_are_due_at_the_begin_of_a_hold_at_the_interval_and_at_its_end():
    # the acceptance profile of 30/30/60 min at 15 min: 3 + 3 + 5 = 11 with both ends of each hold (computed)
    from benchctl.core.legs import lay_out
    from benchctl.core.program import Hold, Program, Target

    holds = tuple(Hold(60.0 * minutes, Target(kw)) for minutes, kw in ((30, 120.0), (30, 200.0), (60, 400.0)))
    program = Program("acceptance", "", holds, reading_interval_s=900.0)
    found = moments(program, lay_out(program, 400.0))
    assert [at_s for at_s, _ in found] == [0, 900, 1800, 1800, 2700, 3600, 3600, 4500, 5400, 6300, 7200]


def test_a_program_that_asks_for_no_readings_gets_those_of_common_practice():
    program, _ = read_program("blocks")
    assert not program.readings
    assert {"oil_kpa", "coolant_c", "battery_v", "fuel_percent"} <= set(names(program)) <= BY_NAME.keys()


def test_without_a_site_there_is_neither_kw_nor_fuel(verb):
    code, out, _ = verb("sheet", "ladder")
    assert code == 0
    assert "target kW" not in out
    assert "No estimate of fuel" in out


@pytest.mark.parametrize(
    ("ending", "begin"), [("pdf", b"%PDF-"), ("html", b"<!DOCTYPE html>"), ("txt", b"READING SHEET")]
)
def test_it_is_written_in_three_forms_always_the_same(verb, tmp_path, ending, begin):
    files = [tmp_path / f"{i}.{ending}" for i in (1, 2)]
    for file in files:
        assert verb("sheet", "ladder", "--site", "alder-ridge", "--units", "us", "--out", file)[0] == 0
    assert files[0].read_bytes().startswith(begin)
    assert files[0].read_bytes() == files[1].read_bytes()


def test_an_ending_that_is_none_of_ours_is_refused(verb, tmp_path):
    code, _, said = verb("sheet", "ladder", "--out", tmp_path / "a.doc")
    assert code == 2
    assert "expected .pdf, .html or .txt" in said
