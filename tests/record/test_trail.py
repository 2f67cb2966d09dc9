"""A record as a trail: what the meter said, what nobody knows, what people did; and its verdicts."""

import sqlite3
from dataclasses import replace
from math import isnan
from typing import Any

import pytest

from benchctl.assessment.judge import judge
from benchctl.assessment.trail import Hole
from benchctl.assessment.verdict import Outcome
from benchctl.core.ruleset import Duty, Known, Origin, Readings, Rest, RuleSet, Unbroken
from benchctl.core.scenario import Answer, Fault, Scenario
from benchctl.record.fault import RecordFault
from benchctl.record.reader import Reader
from benchctl.record.trail import trail
from tests.record.bench import SETTINGS, frames, recorded
from tests.record.rehearsals import rehearsed

ORIGIN = Origin("8.4.2", Known.QUOTED)
LOW = Duty("low", 34.5, 50.0, 59.0, ORIGIN)  # the scan that sees the band ends a scan of the hold
HIGH = Duty("high", 59.5, None, 40.0, ORIGIN)
RULES = RuleSet("trial", "Trial", "a text", "2010", (LOW, HIGH, Rest("cool", 300.0, ORIGIN)), gap_s=2.0)


def read(path):
    with Reader(path) as reader:
        return trail(reader)


@pytest.fixture(scope="module")
def calm(tmp_path_factory):
    """A rehearsal without faults, over real frames: its path and its frames."""
    path = tmp_path_factory.mktemp("calm") / "a.run"
    remark = Answer("remark", at_s=40.0, text="witness: the surveyor")
    late = Answer("reading", at_s=60.0, text="coolant_c=70", value=20.0)
    wrong = Answer("reading", at_s=65.0, text="correct 1: coolant_c=41")
    return path, rehearsed(path, Scenario("x", answers=(remark, late, wrong)), with_bytes=True)


def test_columns_are_those_of_the_meter_at_the_source(calm):
    path, made = calm
    found = read(path)
    assert len(found.t_s) == len(made)
    for k in range(0, len(made), 37):
        told = made[k].decision.seen.source
        assert found.t_s[k] == made[k].inputs.now_s - made[0].inputs.now_s
        if told.total_kw is None:
            assert isnan(found.power_kw[k])
        else:
            assert found.power_kw[k] == told.total_kw
            assert (found.amps_a[k], found.amps_b[k], found.amps_c[k]) == told.amps
            assert (found.pair_ab[k], found.pair_bc[k], found.pair_ca[k]) == told.volts_ll
        assert found.hertz[k] == pytest.approx(made[k].decision.seen.hertz, nan_ok=True)
    assert (found.nameplate_kw, found.rated_v, found.rated_hz) == (400.0, 400.0, 50.0)
    assert (found.holes, found.doubts, found.complete) == ((), (), True)


def test_stretches_and_changes_are_those_of_the_program_as_it_ran(calm):
    found = read(calm[0])
    assert [(s.segment, s.kind, s.target_kw) for s in found.stretches] == [
        (1, "ramp", 140.0),
        (2, "hold", 140.0),
        (3, "block", 240.0),
        (4, "hold", 240.0),
    ]
    hold = found.stretches[1]
    assert (hold.label, hold.to_s - hold.from_s >= 60.0) == ("low", True)
    (change,) = found.changes
    assert change.at_s == hold.to_s
    assert (change.from_kw, change.to_kw) == (pytest.approx(140.0, abs=8.0), pytest.approx(240.0, abs=8.0))


def test_a_late_reading_has_its_true_time_and_a_correction_keeps_the_original(calm):
    found = read(calm[0])
    by_number: dict[int, list[Any]] = {}
    for noted in found.noted:
        by_number.setdefault(noted.number, []).append(noted)
    original, corrected = sorted(by_number[1], key=lambda n: not n.corrected)
    assert original.corrected
    assert dict(original.values)["coolant_c"] != 41.0
    assert (corrected.corrected, dict(corrected.values)["coolant_c"]) == (False, 41.0)
    assert corrected.at_s == original.at_s
    late = next(n for n in found.noted if dict(n.values)["coolant_c"] == 70.0)
    begun_s = calm[1][0].inputs.now_s
    assert late.at_s == pytest.approx(60.0 - 20.0 - begun_s, abs=1.5)


def test_papers_are_what_the_record_says_and_no_more(calm):
    found = read(calm[0])
    assert found.papers["witness"] == "the surveyor"
    assert found.papers["operator"] == "operator (rehearsed)"
    assert found.papers["nameplate_kva"] == "500 kVA"
    assert found.papers["serial"] == "NQ-G-0417"
    assert "ambient_c" not in found.papers
    assert "as_left" not in found.papers
    assert found.papers["calibration"] == "source meter due 2049-06-30"
    assert (found.papers["instruments"], found.flaws) == ("source meter (NQ-M-2203)", {})
    assert found.papers["cool_down_start"] < found.papers["cool_down_end"]
    assert {one.name for one in found.logged} >= {"oil_kpa", "coolant_c"}


