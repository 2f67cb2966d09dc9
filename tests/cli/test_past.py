"""The runs' folder as a screen is given it: the newest first, one opened with its trend, broken ones in their line."""

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from benchctl.cli import past
from benchctl.record.reader import CURVE, Reader
from benchctl.record.recorder import Recorder
from tests.record.bench import SETTINGS, frames, recorded


def folder(tmp_path: Path) -> Path:
    """Three runs: an old one that was copied last, a broken one, a new one."""
    for day, name, written in ((1, "old", 3), (2, "broken", 2), (3, "new", 1)):
        path = tmp_path / f"{name}.run"
        recorder = Recorder(path, SETTINGS, {"started": f"2023-11-{14 + day}T00:00:00+00:00"}, ())
        for frame in frames(12):
            recorder.write(frame)
        assert recorder.close("done", {"delivered_peak_kw": 301.3}), recorder.problem
        if name == "broken":
            path.write_bytes(b"no record")
        at_s = datetime(2023, 11, 14 + written, tzinfo=UTC).timestamp()
        os.utime(path, (at_s, at_s))
    return tmp_path


async def test_runs_come_the_newest_first_and_a_broken_one_says_what_is_wrong(tmp_path):
    rows = await past.runs(folder(tmp_path))
    assert [row["run"] for row in rows] == ["new", "broken", "old"]
    assert rows[1]["fault"] == "not a record: file is not a database"
    assert (rows[0]["outcome"], rows[0]["condition"], rows[0]["sealed"]) == ("done", "closed", True)
    assert (rows[0]["program"], rows[0]["peak_kw"]) == ("steps", 301.3)


async def test_a_folder_that_is_not_there_has_no_runs(tmp_path):
    assert await past.runs(tmp_path / "none") == []


async def test_an_open_run_has_its_events_with_the_bank_they_are_of_and_the_time_since_its_start(tmp_path):
    run = await past.run(folder(tmp_path), "new")
    assert run["events"]
    names = {unit.name for unit in SETTINGS.site.units}
    assert {event[3] for event in run["events"]} <= names
    assert [event[1] for event in run["events"]] == pytest.approx([0.0, 2.5, 5.0])
    assert run["took_s"] == pytest.approx(5.5)
    assert run["left_out"] == 0


async def test_more_events_than_a_screen_keeps_are_counted(tmp_path, monkeypatch):
    monkeypatch.setattr(past, "MOST_EVENTS", 2)
    monkeypatch.setattr(past, "SLICE", 1)
    run = await past.run(folder(tmp_path), "new")
    assert (len(run["events"]), run["left_out"]) == (2, 1)


async def test_a_run_that_has_gone_or_is_broken_is_told(tmp_path):
    where = folder(tmp_path)
    assert "there is no such run" in (await past.run(where, "gone"))["fault"]
    assert "not a record" in (await past.run(where, "broken"))["fault"]


def test_a_thinned_out_run_keeps_its_ends_its_highest_kw_and_its_lowest_hertz(tmp_path):
    with Reader(recorded(tmp_path / "a.run", frames(400))) as reader:
        scans = list(reader.scans())
        rows = reader.curve(40)
    whole = [tuple(getattr(scan, name) for name in CURVE) for scan in scans]
    assert len(rows) <= 42
    assert set(rows) <= set(whole)  # each a scan as it was
    assert (rows[0], rows[-1]) == (whole[0], whole[-1])
    times_s = [row[0] or 0.0 for row in rows]
    assert times_s == sorted(times_s)
    for column, extreme in (("delivered_kw", max), ("hertz", min)):
        at = CURVE.index(column)
        kept = [value for row in rows if (value := row[at]) is not None]
        assert extreme(kept) == extreme(row[at] for row in whole if row[at] is not None)


def test_a_short_run_is_not_thinned_out_and_an_empty_one_is_empty(tmp_path):
    with Reader(recorded(tmp_path / "a.run", frames(5))) as reader:
        assert len(reader.curve(600)) == 5
    with Reader(recorded(tmp_path / "b.run", [])) as reader:
        assert reader.curve() == []
