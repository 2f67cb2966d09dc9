"""What the report says: verdicts in our three words, what is missing first, nothing that the record does not hold."""

import re
from array import array
from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.assessment.trail import Entry, Hole, Trace
from benchctl.core.ruleset import Quantity
from benchctl.report.content import content
from benchctl.report.parts import Table
from benchctl.report.recorded import Told
from benchctl.report.sections.missing import missing
from benchctl.report.sources import SOURCES, named
from benchctl.report.words import ENGLISH, say
from tests.report.made import METER, YARD, made, made_run, made_trail, texts

TABLES = ("words.py", "english.py", "english_sheet.py")
ROOM = Path(__file__).parents[2] / "benchctl" / "report"


def told(dossier, *parts) -> str:
    drawn = content(dossier).plain()
    return texts({part: drawn[part] for part in parts} if parts else drawn)


def section(dossier, key: str) -> str:
    return texts(next(s for s in content(dossier).plain()["sections"] if s["title"] == say(key)))


def rows_of(dossier, key: str) -> tuple[tuple[str, ...], ...]:
    """Of the first table of a section."""
    blocks = next(s for s in content(dossier).sections if s.title == say(key)).blocks
    return next(block for block in blocks if isinstance(block, Table)).rows


def test_page_1_says_what_where_when_by_whom_with_what_and_the_verdicts():
    front = told(made(), "front")
    for said in ("standby set: generating set, 400 kW, 500 kVA", "Jürgen's <b>yard</b> & =co", "2026-10-25 02:30:00",
                 "+02:00", "operator, witness", "source meter (class 0.5, no. M-1, calibration due 2027-06-30)",
                 "▲ not met", "1 shown, 1 not met, 1 not demonstrated", "abababab abababab"):  # fmt: skip
        assert said in front


def test_a_verdict_is_never_called_pass_or_fail():
    words = set(re.findall(r"[a-z]+", told(made()).lower()))
    assert not words & {"pass", "passed", "fail", "failed", "passes", "fails"}


def test_what_is_missing_stands_on_page_1_and_the_report_is_called_not_complete():
    front = told(made(), "front")
    assert "This report is not complete." in front
    for paper in ("serial number of the source", "the witness", "ambient temperature", "end of the cool-down"):
        assert paper in front
    assert "nameplate kW," not in front  # it is there


def test_an_expired_calibration_is_told_with_its_date_and_a_valid_one_is_not():
    expired = replace(YARD, instruments=(replace(METER, calibration_due="2026-10-24"),))
    assert any("expired on 2026-10-24" in text for text in missing(made(made_run(site=expired))))
    on_the_day = replace(YARD, instruments=(replace(METER, calibration_due="2026-10-25"),))
    assert not any("expired" in text for text in missing(made(made_run(site=on_the_day))))
    unstated = replace(YARD, instruments=(replace(METER, calibration_due=""),))
    assert any("calibration is due is not stated" in text for text in missing(made(made_run(site=unstated))))


def test_time_that_was_not_observed_is_missing_and_many_holes_are_summed():
    assert any("0:02:00 to 0:02:20" in text for text in missing(made()))
    holes = tuple(Hole(10.0 * i, 10.0 * i + 2.0, "silent") for i in range(5))
    assert any("5 stretches of time, 0:00:10" in text for text in missing(made(trail=made_trail(holes=holes))))


def test_the_rated_current_of_the_alternator_is_said_not_to_be_proven():
    # 400 kW / (sqrt(3) 400 V) = 577.35 A of 721.69 A = 80 %: computed from P = sqrt(3) U I at power factor 1
    said = section(made(), "not shown")
    assert "At most 400 kW were carried, with 577 A (80 % of the rated 722 A)" in said
    assert "power factor of 0.8: it was not proven" in said


def test_a_rehearsal_says_that_it_proves_nothing_before_anything_else():
    run = made_run(meta={"kind": "rehearsal", "started": "2026-10-25T02:30:00+02:00"})
    assert "REHEARSAL" in content(made(run)).banner
    assert "REHEARSAL" not in content(made()).banner


def test_an_altered_record_is_told_in_the_banner():
    assert "ALTERED" in content(made(made_run(altered=("scan 3: does not follow",)))).banner


def test_each_limit_says_how_well_it_is_known():
    said = section(made(), "limits")
    assert said.count("from memory") >= 2
    assert "read in the text (S1)" in said
    assert "2 of 3 limits are not read in their text" in said


def test_the_working_can_be_redone_formula_inputs_bounds_and_sample_times():
    said = told(made())
    for part in ("time in limits", "100 s (between 99 and 101)", "t2 − t1", "t1 = 100 s at 0:01:40"):
        assert part in said
    assert "from 0:01:40 (02:31:40) to 0:03:20 (02:33:20)" in said


def test_the_plan_is_set_against_what_was_done_without_the_scan_that_was_not_seen():
    rows = rows_of(made(), "course")
    assert rows[1][1:3] == ("full load", "400")
    assert rows[1][5:] == ("0:01:40", "400.0", "400.0", "400.0", "100.0")


