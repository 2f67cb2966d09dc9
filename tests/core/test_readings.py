"""Readings that a person types in: the count-down, what is missed, what is refused, how one is corrected."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.core.command import Command, Verb
from benchctl.core.decision import Event
from benchctl.core.program import Hold, Ramp, Segment, Starts, Target, Wait
from benchctl.core.readings import BY_NAME, GAUGES, due_s
from benchctl.core.state import Mode
from tests.core.worlds import Stepper, program, site, staged

ASKED = ("oil_kpa", "coolant_c")
BOTH = "oil_kpa=420; coolant_c=88.5"


def bench(*segments: Segment, every_s: float = 10.0, readings: tuple[str, ...] = ASKED, **changes: Any) -> Stepper:
    """A program begun: its first scan is behind."""
    tested = program(*segments, readings=readings, reading_interval_s=every_s, **changes)
    return Stepper(site(staged(20.0, 40.0)), tested).started()


def due(w: Stepper) -> float | None:
    return due_s(w.state, w.settings)


def read(w: Stepper, text: str = BOTH, ago_s: float | None = None) -> Event:
    """Type a reading in; the event that it makes, or its refusal."""
    w.scan(Command(Verb.READING, "operator", text=text, value=ago_s))
    return next(e for e in w.last.events if e.kind in ("reading", "refused"))


def missed(w: Stepper) -> int:
    return len(w.heard("reading missed"))


def test_one_is_due_at_the_begin_of_a_hold_and_at_each_interval_its_end_included():
    w = bench(Ramp(Target(60.0), 7.0), Hold(30.0), Ramp(Target(0.0), 5.0))
    assert due(w) == pytest.approx(7.0 - w.state.program_s)
    fell_s = []
    while w.mode() is Mode.RUN:
        before = w.state.reading_owed_s
        w.scan()
        if w.state.reading_owed_s is not None and before is None:
            fell_s.append(round(w.state.program_s - w.state.reading_owed_s, 6))
            assert due(w) == -w.state.reading_owed_s
            read(w)
            assert w.state.reading_owed_s is None
        elif w.state.reading_owed_s is None and w.mode() is Mode.RUN and not fell_s:
            assert due(w) == pytest.approx(7.0 - w.state.program_s)
    assert fell_s == [7.0, 17.0, 27.0, 37.0]
    assert missed(w) == 0
    assert due(w) is None


def test_what_is_not_given_is_missed_when_the_next_falls_due():
    w = bench(Hold(25.0), Ramp(Target(0.0), 5.0), Hold(5.0))
    w.until(lambda w: w.mode() is Mode.DONE)
    told = [dict(e.data) for e in w.heard("reading missed")]
    assert [round(t["program_s"]) for t in told[:3]] == [10, 20, 30], "at 10, 20 and at the begin of the second hold"
    assert [round(t["owed_s"]) for t in told[:3]] == [10, 10, 10]
    assert len(told) == 4, "the last one when the cool-down was over"


def test_the_last_one_may_be_given_while_the_bench_cools_down():
    w = bench(Hold(10.0))
    w.scan()
    read(w)
    w.until(lambda w: w.mode() is Mode.COOL)
    assert due(w) is not None
    read(w)
    w.until(lambda w: w.mode() is Mode.DONE)
    assert (missed(w), w.state.reading_number) == (0, 3)


def test_the_count_down_stands_still_with_program_time():
    w = bench(Wait("go?", 60.0), Hold(30.0))
    assert due(w) == 0.0, "when the operator says so"
    w.run(5.0)
    assert due(w) == 0.0
    w.scan(Command(Verb.ANSWER, text="yes"))
    w.run(2.0)
    read(w)
    before = due(w)
    w.scan(Command(Verb.PAUSE))
    w.run(20.0)
    assert before is not None
    assert due(w) == before
    assert missed(w) == 0


def test_a_hold_that_waits_for_its_band_asks_for_nothing_before_it_begins():
    w = bench(Ramp(Target(60.0), 0.0), Hold(30.0, starts=Starts.IN_BAND))
    w.run(0.5)
    assert w.state.waiting
    assert w.state.reading_owed_s is None
    w.until(lambda w: not w.state.waiting)
    assert w.state.reading_owed_s is not None


def test_an_extended_hold_goes_on_asking():
    w = bench(Hold(10.0))
    w.scan(Command(Verb.EXTEND, value=20.0))
    w.until(lambda w: w.mode() is Mode.DONE)
    assert missed(w) == 4


def test_a_program_that_names_no_readings_asks_nobody():
    w = bench(Hold(30.0), readings=())
    w.run(20.0)
    assert (due(w), w.state.reading_owed_s) == (None, None)
    w.until(lambda w: w.mode() is Mode.DONE)
    assert missed(w) == 0


def test_the_event_carries_plain_values_its_number_and_when_it_was_taken():
    w = bench(Hold(60.0))
    event = read(w, "oil_kpa = 420 ; battery_v=27.6;", 4.0)
    assert event.who == "operator"
    assert event.text == "reading 1: oil pressure 420 kPa, starting battery 27.6 V; not read: coolant temperature"
    assert dict(event.data) == {
        "number": 1, "correction": False, "taken_s": 4.0, "not_read": ("coolant_c",), "oil_kpa": 420.0,
        "battery_v": 27.6,
    }  # fmt: skip
    assert [e.kind for e in w.last.events] == ["command", "reading"]
    assert dict(read(w).data)["number"] == 2


def test_a_late_entry_counts_for_what_is_owed_only_if_it_was_taken_about_then():
    w = bench(Hold(60.0))
    w.run(14.0)
    owed_s = w.state.reading_owed_s
    assert owed_s is not None
    read(w, ago_s=owed_s + 5.6)
    assert w.state.reading_owed_s is not None, "more than half an interval before"
    read(w, ago_s=owed_s + 5.0)
    assert w.state.reading_owed_s is None


def test_a_correction_is_another_reading_and_spends_no_number():
    w = bench(Hold(60.0))
    read(w)
    read(w)
    w.run(10.0)
    owed_s = w.state.reading_owed_s
    event = read(w, "correct 1: oil_kpa=430")
    assert (event.kind, event.text) == ("reading", "reading 1 corrected: oil pressure 430 kPa")
    assert dict(event.data) == {"number": 1, "correction": True, "oil_kpa": 430.0}
    assert w.state.reading_number == 3
    assert (owed_s is None) == (w.state.reading_owed_s is None), "it is no answer to what is owed"
    assert len(w.heard("reading")) == 3, "the first stays as it was"


def test_readings_are_taken_by_hand_too_and_counted_from_one_in_each_program():
    w = Stepper(site(staged(20.0, 40.0)), program(Hold(20.0), readings=ASKED)).ready()
    assert dict(read(w).data)["number"] == 1
    assert due(w) is None
    w.scan(Command(Verb.START))
    w.until(lambda w: w.mode() is Mode.RUN)
    assert dict(read(w).data)["number"] == 1


def test_a_reading_is_a_sign_of_a_person():
    w = Stepper(site(staged(20.0, 40.0))).loaded(20.0)
    w.attached = True
    w.run(30.0)
    assert w.state.person_s > 20.0
    read(w)
    assert w.state.person_s == 0.0


def test_every_gauge_ends_in_its_unit_and_has_limits_with_room_between():
    ends = {"°C": "c", "%": "percent", "kPa": "kpa", "Hz": "hz", "kW": "kw"}
    for gauge in GAUGES:
        assert gauge.name.rpartition("_")[2] == ends.get(gauge.unit, gauge.unit.lower())
        assert gauge.low < gauge.high
        assert gauge.text
        assert 0 <= gauge.decimals <= 2
    assert len(BY_NAME) == len(GAUGES)


@given(st.sampled_from(GAUGES), st.floats(allow_nan=True, allow_infinity=True))
def test_a_value_is_taken_exactly_or_refused_with_name_and_limits(gauge, value):
    w = Stepper(site(staged(20.0)))
    figure = f"{value:.6f}" if abs(value) < 1e9 else str(value)
    event = read(w, f"{gauge.name}={figure}")
    if math.isfinite(value) and abs(value) < 1e9 and gauge.low <= float(figure) <= gauge.high:
        assert dict(event.data)[gauge.name] == float(figure)
    else:
        limits = f"expected a number from {gauge.low:g} to {gauge.high:g}"
        assert f"{gauge.name}: found {figure!r}, {limits}" in event.text


@given(st.text(max_size=40))
def test_no_text_breaks_anything(text):
    w = Stepper(site(staged(20.0)))
    assert read(w, text).kind == "refused"
    assert w.state.reading_number == 1
