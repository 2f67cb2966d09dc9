"""Whatever comes is read whole or refused with the key that is wrong; nothing that comes can be a fault of ours."""

import json
from contextlib import suppress
from dataclasses import asdict

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.mqtt.payloads import Live, Plate, Presence, Run, Standing, State
from benchctl.mqtt.read import LARGEST_BYTES, Flaw, read
from benchctl.mqtt.topics import LEAVES
from tests.mqtt.benches import Bench, now
from tests.tui.pictures import alarm

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=20,
)


def live(**changes):
    return json.loads(Bench().snapshot().payload) | changes


def test_what_a_bench_tells_is_read_back_as_it_was():
    bench = Bench()
    told = now(alarms=(alarm(),))
    for kind, message in (
        (Plate, bench.plate()),
        (Presence, bench.presence("silent", why="no scan for 6 s")),
        (Live, bench.snapshot()),
        (State, bench.state()),
        (Standing, bench.alarms(alarms=told.alarms)),
    ):
        noun = read(kind, message.payload)
        assert json.loads(json.dumps(asdict(noun))) == json.loads(message.payload)


def test_keys_that_are_new_are_left_alone():
    data = live(of_tomorrow={"a": [1, 2]})
    data["units"][0]["too"] = 1
    assert read(Live, json.dumps(data).encode()).scan == 7


def test_a_verdict_is_read_with_its_parts():
    judged = {"rule_set": "monthly", "outcome": "shown", "shown": 3, "not_met": 0, "not_demonstrated": 1}
    run = {
        "schema": 1, "session": "s", "seq": 1, "sent_at": "2026-01-01T00:00:00Z", "at": None, "run": "r",
        "program": "p", "in_hand": False, "outcome": "completed", "sealed": True, "problem": "", "totals": {"a": 1},
        "verdicts": [judged],
    }  # fmt: skip
    found = read(Run, json.dumps(run).encode())
    assert found.verdicts is not None
    assert found.verdicts[0].outcome == "shown"


def without(data, key):
    return {k: v for k, v in data.items() if k != key}


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        (b"", "is no JSON"),
        (b"\xff\xfe", "is no JSON"),
        (b"[1]", "is a list, expected an object"),
        (b"17", "is 17, expected an object"),
        (b'{"schema": 1e999}', "schema is Infinity, expected 1"),
        (b"[" * 100_000, "is nested too deeply"),
        (b'{"schema": ' + b"9" * 5000 + b"}", "is no JSON"),
        (live(schema=2), "schema is 2, expected 1; is it of another version"),
        (live(seq="3"), 'seq is "3", expected a whole number'),
        (live(seq=3.5), "seq is 3.5, expected a whole number"),
        (live(seq=True), "seq is true, expected a whole number"),
        (live(scan=1 << 70), "scan is a very large number, expected a whole number"),
        (live(loaded=1), "loaded is 1, expected true or false"),
        (live(mode=None), "mode is null, expected a text"),
        (live(mode="x" * 5000), "expected a text of at most 2000 characters"),
        (live(units={}), "units is an object, expected a list"),
        (live(units=[{}]), "units[0].name is missing"),
        (live(source=[]), "source is a list, expected an object"),
        (live(target_kw="lots"), 'target_kw is "lots", expected a number'),
        (without(live(), "off"), "off is missing"),
    ],
)
def test_what_is_wrong_is_named_and_what_was_found_is_cut_short(payload, words):
    data = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    with pytest.raises(Flaw) as told:
        read(Live, data)
    assert words in str(told.value)
    assert len(str(told.value)) < 200


def test_numbers_that_are_none_are_refused():
    for word in ("NaN", "Infinity", "-Infinity"):
        text = json.dumps(live()).replace('"target_kw": ', f'"target_kw": {word}, "other": ', 1)
        with pytest.raises(Flaw, match="is no number"):
            read(Live, text.encode())
    text = json.dumps(live()).replace('"target_kw": ', '"target_kw": 1' + "0" * 400 + ', "other": ', 1)
    with pytest.raises(Flaw, match="target_kw is a very large number"):
        read(Live, text.encode())


def test_a_list_of_another_length_is_refused():
    data = live()
    data["source"]["amps"] = [1.0, 2.0]
    with pytest.raises(Flaw, match=r"source\.amps has 2 values, expected 3"):
        read(Live, json.dumps(data).encode())


def test_a_word_that_is_none_of_those_is_refused():
    data = json.loads(Bench().presence("online").payload) | {"presence": "asleep"}
    with pytest.raises(Flaw, match='presence is "asleep", expected online or silent or offline'):
        read(Presence, json.dumps(data).encode())


def test_a_message_that_is_too_large_is_not_even_looked_at():
    with pytest.raises(Flaw, match="at most"):
        read(Live, b" " * (LARGEST_BYTES + 1))


@settings(max_examples=200)
@given(st.sampled_from(LEAVES), st.binary(max_size=40) | JSON.map(lambda v: json.dumps(v).encode()))
def test_nothing_but_a_flaw_ever_comes_of_what_is_wrong(leaf, data):
    with pytest.raises(Flaw):
        read(leaf.noun, data)


@settings(max_examples=200)
@given(st.sampled_from(sorted(live())), JSON)
def test_any_key_may_hold_anything(key, value):
    data = json.dumps(live() | {key: value}).encode()
    with suppress(Flaw):
        json.dumps(asdict(read(Live, data)), allow_nan=False)
