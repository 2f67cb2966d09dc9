"""COMTRADE: the sample files of the library that reads it (MIT, see samples/LICENSE.md), and files written here.

Expected values of the samples are worked out by hand from their text: value = a x + b, times primary over secondary.
"""

import shutil
import struct
from contextlib import suppress
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchctl.capture.comtrade_form import read_comtrade
from benchctl.capture.curves import curves_of
from benchctl.core.ruleset import Quantity
from benchctl.files import FileFault
from tests.capture.signals import three, times, write_comtrade
from tests.files.paper import read

SAMPLES = Path(__file__).parent / "samples"
A, B, RATIO = 0.1138916015625, 0.05694580078125, 933.0
IA = [-83, -15, 55, 122, 182]
IB = [68, 5, -53, -96, -119]


@pytest.mark.parametrize("name", ["sample_ascii.cfg", "sample_ascii.cff"])
def test_the_ascii_samples_read_as_their_text_says(name):
    found = read_comtrade(SAMPLES / name)
    ia, ib, ic = found.channels
    assert [(c.name, c.quantity, c.of, c.waveform) for c in (ia, ib, ic)] == [
        ("IA", Quantity.AMPS, "a", True), ("IB", Quantity.AMPS, "b", True), ("IC", Quantity.AMPS, "c", True),
    ]  # fmt: skip
    assert list(ia.values[:5]) == pytest.approx([(A * x + B) * RATIO for x in IA], rel=1e-9)
    assert list(ib.values[:5]) == pytest.approx([(A * x + B) * RATIO for x in IB], rel=1e-9)
    assert len(found.t_s) == 40
    assert list(found.t_s[:3]) == pytest.approx([0.0, 1 / 1200, 2 / 1200])
    assert found.nominal_hz == 60.0
    assert found.started == datetime(2011, 1, 12, 5, 55, 30, 75011, timezone(-timedelta(hours=5, minutes=30)))
    assert any("933 / 1" in note for note in found.notes)
    assert any("3I0 is left out" in note for note in found.notes)


def test_the_binary_samples_agree_with_the_text_ones():
    """The same currents in 16 bits: a finer a, so the same to its resolution."""
    text, binary = (read_comtrade(SAMPLES / n) for n in ("sample_ascii.cfg", "sample_iso8859-1_bin.cfg"))
    for a, b in zip(text.channels, binary.channels, strict=True):
        assert np.array(b.values) == pytest.approx(np.array(a.values), abs=A * RATIO)
    kilovolts = read_comtrade(SAMPLES / "sample_bin.cfg")
    assert [(c.name, c.of, len(c.values)) for c in kilovolts.channels] == [
        ("VA", "a", 5),
        ("VB", "b", 5),
        ("VC", "c", 5),
    ]
    assert kilovolts.channels[0].values[0] == pytest.approx(-9038.626171)  # 1000 × 0.000361849 × the first word


def test_the_float_sample_reads_with_a_mapping():
    mapping = read("mapping", "title: t\nchannels: [{column: test/out1, unit: V, of: ab}]")
    found = read_comtrade(SAMPLES / "sample_float32.cff", mapping)
    assert found.form == "COMTRADE 2013 FLOAT32 in one file"
    assert len(found.t_s) == 301
    assert list(found.t_s[:2]) == pytest.approx([0.0, 0.01])
    data = (SAMPLES / "sample_float32.cff").read_bytes().split(b"DAT FLOAT32: 4214 ---", 1)[1].lstrip(b"\r\n")
    rows = [struct.unpack_from("<IIfH", data, 14 * k) for k in range(301)]  # number, time, value, status word
    assert list(found.channels[0].values) == pytest.approx([row[2] for row in rows])
    with pytest.raises(FileFault, match="unit 'none'"):
        read_comtrade(SAMPLES / "sample_float32.cff")


@pytest.mark.parametrize("kind", ["ascii", "bin"])
def test_values_that_the_file_marks_as_missing_are_missing(tmp_path, kind):
    shutil.copy(SAMPLES / f"sample_{kind}.cfg", tmp_path / "x.cfg")
    shutil.copy(SAMPLES / f"sample_{kind}_missing.dat", tmp_path / "x.dat")
    found = read_comtrade(tmp_path / "x.cfg")
    whole = read_comtrade(SAMPLES / f"sample_{kind}.cfg")
    gone = [k for c in found.channels for k, v in enumerate(c.values) if np.isnan(v)]
    assert gone
    for a, b in zip(found.channels, whole.channels, strict=True):
        same = ~np.isnan(np.array(a.values))
        assert np.array(a.values)[same] == pytest.approx(np.array(b.values)[same])


