"""Rest, readings, papers, steps and autonomy: what is missing is a finding, never a value."""

import pytest

from benchctl.assessment.trail import NAN, Entry, Hole, Noted
from benchctl.core.papers import PAPERS
from benchctl.core.ruleset import Autonomy, Fields, Readings, Rest, Step
from tests.assessment.trails import NOT_MET, OPEN, ORIGIN, SHOWN, trail, verdict

COOL = Rest("cool", 300.0, ORIGIN)


def loaded_then(rest_s: int, after_hz: float | None = None, more: int = 0):
    """Half an hour at 34 %, then no load with the source running, then (if told) other hertz."""
    t_s = [5.0 * k for k in range(360 + rest_s // 5 + more + 1)]
    loaded = [t <= 1800.0 for t in t_s]
    stopped = [t > 1800.0 + rest_s for t in t_s]
    hertz = [after_hz if off and after_hz is not None else 50.0 for off in stopped]
    volts = [0.0 if off else 400.0 for off in stopped]
    return trail(t_s, [170.0 if on else 0.0 for on in loaded], hertz=hertz, volts=volts)


def test_a_cool_down_that_is_in_the_record_is_shown_with_its_two_times():
    # A survey's fourth run: load 09:00 to 09:30 at 34 %, no load until 09:36, stop.
    found = verdict(loaded_then(360, 0.0, 3), COOL)
    assert (found.outcome, found.from_s, found.to_s) == (SHOWN, 1800.0, 1800.0 + 360.0)


def test_a_record_that_ends_with_the_load_shows_no_cool_down():
    # Its third run: 09:45 to 10:15, nothing after.
    t_s = [5.0 * k for k in range(361)]
    found = verdict(trail(t_s, [170.0] * 361), COOL)
    assert found.outcome is OPEN
    assert "still on the source" in found.why


def test_a_source_that_stopped_early_has_not_met_it():
    assert verdict(loaded_then(120, 0.0, 3), COOL).outcome is NOT_MET
    assert verdict(loaded_then(120), COOL).outcome is OPEN  # the record ends, the source may have run on


def test_a_source_that_is_not_measured_any_more_is_not_shown_to_rest():
    t_s = [5.0 * k for k in range(430)]
    hertz = [50.0 if t <= 1800.0 else NAN for t in t_s]
    volts = [400.0 if t <= 1800.0 else NAN for t in t_s]
    made = trail(t_s, [170.0 if t <= 1800.0 else 0.0 for t in t_s], hertz=hertz, volts=volts)
    assert verdict(made, COOL).outcome is OPEN


def test_a_hole_in_the_rest_breaks_it():
    made = loaded_then(360)
    made.holes = (Hole(1900.0, 1990.0, "asleep"),)
    made.t_s = type(made.t_s)("d", [t if t <= 1900.0 else t + 85.0 for t in made.t_s])
    assert verdict(made, COOL).outcome is OPEN


EACH = Readings("readings", 900.0, ("power_kw", "coolant_c"), ORIGIN)
HOUR = [10.0 * k for k in range(361)]


def taken(*minutes: float) -> tuple[Noted, ...]:
    return tuple(Noted(60.0 * m, k + 1, (("coolant_c", 80.0),), "operator") for k, m in enumerate(minutes))


def test_readings_at_their_interval_are_shown():
    # Nine readings each 15 min in 2 h count t = 0 (from memory); here five in one hour.
    assert verdict(trail(HOUR, [200.0] * 361, noted=taken(0, 15, 30, 45, 60)), EACH).outcome is SHOWN
    assert verdict(trail(HOUR, [200.0] * 361, noted=taken(0, 15, 30, 32, 47, 60)), EACH).outcome is SHOWN


@pytest.mark.parametrize(
    ("minutes", "finding"),
    [
        ((0, 15, 45, 60), "none from 0:15:00 to 0:45:00"),
        ((5, 15, 30, 45, 60), "none from 0:00:00 to 0:05:00"),
        ((0, 15, 30), "none from 0:30:00 to 1:00:00"),
        ((), "no reading of coolant temperature"),
    ],
)
def test_each_missing_reading_is_a_finding(minutes, finding):
    found = verdict(trail(HOUR, [200.0] * 361, noted=taken(*minutes)), EACH)
    assert found.outcome is OPEN
    assert finding in found.why


def test_a_correction_counts_and_is_told():
    first = Noted(0.0, 1, (("coolant_c", 8.0),), "operator", corrected=True)
    found = verdict(trail(HOUR, [200.0] * 361, noted=(first, *taken(0, 15, 30, 45, 60))), EACH)
    assert found.outcome is SHOWN
    assert "the first entry stays in the record: reading 1" in found.why


def test_values_that_a_meter_did_not_tell_are_missing_readings():
    kw = [NAN if 1000.0 < t < 2500.0 else 200.0 for t in HOUR]
    found = verdict(trail(HOUR, kw, noted=taken(0, 15, 30, 45, 60)), EACH)
    assert found.outcome is OPEN
    assert "kW of the source: none from" in found.why


def test_empty_papers_are_listed_by_their_names():
    # What surveyors found empty (federal citations of emergency power records).
    names = ("nameplate_kw", "serial", "ambient_c", "instruments", "calibration", "operator", "witness")
    made = trail(HOUR, [200.0] * 361)
    made.papers = {"nameplate_kw": "500 kW", "serial": "  ", "operator": "operator"}
    made.papers["calibration"] = "meter due 2024-01-01"
    made.flaws = {"calibration": "meter expired 2024-01-01"}
    found = verdict(made, Fields("papers", names, ORIGIN))
    assert found.outcome is OPEN
    for absent in ("serial", "ambient_c", "instruments", "witness"):
        assert PAPERS[absent] in found.why
    assert "expired 2024-01-01" in found.why
    assert PAPERS["operator"] not in found.why
    made.papers, made.flaws = dict.fromkeys(names, "there"), {}
    assert verdict(made, Fields("papers", names, ORIGIN)).outcome is SHOWN


START = Step("cold_start", "started from cold", ORIGIN, within_s=10.0)


@pytest.mark.parametrize(
    ("text", "outcome"),
    [
        ("cold start: 8.2 s", SHOWN),
        ("cold_start: 10 s", SHOWN),
        ("Cold-start 11 s", NOT_MET),
        ("cold start: done", OPEN),
        ("cold started, 8 s", OPEN),
        ("engine ran", OPEN),
    ],
)
def test_a_step_needs_an_entry_with_its_time(text, outcome):
    made = trail(HOUR, [200.0] * 361, entries=(Entry(12.0, "remark", text, "operator"),))
    assert verdict(made, START).outcome is outcome


def test_a_step_without_a_time_needs_an_entry_only_and_a_least_time_counts():
    made = trail(HOUR, [0.0] * 361, entries=(Entry(1.0, "remark", "safeties: all tried", ""),))
    assert verdict(made, Step("safeties", "every shutdown tried", ORIGIN)).outcome is SHOWN
    assert verdict(made, Step("crank_cycle", "cranked", ORIGIN)).outcome is OPEN
    least = Step("building_load", "carried the building", ORIGIN, at_least_s=5400.0)
    made.entries = (Entry(1.0, "remark", "building load: 1.5 h", ""),)
    assert verdict(made, least).outcome is SHOWN
    made.entries = (Entry(1.0, "remark", "building load: 80 min", ""),)
    assert verdict(made, least).outcome is NOT_MET


def test_autonomy_is_the_time_at_constant_load_before_the_end_voltage():
    rule = Autonomy("battery", 100.0, 1800.0, ORIGIN, end_volts_v=42.0)
    volts = tuple(Noted(600.0 * k, k + 1, (("battery_v", 54.0 - 3.0 * k),)) for k in range(5))
    made = trail(HOUR, [500.0 if t <= 2400.0 else 0.0 for t in HOUR], noted=volts)
    assert verdict(made, rule).outcome is SHOWN
    made.noted = (*volts[:2], Noted(1200.0, 3, (("battery_v", 41.0),)))
    assert verdict(made, rule).outcome is NOT_MET
    made.noted = ()
    assert verdict(made, rule).outcome is OPEN
    short = trail(HOUR, [500.0 if t <= 1500.0 else 0.0 for t in HOUR])
    assert verdict(short, Autonomy("battery", 100.0, 1800.0, ORIGIN)).outcome is NOT_MET
