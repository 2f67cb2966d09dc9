"""Tables of text with a mapping: what is written, in the unit that the mapping says, and every flaw with its place."""

import math
from datetime import datetime, timedelta, timezone

import pytest

from benchctl.capture.csv_form import read_csv
from benchctl.core.ruleset import Quantity
from benchctl.files import FileFault, read_mapping
from tests.files.paper import flaws, read

ONE = "channels: [{column: U, unit: V}]"
PLAIN = "title: t\ntime: {column: t}\nchannels: [{column: U, unit: V, of: ab}, {column: f, unit: Hz}]"


def table(tmp_path, text):
    path = tmp_path / "x.csv"
    path.write_bytes(text.encode())
    return path


def told(tmp_path, text, mapping=PLAIN):
    with pytest.raises(FileFault) as fault:
        read_csv(table(tmp_path, text), read("mapping", mapping))
    (flaw,) = fault.value.flaws
    return flaw


def test_values_come_in_the_unit_that_the_mapping_says(tmp_path):
    mapping = read(
        "mapping",
        "title: t\nseparator: ';'\ndecimal: ','\nnames_in_line: 2\ntime: {column: ms, form: ms}\n"
        "channels: [{column: U, unit: kV, of: a, form: waveform}, {column: P, unit: W},"
        " {column: '3', unit: A, of: b, form: waveform, scale: 100}]",
    )  # fmt: skip
    found = read_csv(
        table(tmp_path, "\ufeffmade by hand\nms;U;clamp;P\n0;0,4;-0,5;1500\n0,5;-0,38;0,25;1600\n"), mapping
    )
    volts, power, amps = found.channels
    assert list(found.t_s) == pytest.approx([0.0, 0.0005])
    assert (volts.quantity, volts.of, volts.waveform, list(volts.values)) == (
        Quantity.VOLTS,
        "a",
        True,
        [400.0, -380.0],
    )
    assert (amps.of, list(amps.values)) == ("b", [-50.0, 25.0])
    assert (power.quantity, power.waveform, list(power.values)) == (Quantity.POWER, False, [1.5, 1.6])


def test_a_cell_without_a_value_is_missing_and_never_zero(tmp_path):
    found = read_csv(table(tmp_path, "t,U,f\n0,400,50\n1,,NaN\n2,---,n/a\n\n3,inf,50\n"), read("mapping", PLAIN))
    volts, hertz = ([*c.values] for c in found.channels)
    assert [math.isnan(v) for v in volts] == [False, True, True, True]
    assert [math.isnan(v) for v in hertz] == [False, True, True, False]


def test_a_column_of_dates_tells_when_it_began(tmp_path):
    values = ",400,400,400,1,1,1,50,1\n"
    text = f"Time,U12,U23,U31,I1,I2,I3,f,P\n2026-03-01 10:15:00.25{values}2026-03-01T10:15:00.27{values}"
    found = read_csv(table(tmp_path, text), read_mapping("analyser-values")[0])
    assert found.started == datetime(2026, 3, 1, 10, 15, 0, 250000, timezone(timedelta(0)))
    assert list(found.t_s) == pytest.approx([0.0, 0.02])
    assert {c.window_s for c in found.channels} == {0.02}


def test_without_times_the_rate_tells_them(tmp_path):
    mapping = read(
        "mapping",
        "title: t\nsamples_per_second: 2000\nnames_in_line: 0\nstarted: 2026-03-01T10:00:00+01:00\n"
        "channels: [{column: '1', unit: V, of: ab, form: waveform}]",
    )
    found = read_csv(table(tmp_path, "1\n2\n3\n"), mapping)
    assert list(found.t_s) == [0.0, 0.0005, 0.001]
    assert found.started is not None
    assert found.started.isoformat() == "2026-03-01T10:00:00+01:00"


@pytest.mark.parametrize(
    ("text", "line", "column", "words"),
    [
        ("t,U,f\n0,400,50\n1,4O0,50\n", 3, 2, "'4O0' is no number"),
        ("t,U,f\n0,400\n", 2, 3, "has 2 columns, column 3 is expected"),
        ("t,U,f\n1,400,50\n0,400,50\n", 3, 1, "time goes back to '0'"),
        ("t,U,f\n,400,50\n", 2, 1, "a row without its time"),
        ("t,U,f\n", 0, 0, "has no values from line 2 on"),
    ],
)
def test_what_is_wrong_in_the_table_is_told_with_its_place(tmp_path, text, line, column, words):
    flaw = told(tmp_path, text)
    assert (flaw.path, flaw.line, flaw.column) == (str(tmp_path / "x.csv"), line, column)
    assert words in flaw.text


def test_a_decimal_comma_where_a_point_is_said_is_hinted_at(tmp_path):
    flaw = told(tmp_path, 't,U,f\n0,"400,5",50\n')
    assert "the mapping says a decimal point" in flaw.text


def test_a_column_that_is_not_there_is_told_where_the_mapping_names_it(tmp_path):
    flaw = told(tmp_path, "t,U12,f\n0,400,50\n", PLAIN.replace("column: U,", "column: U13,"))
    assert (flaw.path, flaw.line) == ("x.yaml", 3)
    assert "no column 'U13' in line 1, did you mean 'U12'" in flaw.text
    assert "several columns 'U'" in told(tmp_path, "t,U,U,f\n0,1,2,3\n").text
    assert "says no time" in told(tmp_path, "U,f\n1,2\n", PLAIN.replace("time: {column: t}\n", "")).text
    assert "ends here" in told(tmp_path, "a\n", PLAIN + "\nvalues_from_line: 9").text


def test_other_bytes_than_text_are_told(tmp_path):
    path = tmp_path / "x.csv"
    path.write_bytes(b"t,U,f\n0,\xff\xfe,50\n")
    with pytest.raises(FileFault, match="is not UTF-8 text"):
        read_csv(path, read("mapping", PLAIN))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("title: t\nchannels: []", "at least 1 of them"),
        ("title: t\nchannels: [{column: U, unit: furlong}]", "'furlong'"),
        ("title: t\nchannels: [{column: U, unit: Hz, form: waveform}]", "a waveform is in volts or amps, not in Hz"),
        ("title: t\nchannels: [{column: U, unit: A, of: ab}]", "'ab' makes no sense for A"),
        ("title: t\nchannels: [{column: U, unit: Hz, of: a}]", "'a' makes no sense for Hz"),
        ("title: t\nchannels: [{column: U, unit: V, scale: 0.0}]", "makes everything 0"),
        ("title: t\nseparator: ','\ndecimal: ','\nchannels: [{column: U, unit: V}]", "cannot be both"),
        (f"title: t\nnames_in_line: 3\nvalues_from_line: 2\n{ONE}", "after the line of the names"),
        (f"title: t\ntime: {{column: t}}\nsamples_per_second: 10\n{ONE}", "tells the times already"),
        ("title: t\nstarted: noon\nchannels: [{column: U, unit: V}]", "is no date with a time"),
        ("title: t\ntime: {column: t, zone: CET}\nchannels: [{column: U, unit: V}]", "is no offset from UTC"),
    ],
)  # fmt: skip
def test_what_is_wrong_in_a_mapping_is_told(text, words):
    assert any(words in flaw for flaw in flaws("mapping", text)), flaws("mapping", text)