WAVES = three(times(0.4, 2_000.0), 230.0, 100.0, 50.0)
NAMES = {"volts_a": "UA", "volts_b": "UB", "volts_c": "UC", "amps_a": "IA", "amps_b": "IB", "amps_c": "IC"}
NAMED = {NAMES[k]: v for k, v in WAVES.items()}


@pytest.mark.parametrize("form", ["ASCII", "BINARY", "BINARY32", "FLOAT32"])
@pytest.mark.parametrize(("revision", "one"), [("1991", False), ("1999", False), ("2013", False), ("2013", True)])
def test_each_form_and_revision_gives_back_the_waveforms(tmp_path, form, revision, one):
    t = times(0.4, 2_000.0)
    path = write_comtrade(tmp_path, t, NAMED, 2000, form, revision, one=one)
    found = read_comtrade(path)
    assert found.form.startswith(f"COMTRADE {revision} {form}")
    assert np.array(found.t_s) == pytest.approx(t, abs=1e-9)
    close = 1e-4 if form in ("ASCII", "BINARY") else 1e-6
    for channel in found.channels:
        wave = NAMED[channel.name]
        values = np.array(channel.values)
        known = ~np.isnan(values)  # in 1991 the word FFFF, which is -1, marks a missing value
        assert known.sum() >= len(t) - (12 if revision == "1991" and form == "BINARY" else 0)
        assert values[known] == pytest.approx(wave[known], abs=close * np.max(np.abs(wave)))


def test_time_stamps_count_where_there_is_no_rate(tmp_path):
    t = times(0.4, 2_000.0)
    found = read_comtrade(write_comtrade(tmp_path, t, NAMED, 2000, stamps=True))
    assert np.array(found.t_s) == pytest.approx(t, abs=1e-6)


def test_units_scale_and_secondary_values_go_to_the_primary_side(tmp_path):
    t = times(0.4, 2_000.0)
    kilo = {"UA": NAMED["UA"] / 1000.0, "IA": NAMED["IA"] / 100.0}
    path = write_comtrade(tmp_path, t, kilo, 2000, "FLOAT32", units={"UA": "kV"}, side="S", ratio=(500, 5))
    (volts, amps), notes = (found := read_comtrade(path)).channels, found.notes
    assert np.max(np.abs(volts.values)) == pytest.approx(100.0 * 230.0 * np.sqrt(2.0), rel=1e-3)
    assert np.max(np.abs(amps.values)) == pytest.approx(100.0 * np.sqrt(2.0), rel=1e-3)
    assert sum("500 / 5" in note for note in notes) == 2


def test_a_trend_of_rms_values_is_no_waveform(tmp_path):
    t = times(20.0, 10.0)
    path = write_comtrade(tmp_path, t, {"UAB": 400.0 + 0.0 * t, "IA": 10.0 + t}, 10, units={"UAB": "V"})
    path.write_text(path.read_text().replace("UAB,B,", "UAB,AB,"))
    found = read_comtrade(path)
    assert [(c.of, c.waveform) for c in found.channels] == [("ab", False), ("a", False)]
    assert any("as values" in note for note in found.notes)
    curves, _ = curves_of(found, 50.0)
    assert [c.name for c in curves] == ["volts AB", "amps A"]
    assert [c.refresh_s for c in curves] == pytest.approx([0.1, 0.1])


