"""CSV that a spreadsheet reads as it is meant, and that reads back exactly. Python's csv module is the reader."""

import codecs
import csv
import dataclasses
import io
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.core.decision import Event
from benchctl.record.channels import headings
from benchctl.record.export import COMMA, FLAVOURS, POINT, cell, csv_lines, line, moment
from benchctl.record.reader import Reader
from tests.record.bench import SITE, START_S, frames, recorded

BERLIN = ZoneInfo("Europe/Berlin")
MOMENT_NS = 1_792_888_200 * 10**9  # 2026-10-25T00:30:00Z, the first of two half past two of that night in Berlin


def table(text, flavour):
    return list(csv.reader(io.StringIO(text, newline=""), delimiter=flavour.separator))


def number(text, flavour):
    return float(text.replace(flavour.decimal, "."))


LINK = '"\'=HYPERLINK(""http://x"",""ok"")"'


@pytest.mark.parametrize(
    ("flavour", "expected"),
    [
        (POINT, f"2026-10-25T02:30:00.000+02:00,-0.02,9.1,{LINK},'-5 kW drift noted,Jürgen-Straße µ\r\n"),
        (COMMA, f"2026-10-25T02:30:00.000+02:00;-0,02;9,1;{LINK};'-5 kW drift noted;Jürgen-Straße µ\r\n"),
    ],
)
def test_F3_the_row_of_the_case_in_both_flavours(flavour, expected):
    notes = ('=HYPERLINK("http://x","ok")', "-5 kW drift noted", "Jürgen-Straße µ")
    row = (moment(MOMENT_NS, BERLIN), -0.02, 9.10, *notes)
    assert line(row, flavour) == expected


def test_F3_a_file_starts_with_the_mark_of_utf_8(tmp_path):
    with Reader(recorded(tmp_path / "a.run", frames(3))) as reader:
        data = "".join(csv_lines(reader, POINT)).encode()
    assert data.startswith(b"\xef\xbb\xbf")
    assert data.startswith(codecs.BOM_UTF8)


def test_the_hour_that_comes_twice_is_told_apart_by_its_offset():
    assert moment(MOMENT_NS, BERLIN).endswith("02:30:00.000+02:00")
    assert moment(MOMENT_NS + 3600 * 10**9, BERLIN).endswith("02:30:00.000+01:00")


@given(st.floats(allow_nan=False, allow_infinity=False), st.sampled_from([POINT, COMMA]))
def test_numbers_are_never_quoted_or_prefixed_and_read_back_exactly(value, flavour):
    text = cell(value, flavour)
    assert text[0] in "-0123456789"
    assert flavour.separator not in text
    assert number(text, flavour) == value


@given(st.lists(st.text(st.characters(codec="utf-8")), min_size=1, max_size=4), st.sampled_from([POINT, COMMA]))
def test_text_reads_back_exactly_and_never_starts_a_formula(texts, flavour):
    written = line(["x", *texts], flavour)
    ((_, *found),) = table(written, flavour)
    assert not any(text.startswith(tuple("=+-@\t\r")) for text in found)
    assert [text.removeprefix("'") for text in found] == texts


@pytest.mark.parametrize("name", sorted(FLAVOURS))
def test_reading_a_file_back_reproduces_every_value(tmp_path, name):
    flavour = FLAVOURS[name]
    made = frames(60)
    with Reader(recorded(tmp_path / "a.run", made)) as reader:
        text = "".join(csv_lines(reader, flavour, BERLIN))
    heads, *rows = table(text.removeprefix("\ufeff"), flavour)
    assert heads == headings(SITE)
    assert len(rows) == 60
    columns = {head: [row[i] for row in rows] for i, head in enumerate(heads)}

    def same(head, expected):
        assert [number(t, flavour) if t else None for t in columns[head]] == expected, head

    assert [datetime.fromisoformat(t).timestamp() for t in columns["time"]] == [START_S + i / 2 for i in range(60)]
    same("elapsed_s", [i / 2 for i in range(60)])
    same("delivered_kw", [f.decision.seen.delivered_kw for f in made])
    same("volts_v", [None] * 60)
    same("bank 1 exhaust_c", [f.inputs.units[0].exhaust_c for f in made])
    same("bank 2 measured_kw", [f.inputs.units[1].electrical.power_kw for f in made])
    same("bank 1 airflow", [None if i % 7 == 0 else 1.0 for i in range(60)])
    same("bank 1 age_s", [None if i == 0 else 0.5 if i % 7 == 0 else 0.0 for i in range(60)])
    same("source meter volts_ab", [f.inputs.instruments[0].electrical.volts_ll[0] for f in made])
    same("source meter power_kw", [f.inputs.instruments[0].electrical.power_kw for f in made])
    assert [t for t in columns["events"] if t] == ["'=set load"] * 12


def test_commanded_and_read_back_are_kw_of_the_stages_at_rated_volts(tmp_path):
    # Stages of the trial profile: 1, 10 and 4 kW; a load is their bit mask.
    kw = [0.0, 1.0, 10.0, 11.0, 4.0, 5.0, 14.0, 15.0]
    with Reader(recorded(tmp_path / "a.run", frames(30))) as reader:
        heads, *rows = table("".join(csv_lines(reader, POINT)).removeprefix("\ufeff"), POINT)
    read_back = [row[heads.index("bank 2 read_back_rated_kw")] for row in rows]
    commanded = [row[heads.index("bank 1 commanded_rated_kw")] for row in rows]
    raised = [row[heads.index("bank 2 commanded_rated_kw")] for row in rows]
    assert [float(t) for t in read_back] == pytest.approx([kw[i % 8] for i in range(30)], abs=1e-9)
    kept = [0.0 if i % 7 == 0 else kw[i % 8] for i in range(30)]
    assert [float(t) for t in commanded] == pytest.approx(kept, abs=1e-9)
    assert [float(t) for t in raised] == pytest.approx([15.0] * 30, abs=1e-9)


def test_only_what_an_instrument_reports_has_a_column():
    found = [head for head in headings(SITE) if head.startswith("source meter")]
    assert found == [f"source meter {name}" for name in ("volts_ab", "power_kw", "hertz", "age_s")]


def test_several_events_of_one_scan_share_its_cell(tmp_path):
    made = frames(2)
    both = (Event("remark", "one"), Event("remark", "-two; three"))
    made[1] = dataclasses.replace(made[1], decision=dataclasses.replace(made[1].decision, events=both))
    with Reader(recorded(tmp_path / "a.run", made)) as reader:
        rows = table("".join(csv_lines(reader, COMMA)).removeprefix("\ufeff"), COMMA)
    assert rows[2][-1] == "one | -two; three"
