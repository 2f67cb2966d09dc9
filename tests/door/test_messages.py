"""What a message is: recorded lines of versions 1 to 3, the schema against jsonschema, the page."""

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from benchctl.core.command import Command, Verb
from benchctl.core.decision import Frame
from benchctl.core.program import Block, Hold, Target
from benchctl.core.reading import Outcome
from benchctl.core.snapshot import snapshot
from benchctl.door import messages as m
from benchctl.door.page import page, schema
from tests.core.worlds import program, site, staged, stepped
from tests.door.rooms import Kept

ROOT = Path(__file__).parents[2]
RECORDED = (Path(__file__).parent / "messages-3.jsonl").read_bytes().splitlines()
BEFORE = [
    (version, line)
    for version in (1, 2)
    for line in (Path(__file__).parent / f"messages-{version}.jsonl").read_bytes().splitlines()
    if json.loads(line)["kind"] in m.VERSIONED
]
SCHEMA = ROOT / "configs" / "schemas" / "door.schema.json"
ALL = m.CLIENT_KINDS | m.HOST_KINDS


def kinds_of(line: bytes):
    return m.CLIENT_KINDS if json.loads(line)["kind"] in m.CLIENT_KINDS else m.HOST_KINDS


@pytest.mark.parametrize("line", RECORDED, ids=[json.loads(line)["kind"] for line in RECORDED])
def test_recorded_messages_of_version_3_are_read_and_written_as_they_were(line):
    """If this fails and the change is meant, PROTOCOL must be counted up and a new recording made beside this one."""
    assert m.PROTOCOL == 3
    message = m.decode(line, kinds_of(line))
    assert json.loads(m.encode(message)) == json.loads(line)


@pytest.mark.parametrize(("version", "line"), BEFORE)
def test_whoever_speaks_an_earlier_version_is_known_by_the_first_line(version, line):
    with pytest.raises(m.VersionFault, match=f"speaks version {version} of the messages, not 3") as fault:
        m.decode(line, kinds_of(line))
    assert fault.value.found == version


@pytest.mark.parametrize("line", RECORDED, ids=[json.loads(line)["kind"] for line in RECORDED])
def test_where_the_kind_stands_in_a_line_makes_no_difference(line):
    keys = json.loads(line)
    turned = json.dumps(dict(reversed(keys.items()))).encode()
    assert m.decode(turned, kinds_of(line)) == m.decode(line, kinds_of(line))


def test_a_line_that_says_its_kind_twice_is_no_message():
    with pytest.raises(m.MessageFault, match="kind: input should be 'look', found 'bye'"):
        m.decode(b'{"kind":"look","id":1,"kind":"bye"}', m.CLIENT_KINDS)


def test_the_recording_has_every_kind_and_every_key():
    found = {json.loads(line)["kind"]: json.loads(line) for line in RECORDED}
    assert set(found) == set(ALL)
    for kind, line in found.items():
        assert set(line) == set(ALL[kind].model_fields)


def test_the_schema_in_the_configs_is_the_present_one():
    assert json.loads(SCHEMA.read_text(encoding="utf-8")) == schema()


def test_the_schema_is_valid_and_takes_the_recorded_messages_only():
    Draft202012Validator.check_schema(schema())
    for line in RECORDED:
        side = "from_client" if json.loads(line)["kind"] in m.CLIENT_KINDS else "from_host"
        whole = schema() | {"required": [side]}
        assert Draft202012Validator(whole).is_valid({side: json.loads(line)}), line
        assert not Draft202012Validator(whole).is_valid({side: json.loads(line) | {"more": 1}}), line


def test_the_page_tells_every_kind_and_key_on_one_page():
    told = page()
    assert len(told.splitlines()) <= 30
    for kind, model in ALL.items():
        assert f"`{kind}`" in told
        for key in model.model_fields:
            assert key == "kind" or f"`{key}`" in told


def test_every_verb_fits_into_an_order():
    for verb in Verb:
        assert m.Order(id=1, verb=verb.value).verb == verb.value


@given(st.binary(max_size=200))
def test_no_bytes_raise_anything_but_a_message_fault(line):
    for kinds in (m.CLIENT_KINDS, m.HOST_KINDS):
        with pytest.raises(m.MessageFault) as fault:  # no random bytes are a message
            m.decode(line, kinds)
        assert str(fault.value).isprintable()


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=9), inner, max_size=4),
    max_leaves=8,
)
KEYS = sorted({key for model in ALL.values() for key in model.model_fields})


@given(st.sampled_from(sorted(ALL)), st.dictionaries(st.sampled_from(KEYS) | st.text(max_size=5), JSON, max_size=6))
def test_no_object_raises_anything_but_a_message_fault(kind, keys):
    line = json.dumps(keys | {"kind": kind}).encode()
    try:
        message = m.decode(line, ALL)
    except m.MessageFault as fault:
        m.encode(m.Bye(why=str(fault)))  # whatever was found can be told
    else:
        assert m.decode(m.encode(message), ALL) == message


@given(st.text(st.characters(codec=None), max_size=30))
def test_any_text_of_an_event_reaches_the_client(text):
    event = m.Event(number=1, wall_s=1.0, what="x", text=text)
    back = m.decode(m.encode(event), m.HOST_KINDS)
    assert isinstance(back, m.Event)
    assert back.text == text.encode("utf-8", "replace").decode()


FIELDS = ("remote", "fan_on", "airflow", "fan_supply", "emergency_stop", "identity_ok")
UNITS = st.lists(
    st.tuples(
        st.sampled_from([None, None, Outcome.SILENT, Outcome.PART]),
        st.dictionaries(st.sampled_from(FIELDS), st.none() | st.booleans(), max_size=2),
        st.sampled_from([None, 20.0, 300.0]),
    ),
    min_size=2,
    max_size=2,
)
COMMANDS = st.sampled_from([None, *Verb])


@settings(max_examples=40)
@given(st.lists(st.tuples(UNITS, COMMANDS, st.sampled_from([0.5, 0.5, 3.0, 40.0])), max_size=12))
def test_whatever_the_bench_is_in_a_client_sees_the_same(steps):
    bench = Kept(site(staged(40, 60, own=True), stepped(100, 5)), program(Block(Target(80)), Hold(3.0)))
    bench.ready()
    for units, verb, dt_s in steps:
        for fake, (silent, fields, exhaust_c) in zip(bench.plant.units, units, strict=True):
            fake.silent, fake.fields, fake.exhaust_c = silent, dict(fields), exhaust_c
        commands = () if verb is None else (Command(verb, "operator", "why", 60.0, "yes", 0),)
        bench.scan(*commands, dt_s=dt_s)
        shown = snapshot(Frame(bench.scans, 1.0, bench.inputs, bench.last, bench.writes), bench.settings)
        back = m.decode(m.encode(m.Shown(snapshot=shown)), m.HOST_KINDS)
        assert isinstance(back, m.Shown)
        assert back.snapshot == shown


def test_data_that_is_no_json_is_told_as_text_instead_of_not_at_all():
    back = m.decode(m.encode(m.Accepted(id=1, data={"path": Path("a"), "verb": object})), m.HOST_KINDS)
    assert isinstance(back, m.Accepted)
    assert back.data["path"] == "a"