def test_H5_alarms_stand_in_their_order_and_the_first_that_stood_at_the_first_trip_is_first_out():
    alarms = rows_of(made(), "events")
    assert [row[0] for row in alarms] == ["1", "2", "2"]
    assert ["first out" in row[3] for row in alarms] == [True, False, False]
    run = made_run()
    events = sorted((replace(e, at_s=160.5) if e.at_s == 170.0 else e for e in run.events), key=lambda e: e.at_s)
    over = rows_of(made(replace(run, events=tuple(events))), "events")
    assert ["first out" in row[3] for row in over] == [False, True, True], "one that was over before has no part in it"
    calm = replace(run, events=tuple(e for e in run.events if e.kind != "trip"))
    assert "first out" not in section(made(calm), "events")
    assert [row[4] for row in alarms] == ["0:00:10", "stood at the end", "–"]


def test_an_override_stands_with_who_and_why():
    assert "override cool-down (fans are wanted elsewhere)" in section(made(), "events")


def test_a_missing_value_is_a_dash_and_never_zero():
    rows = rows_of(made(), "readings")
    assert rows[0][2:4] == ("400.0", "100.0")
    dark = made_trail(power_kw=type(made_trail().power_kw)("d", [float("nan")] * 600))
    rows = rows_of(made(trail=dark), "readings")
    assert rows[0][2:4] == ("–", "–")


def test_readings_of_a_person_are_told_in_the_chosen_units():
    # 85 °C = 185 °F exactly; 420 kPa = 60.92 psi (pound-force and inch by definition)
    assert "185.0" in section(made(units="us"), "readings")
    assert "\n61\n" in section(made(units="us"), "readings")
    assert "85.0" in section(made(), "readings")


@pytest.mark.parametrize("judged", [(), (made().judgements[0],) * 3])
def test_none_or_several_rule_sets_can_be_judged(judged):
    said = told(made(judged=judged))
    assert ("No rule set was judged" in said) is (not judged)


def test_every_sentence_is_in_the_table_and_every_one_of_the_table_is_said():
    source = "\n".join(
        path.read_text(encoding="utf-8") for path in sorted(ROOM.rglob("*.py")) if path.name not in TABLES
    )
    said = set(re.findall(r"""say\(\s*["']([^"'{]+)["']""", source))
    assert said <= ENGLISH.keys(), said - ENGLISH.keys()
    made_up = tuple(re.findall(r'say\(f"([^"{]+)\{', source))  # keys with a name in them
    unsaid = {k for k in ENGLISH.keys() - said if not k.startswith(made_up) and f'"{k}"' not in source}
    assert not unsaid


def test_a_trip_tells_when_the_meters_saw_the_last_of_the_load_go():
    run = made_run(events=(Told(205.0, "trip", "", "", "hertz below 93 %"),), totals={"cool_down_s": 300.0})
    run.delivered_kw = run.target_kw
    said = section(made(run), "cool-down")
    assert "ordered off at 0:03:25" in said
    assert "gone by 0:03:30" in said  # 8 kW, 2 % of 400 kW, are reached at 209.8 s
    assert "took 0:05:00" in said


def test_extremes_are_those_of_a_capture_where_there_is_one():
    t_s = array("d", (199.0 + i / 50 for i in range(400)))
    values = array("d", (53.5 if 200.3 < t < 200.4 else 50.0 for t in t_s))
    trace = Trace("hertz", Quantity.HERTZ, t_s, values, 0.02, told="rec.cfg, aligned by the load step")
    dossier = made(trail=made_trail(traces=(trace,)))
    (row,) = rows_of(dossier, "transients")
    assert row[4:] == ("53.50 (+7.0 %)", "400.0 (0.0 %)")
    assert "rec.cfg, aligned by the load step" in section(dossier, "transients")
    assert rows_of(made(), "transients")[0][4] == "50.00 (0.0 %)"


def test_every_mark_that_a_shipped_rule_set_names_is_explained():
    for path in sorted((Path(__file__).parents[2] / "configs" / "rulesets").glob("*.yaml")):
        marks = set(re.findall(r"source: (S[0-9]+)", path.read_text(encoding="utf-8")))
        assert marks <= SOURCES.keys(), path.name
    assert [row[0] for row in named(("S17, S2", "S999", "S2"))] == ["S2", "S17"]
    assert "NFPA 110, clause 7.13" in section(made(), "limits")


def test_what_is_there_but_proves_nothing_is_told_on_page_1():
    entries = (Entry(0.0, "capture not used", "b.cfg names another record", ""),)
    trail = made_trail(doubts=(Hole(30.0, 31.0, "phase C is negative"),), entries=entries)
    found = missing(made(trail=trail))
    assert any("first at 0:00:30, 1 in all: phase C is negative" in text for text in found)
    assert "a capture was not used: b.cfg names another record" in found


def test_what_has_no_room_is_told():
    alarms = tuple(Told(float(n), "alarm", "bank 1", "", f"alarm {n}") for n in range(203))
    run = replace(made().run, events=alarms, more_events=2)
    assert say("more events", count=5) in section(replace(made(), run=run), "events")
    assert "have no room" not in section(made(), "events")