def test_data_that_end_early_are_not_filled_up_with_zeros(tmp_path):
    for form in ("ASCII", "BINARY"):
        path = write_comtrade(tmp_path, times(0.4, 2_000.0), NAMED, 2000, form, name=form)
        data = path.with_suffix(".dat")
        whole = data.read_bytes()
        lines = whole.splitlines(keepends=True)
        data.write_bytes(b"".join(lines[:500]) if form == "ASCII" else whole[: len(whole) * 500 // 800 + 3])
        found = read_comtrade(path)
        assert {len(found.t_s), *(len(c.values) for c in found.channels)} == {500}
        assert "the data end after 500 of 800 samples" in found.notes


@pytest.mark.parametrize(
    ("old", "new", "line", "told"),
    [
        ("Yard,Recorder,2013", "Yard", 1, "1 fields; expected station"),
        ("Yard,Recorder,2013", "Yard,Recorder,2031", 1, "revision '2031'"),
        ("6,6A,0D", "7,6A,0D", 2, "7 channels in all, but 6 analog"),
        ("6,6A,0D", "six", 2, "1 fields"),
        ("6,6A,0D", "6,6,0", 2, "as 8,4A,4D"),
        ("1,1,P\n2,UB", "1,1,P,9\n2,UB", 3, "14 fields; an analog channel has"),
        ("\n50\n", "\nfifty\n", 9, "'fifty' is no number, expected the line frequency"),
        ("2000,800", "2000", 11, "1 fields; expected a sampling rate"),
        ("2000,800", "2000,0", 11, "a recording without samples"),
        ("01/03/2026,10:00:05.000000\n", "yesterday\n", 12, "expected the time of the first sample"),
        ("01/03/2026,10:00:05.000000\n", "30/02/2026,10:00:05.0\n", 12, "as dd/mm/yyyy,hh:mm:ss"),
        ("2000,800", "2000,8000000000", 11, "more than can be read"),
        ("2000,800", "2000,inf", 11, "'inf' is no number"),
        ("\nASCII\n", "\nASKII\n", 14, "data form 'ASKII', expected one of"),
    ],
)  # fmt: skip
def test_what_is_wrong_in_the_configuration_is_told_with_its_line(tmp_path, old, new, line, told):
    path = write_comtrade(tmp_path, times(0.4, 2_000.0), NAMED, 2000)
    text = path.read_text().replace("\r\n", "\n")
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(FileFault) as fault:
        read_comtrade(path)
    (flaw,) = fault.value.flaws
    assert (flaw.path, flaw.line) == (str(path), line)
    assert told in flaw.text


@pytest.mark.parametrize(
    ("number", "text", "told"),
    [(3, "3,1000,1,2,3", "5 fields, expected 8"), (5, "5,2000,1,2,x,4,5,6", "'x' is no number")],
)
@pytest.mark.parametrize("one", [False, True])
def test_what_is_wrong_in_text_data_is_told_with_its_line(tmp_path, number, text, told, one):
    path = write_comtrade(tmp_path, times(0.4, 2_000.0), NAMED, 2000, one=one)
    data = path if one else path.with_suffix(".dat")
    lines = data.read_text().splitlines()
    first = lines.index("--- file type: DAT ASCII ---") + 1 if one else 0
    lines[first + number - 1] = text
    data.write_text("\n".join(lines))
    with pytest.raises(FileFault) as fault:
        read_comtrade(path)
    (flaw,) = fault.value.flaws
    assert (flaw.path, flaw.line) == (str(data), first + number)
    assert told in flaw.text


def test_a_missing_part_is_named(tmp_path):
    path = write_comtrade(tmp_path, times(0.4, 2_000.0), NAMED, 2000)
    path.with_suffix(".dat").unlink()
    with pytest.raises(FileFault, match=r"its data file made\.dat is not beside it"):
        read_comtrade(path)
    other = tmp_path / "x.cff"
    other.write_text("nothing")
    with pytest.raises(FileFault, match="is it a CFF file"):
        read_comtrade(other)


def test_a_channel_that_a_mapping_names_wrongly_is_told_with_the_nearest():
    mapping = read("mapping", "title: t\nchannels: [{column: IAA, unit: A, of: a}]")
    with pytest.raises(FileFault, match="no analog channel 'IAA', did you mean 'IA'"):
        read_comtrade(SAMPLES / "sample_ascii.cfg", mapping)


def test_a_clock_in_whole_seconds_is_read(tmp_path):
    path = write_comtrade(tmp_path, times(0.4, 2_000.0), NAMED, 2000, started="01/03/2026,10:00:05")
    found = read_comtrade(path)
    assert found.started is not None
    assert found.started.isoformat() == "2026-03-01T10:00:05+01:00"


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(["sample_ascii.cfg", "sample_bin.cfg", "sample_float32.cff", "sample_ascii.cff"]), st.data())
def test_a_damaged_file_is_read_or_told_of_in_words(tmp_path, name, data):
    """A byte changed, a stretch lost or doubled: never anything but a recording or a FileFault."""
    for sample in (SAMPLES / name, (SAMPLES / name).with_suffix(".dat")):
        if sample.exists():
            shutil.copy(sample, tmp_path / sample.name)
    whole = (SAMPLES / name).read_bytes()
    at = data.draw(st.integers(0, min(len(whole), 900) - 1))
    length = data.draw(st.integers(0, 12))
    put = data.draw(
        st.one_of(st.binary(max_size=4), st.sampled_from([b",", b"\n", b"9", b"-", b"0", b"e9", whole[at : at + 30]]))
    )
    (tmp_path / name).write_bytes(whole[:at] + put + whole[at + length :])
    with suppress(FileFault):
        found = read_comtrade(tmp_path / name)
        assert all(len(c.values) == len(found.t_s) for c in found.channels)
