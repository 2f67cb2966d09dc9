"""What is told of a scan: figures with their age, missing ones null, old ones marked."""

import json
import math
import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from benchctl.core.reading import Outcome
from benchctl.mqtt import drawn, page, topics
from benchctl.mqtt.given import Heard, Stamp
from benchctl.mqtt.payloads import Judged
from tests.core.test_snapshot import Watched, watched
from tests.mqtt.telling import TERMS, ran, told

STAMP = Stamp("s" * 16, 3, drawn.moment(1_800_000_000.0))
OFFSET = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}[+-]\d\d:\d\d")  # ISO 8601, extended form, with offset


def object_of(leaf, noun):
    """A payload as whoever listens parses it, after its schema was asked."""
    found = json.loads(drawn.encoded(noun), parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))
    errors = list(Draft202012Validator(page.schema(f"mqtt-{leaf.name}")).iter_errors(found))
    assert not errors, errors
    return found


def live(bench: Watched, **changes):
    heard = Heard(replace(bench.shown(), **changes), "a run")
    return object_of(topics.SNAPSHOT, drawn.live(STAMP, heard, bench.settings.site))


def test_every_payload_is_of_its_schema_and_has_its_head():
    bench = watched().loaded(100.0)
    place, heard = bench.settings.site, Heard(bench.shown(), "a run")
    payloads = {
        topics.PLATE: drawn.plate(STAMP, 1e9, place, TERMS),
        topics.STATE: drawn.state(STAMP, heard, place),
        topics.SNAPSHOT: drawn.live(STAMP, heard, place),
        topics.ALARMS: drawn.standing(STAMP, heard),
        topics.EVENT: drawn.event(STAMP, told(4), 2),
        topics.RUN: drawn.run(STAMP, ran(verdicts=(Judged(rule_set="r", outcome="shown", shown=1, not_met=0,
                                                          not_demonstrated=0),))),
    }  # fmt: skip
    for leaf, noun in payloads.items():
        found = object_of(leaf, noun)
        assert (found["schema"], found["session"], found["seq"]) == (1, "s" * 16, 3)
        assert OFFSET.fullmatch(found["at"])
        assert OFFSET.fullmatch(found["sent_at"])


def test_what_was_never_heard_is_null_and_stale_and_not_zero():
    bench = watched()
    bench.plant.volts = None
    for fake in bench.plant.units:
        fake.silent = Outcome.SILENT
    bench.scan()
    found = live(bench)
    for part in (found["source"], found["delivered"], found["read_back"], *found["units"]):
        assert part["stale"] is True
        assert part["age_s"] is None
    assert found["source"]["hertz"] is None
    for u in found["units"]:
        assert (u["read_back_kw"], u["measured_kw"], u["exhaust_c"], u["closed"], u["remote"]) == (None,) * 5
    assert found["delivered"]["power_kw"] is None


def test_every_value_has_its_age_and_an_old_one_is_marked():
    bench = watched().loaded(100.0)
    limit_s = bench.settings.site.limits.stale_s
    units = bench.shown().units
    found = live(bench, units=(replace(units[0], age_s=limit_s), replace(units[1], age_s=limit_s - 0.1)))
    assert [(u["age_s"], u["stale"]) for u in found["units"]] == [(limit_s, True), (round(limit_s - 0.1, 3), False)]
    state = drawn.state(STAMP, Heard(replace(bench.shown(), units=(replace(units[0], age_s=None), units[1]))),
                        bench.settings.site)  # fmt: skip
    assert (state.units, state.units_stale) == (2, 1)


def test_a_sum_is_as_old_as_its_oldest_part():
    bench = watched().loaded(100.0)
    units = tuple(
        replace(u, measured_kw=10.0, age_s=age) for u, age in zip(bench.shown().units, (0.1, 0.9), strict=True)
    )
    found = live(bench, units=units, delivered_kw=20.0, delivered_from="units")
    assert found["delivered"] == {"power_kw": 20.0, "told_by": "units", "units": 2, "age_s": 0.9, "stale": False}
    found = live(bench, delivered_from="source meter", source=replace(bench.shown().source, age_s=1.25))
    assert (found["delivered"]["age_s"], found["delivered"]["units"]) == (1.25, None)


def test_a_frozen_meter_is_stale_however_young_its_answers_are():
    bench = watched().loaded(100.0)
    assert live(bench)["source"]["stale"] is False
    assert live(bench, source=replace(bench.shown().source, frozen=True))["source"]["stale"] is True


def test_commanded_read_back_and_measured_stay_three_values():
    bench = watched().loaded(100.0)
    units = tuple(replace(u, commanded_kw=1.0, read_back_kw=2.0, measured_kw=3.0) for u in bench.shown().units)
    found = live(bench, units=units)["units"][0]
    assert (found["commanded_kw"], found["read_back_kw"], found["measured_kw"]) == (1.0, 2.0, 3.0)


@given(st.recursive(st.floats() | st.none() | st.text() | st.integers() | st.binary(),
                    lambda part: st.lists(part) | st.dictionaries(st.text() | st.integers(), part)))  # fmt: skip
def test_whatever_an_event_holds_it_is_told_as_json_without_numbers_that_are_none(data):
    event = drawn.event(STAMP, replace(told(1), data={"x": data}, bench_s=math.inf, text="a\ud800b"), 0)
    found = object_of(topics.EVENT, event)
    assert found["bench_s"] is None


def test_a_state_is_news_when_a_word_changes_and_not_when_a_figure_does():
    bench = watched().loaded(100.0)
    now = Heard(bench.shown(), "a run")
    moved = replace(now, shown=replace(now.shown, number=9, wall_s=9.0, person_s=3.0, delivered_kw=99.0))
    assert drawn.words(now) == drawn.words(moved)
    for change in ({"loaded": False}, {"mode": "done"}, {"dropped": True}, {"charge": "Lee"}, {"recorder": "failed"}):
        assert drawn.words(now) != drawn.words(replace(now, shown=replace(now.shown, **change)))
    assert drawn.words(now) != drawn.words(replace(now, run="another"))


def test_alarms_are_news_when_one_changes_and_not_while_its_shelf_time_runs_out():
    bench = watched().loaded(100.0)
    bench.plant.units[0].air = False
    bench.run(1.5)
    now = Heard(bench.shown())
    assert now.shown.alarms
    first, *rest = now.shown.alarms
    shelved = replace(now, shown=replace(now.shown, alarms=(replace(first, shelved_s=9.0), *rest)))
    later = replace(now, shown=replace(now.shown, alarms=(replace(first, shelved_s=8.0), *rest)))
    assert drawn.alarm_words(shelved) == drawn.alarm_words(later)
    acknowledged = replace(now, shown=replace(now.shown, alarms=(replace(first, acknowledged=True), *rest)))
    assert drawn.alarm_words(now) != drawn.alarm_words(acknowledged)
