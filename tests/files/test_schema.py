"""JSON Schemas against the shipped files, with the general-purpose library jsonschema (Draft 2020-12)."""

import argparse
import json
import subprocess
import sys

import pytest
from jsonschema import Draft202012Validator

from benchctl.cli import schema as verb
from benchctl.cli.voice import Voice
from benchctl.files import KINDS, names, schema
from benchctl.files.tree import parse, plain
from benchctl.mqtt import page
from tests.files.paper import CONFIGS, flaws, text_of


@pytest.mark.parametrize("kind", KINDS)
def test_a_schema_is_valid_and_accepts_every_shipped_file(kind):
    Draft202012Validator.check_schema(schema(kind))
    for name in names(kind):
        errors = list(Draft202012Validator(schema(kind)).iter_errors(plain(parse(text_of(kind, name), name))))
        assert not errors, (name, errors)


@pytest.mark.parametrize("kind", KINDS)
def test_the_schema_that_editors_find_is_the_present_one(kind):
    assert json.loads((CONFIGS / "schemas" / f"{kind}.schema.json").read_text(encoding="utf-8")) == schema(kind)
    for name in names(kind):
        assert text_of(kind, name).startswith(f"# yaml-language-server: $schema=../schemas/{kind}.schema.json\n")


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("program", "title: t\nsegments: [ramp: {to: 50, over: 60 s}]"),
        ("program", "title: t\nsegments: [hold: {for: 1:30}]"),
        ("program", "title: t\nsegments: []"),
        ("program", "title: t\nsegments: [hold: {for: 1 s}]\nx: 1"),
        ("program", "title: t\nsegments: [{hold: {for: 1 s}, drop: {}}]"),
        ("scenario", "title: t\nfaults: [{fault: x, on: y, at: 1 s}]"),
        ("site", text_of("site", "northquay").replace("largest_block_up_percent", "largest_blok")),
        ("unit", text_of("unit", "coil-150").replace("airflow:", "airflaw:")),
    ],
)
def test_a_schema_refuses_what_the_reader_refuses(kind, text):
    assert not Draft202012Validator(schema(kind)).is_valid(plain(parse(text, "x.yaml")))
    assert flaws(kind, text)


def test_no_key_may_be_null():
    assert '"null"' not in json.dumps([schema(kind) for kind in KINDS])


@pytest.mark.parametrize("kind", [*KINDS, None, "sight"])
def test_the_verb_prints_a_schema_or_the_kinds(kind, capsys):
    code = verb.run(argparse.Namespace(kind=kind), Voice(json_lines=False))
    out, err = capsys.readouterr()
    if kind in KINDS:
        assert (code, json.loads(out)) == (0, schema(kind))
    elif kind is None:
        assert (code, len(out.splitlines())) == (0, len(KINDS) + len(page.KINDS))
    else:
        assert (code, out) == (2, "")
        assert "known: site, unit" in err


def test_a_file_fault_can_be_had_without_pydantic():
    told = subprocess.run(
        [sys.executable, "-c", "import sys, benchctl.files; print('pydantic' in sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    ).stdout
    assert told == "False\n"
