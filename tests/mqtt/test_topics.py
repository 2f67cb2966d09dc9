"""The topic tree, against clause 4.7 of MQTT 3.1.1 and 5.0 (topic names and filters)."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from benchctl.files.broker import root_flaw
from benchctl.mqtt import page, topics
from tests.files.paper import CONFIGS
from tests.mqtt.broker import matches

NAMES = st.text(min_size=1, max_size=40).filter(lambda t: "\ud800" not in t and t.isascii() | t.isprintable())


@given(NAMES, st.sampled_from(topics.WORLDS), st.sampled_from(topics.LEAVES))
def test_every_bench_has_topics_of_its_own_which_say_what_they_are(bench, world, leaf):
    tree = topics.Tree("a/b", world, bench)
    topic = tree.topic(leaf, "returned to normal" if leaf is topics.EVENT else "")
    assert topic.count("/") == (5 if leaf is topics.EVENT else 4)
    assert not set("+#\0") & set(topic)
    assert matches(topics.everything("a/b"), topic)
    place = topics.placed(topic, "a/b")
    assert place == topics.Place(world, bench, leaf, "returned to normal" if leaf is topics.EVENT else "")


@pytest.mark.parametrize(
    "topic",
    [
        "a/real/x",
        "b/real/x/state",
        "a/x/y/state",
        "a/real/x/no",
        "a/real//state",
        "a/real/x/event",
        "a/real/x/state/y",
        "",
    ],
)
def test_what_is_not_of_the_tree_has_no_place(topic):
    assert topics.placed(topic, "a") is None


@pytest.mark.parametrize("root", ["a/", "/a", "a//b", "", "a+", "a/#", "$SYS/a", "a\nb", "ä" * 101])
def test_a_root_that_is_none_is_told(root):
    assert root_flaw(root)


@pytest.mark.parametrize("kind", page.KINDS)
def test_the_schema_on_the_shelf_is_the_present_one(kind):
    made = page.schema(kind)
    Draft202012Validator.check_schema(made)
    assert json.loads((CONFIGS / "schemas" / f"{kind}.schema.json").read_text(encoding="utf-8")) == made
    assert set(made["required"]) == set(made["properties"])


def test_what_is_live_is_not_retained_and_what_is_retained_arrives():
    assert {leaf.name for leaf in topics.LEAVES if not leaf.retained} == {"snapshot", "event"}
    assert all(leaf.qos == 1 for leaf in topics.LEAVES if leaf.retained)
    assert all(f"`{leaf.name}" in page.table() for leaf in topics.LEAVES)
