"""The table that goes with a report, read back by the csv module of Python: case F3, spreadsheets and what they do."""

import csv
import io
import json
import math
from datetime import datetime

import pytest

from benchctl.record.export import COMMA, POINT
from benchctl.report.figures import COLUMNS, self_hash, tables, verdicts
from tests.report.made import made, made_run, made_trail


def lines(dossier, flavour):
    return (part for (part,) in tables(dossier, (flavour,)))


def rows(dossier, flavour):
    text = "".join(lines(dossier, flavour))
    assert text.encode()[:3] == b"\xef\xbb\xbf"
    return list(csv.DictReader(io.StringIO(text[1:], newline=""), delimiter=flavour.separator))


@pytest.mark.parametrize("flavour", [POINT, COMMA])
def test_F3_reading_back_gives_every_value(flavour):
    dossier = made()
    found = rows(dossier, flavour)
    assert tuple(found[0]) == COLUMNS
    assert len(found) == dossier.run.scans
    for i, row in enumerate(found):
        back = {
            k: float(v.replace(flavour.decimal, ".")) if v else math.nan
            for k, v in row.items()
            if k not in ("time", "events")
        }
        assert back["elapsed_s"] == dossier.run.t_s[i]
        for name, column in (("source_kw", dossier.trail.power_kw), ("hottest_c", dossier.run.hottest_c)):
            assert back[name] == column[i] or (math.isnan(back[name]) and math.isnan(column[i]))


def test_F3_text_that_looks_like_a_formula_is_neutralised_and_negative_numbers_are_not():
    trail = made_trail()
    trail.power_kw[0] = -0.02
    dossier = made(trail=trail)
    text = "".join(lines(dossier, POINT))
    assert ",-0.02," in text.split("\r\n")[1]
    events = [row["events"] for row in rows(dossier, POINT) if row["events"]]
    assert '\'=HYPERLINK("http://x","ok")' in events
    assert "'-5 kW drift noted" in events


def test_F3_times_carry_their_offset_and_the_elapsed_seconds_are_a_plain_number():
    first, second = rows(made(), POINT)[:2]
    assert (
        datetime.fromisoformat(first["time"]).utcoffset()
        == datetime.fromisoformat("2026-10-25T02:30:00+02:00").utcoffset()
    )
    assert (first["time"], first["elapsed_s"], second["elapsed_s"]) == ("2026-10-25T02:30:00.000+02:00", "0.0", "0.5")


def test_what_is_not_known_is_an_empty_cell():
    found = rows(made(), POINT)
    assert found[250]["source_kw"] == ""
    assert found[250]["percent_of_nameplate"] == ""
    assert found[250]["delivered_kw"] == ""


def test_verdicts_are_json_without_nan_and_name_the_record():
    told = json.loads(verdicts(made()), parse_constant=pytest.fail)
    assert told["record_sha256"] == made_run().sha256
    assert told["judgements"][0]["verdicts"][0]["outcome"] == "not met"
    assert told["judgements"][0]["verdicts"][0]["working"][0]["formula"] == "t2 − t1"


def test_the_facts_own_hash_is_that_of_the_facts_without_it():
    told = {"a": 1.5, "self_sha256": ""}
    told["self_sha256"] = self_hash(told)
    assert self_hash(told) == told["self_sha256"]
    assert self_hash({**told, "a": 1.6}) != told["self_sha256"]