def test_a_calm_rehearsal_is_shown(calm):
    judged = judge(read(calm[0]), RULES)
    assert [v.outcome for v in judged.verdicts] == [Outcome.SHOWN] * 3
    readings = Readings("readings", 30.0, ("power_kw", "amps", "coolant_c"), ORIGIN, late_s=15.0)
    (verdict,) = judge(read(calm[0]), replace(RULES, rules=(readings,))).verdicts
    assert verdict.outcome is Outcome.SHOWN, verdict.why


def test_a_paused_run_is_judged_by_its_load_not_by_its_program(tmp_path):
    pause = (Answer("pause", at_s=30.0), Answer("resume", at_s=90.0))
    rehearsed(tmp_path / "a.run", Scenario("pause", answers=pause))
    found = read(tmp_path / "a.run")
    assert [e.what for e in found.entries][:2] == ["pause", "resume"]
    long = Duty("low", 34.5, None, 118.0, ORIGIN)  # 60 s of program time and 60 s of pause at the same level
    assert judge(found, replace(RULES, rules=(long,))).outcome is Outcome.SHOWN
    whole = Unbroken("all", 34.5, 150.0, ORIGIN)
    assert judge(found, replace(RULES, rules=(whole,))).outcome is Outcome.SHOWN


def test_a_transformer_the_wrong_way_round_proves_nothing_and_is_named(tmp_path):
    fault = Fault(20.0, "transformer reversed", "source meter", 3.0, 20.0, during=2)
    rehearsed(tmp_path / "a.run", Scenario("reversed", faults=(fault,)))
    found = read(tmp_path / "a.run")
    (doubt,) = found.doubts
    assert 19.0 <= doubt.to_s - doubt.from_s <= 21.0
    low, high, _ = judge(found, RULES).verdicts
    assert (low.outcome, high.outcome) == (Outcome.NOT_DEMONSTRATED, Outcome.SHOWN)
    assert "phase C shows -47" in low.why
    assert "current transformer is turned round" in low.why


def test_a_meter_that_is_mute_leaves_no_values(tmp_path):
    fault = Fault(20.0, "meter lost", "source meter", None, 15.0, during=2)
    rehearsed(tmp_path / "a.run", Scenario("mute", faults=(fault,)))
    found = read(tmp_path / "a.run")
    missing = [t for t, kw in zip(found.t_s, found.power_kw, strict=True) if isnan(kw)]
    assert 10.0 <= missing[-1] - missing[0] <= 14.0  # 15 s, of which the first 3 are not stale yet
    low = judge(found, RULES).verdicts[0]
    assert low.outcome is Outcome.NOT_DEMONSTRATED
    assert "not known" in low.why


def test_time_that_was_not_observed_is_a_hole(tmp_path):
    made = frames(20)
    jumped = [
        f if k < 10 else replace(f, inputs=replace(f.inputs, now_s=f.inputs.now_s + 2820.0)) for k, f in enumerate(made)
    ]
    found = read(recorded(tmp_path / "a.run", jumped))
    assert found.holes == (Hole(4.5, 2825.0, "not observed"),)


def test_scans_that_were_not_recorded_are_a_hole_and_the_record_is_not_complete(tmp_path):
    made = frames(40)
    found = read(recorded(tmp_path / "a.run", made[:10] + made[20:]))
    assert [(h.from_s, h.to_s) for h in found.holes] == [(4.5, 10.0)]
    assert not found.complete


def test_times_begin_with_the_first_scan_and_carry_an_offset(tmp_path):
    found = read(recorded(tmp_path / "a.run", frames(5)))
    assert list(found.t_s) == pytest.approx([0.0, 0.5, 1.0, 1.5, 2.0])
    assert found.began[-6] in "+-"
    assert found.power_kw[0] == pytest.approx(-0.02)


def test_damage_is_told_with_its_scan(tmp_path):
    path = recorded(tmp_path / "a.run", frames(5))
    with sqlite3.connect(path) as db:
        db.execute("DROP TRIGGER scan_update")
        db.execute("UPDATE scan SET raw = x'00' WHERE n = 3")
    with Reader(path) as reader, pytest.raises(RecordFault, match=r"scan 3: inputs are damaged"):
        trail(reader)


def test_without_a_meter_at_the_source_the_chain_alone_counts(tmp_path):
    site = replace(SETTINGS.site, instruments=(), site_load_reserve_kw=20.0)
    settings = replace(SETTINGS, site=site)
    made = [replace(f, inputs=replace(f.inputs, instruments=())) for f in frames(5)]
    found = read(recorded(tmp_path / "a.run", made, settings))
    assert list(found.power_kw) == pytest.approx([k / 7 - 0.02 for k in range(5)])
