"""Scenario files. What a fault takes is the closed list of core/scenario.py."""

import pytest

from benchctl.core.command import Verb
from benchctl.core.scenario import FAULTS, Answer, Fault
from benchctl.files import read_scenario, read_site
from benchctl.files.scenario import AnswerRow
from tests.files.paper import flaws, marked, read

SITE, _ = read_site("northquay")


def scenario(faults="[]", answers="[]"):
    return f"title: t\nfaults: {faults}\nanswers: {answers}\n"


def test_faults_and_answers_are_read():
    found = read(
        "scenario",
        "title: t\nfaults:\n  - {fault: fuse blown, on: bank 1, at: 1 min, for: 5 s, value: 2.3, during: 4}\n"
        'answers:\n  - {verb: answer, to: prompts, after: 4 s, text: "yes"}\n',
    )
    assert found.faults == (Fault(60.0, "fuse blown", "bank 1", 2.3, 5.0, 4, 3),)
    assert found.answers == (Answer("answer", None, "prompts", 4.0, "yes", line=5),)


@pytest.mark.parametrize(
    ("fault", "value"),
    [
        ("other master, on: bank 4", ("20 kW", 20.0)),
        ("volts sag, on: source", ("80 %", 80.0)),
        ("delay, on: bank 1", ("150 ms", 0.15)),
        ("site load, on: source", ("0.03 MW", 30.0)),
        ("wrong ratio, on: source meter", ("2", 2.0)),
        ("transformers exchanged, on: source meter", ("13", 13.0)),
        ("inlet blocked, on: bank 1", ("0.5", 0.5)),
    ],
)
def test_a_value_is_read_in_the_unit_of_its_fault(fault, value):
    found = read("scenario", scenario(f"[{{fault: {fault}, at: 1 s, value: {value[0]}}}]"))
    assert found.faults[0].value == value[1]


@pytest.mark.parametrize("name", ["bank 4", "127.0.0.1:15024"])
def test_a_cable_goes_by_its_socket_or_by_the_device_at_its_end(name):
    found = read("scenario", scenario(f"[{{fault: cut, on: '{name}', at: 1 s}}]"))
    assert found.faults[0].on == "127.0.0.1:15024"


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        ("{fault: ¶fan fail, on: bank 1, at: 1 s}", "'fan fail' is no fault, did you mean 'fan fails'?"),
        ("{fault: fan fails, on: ¶bank 9, at: 1 s}", "'bank 9' is no unit of the site 'northquay', did you mean"),
        ("{fault: fan fails, on: ¶source meter, at: 1 s}", "is no unit of the site"),
        ("{fault: meter lost, on: ¶bank 1, at: 1 s}", "is no instrument of the site"),
        ("{fault: volts sag, on: ¶bank 1, at: 1 s, value: 80 %}", "is no source (say: source)"),
        ("{fault: cut, on: ¶127.0.0.1:1, at: 1 s}", "is no device or socket"),
        ("{fault: fan fails, on: bank 1, at: 1 s, ¶value: 3}", "'fan fails' takes no value"),
        ("¶{fault: fuse blown, on: bank 1, at: 1 s}", "key 'value' is missing here: 'fuse blown' takes stage number"),
        ("{fault: fuse blown, on: bank 1, at: 1 s, value: ¶2.4}", "expected stage number, then phase"),
        ("{fault: fuse blown, on: bank 1, at: 1 s, value: ¶8.1}", "'bank 1' has 7 stages"),
        ("{fault: contactor will not close, on: bank 1, at: 1 s, value: ¶0}", "'bank 1' has 7 stages"),
        ("{fault: contactor will not close, on: bank 4, at: 1 s, value: ¶1}", "'bank 4' has 0 stages"),
        ("{fault: phase lost, on: source, at: 1 s, value: ¶4}", "expected phase, 1 to 3"),
        ("{fault: busy, on: bank 1, at: 1 s, value: ¶7}", "expected exception code"),
        ("{fault: airflow proof stuck, on: bank 1, at: 1 s, value: ¶2}", "expected 1 or 0"),
        ("{fault: loses replies, on: bank 1, at: 1 s, value: ¶1.5}", "expected share, 0 to 1"),
        ("{fault: delay, on: bank 1, at: 1 s, value: ¶2}", "'2' has no unit"),
        ("{fault: fan fails, on: bank 1, at: ¶90}", "'90' has no unit"),
        ("{fault: fan fails, on: bank 1, at: 1 s, during: ¶0}", "at least 1"),
    ],
)
def test_a_wrong_fault_is_told_with_its_place(fault, told):
    text, place = marked(scenario(f"[{fault}]"))
    (found,) = flaws("scenario", text)
    assert found.startswith(place), found
    assert told in found


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        ("¶{verb: reset}", "either 'at' (a time) or 'to'"),
        ("¶{verb: reset, at: 1 s, to: prompts}", "and not both"),
        ("¶{verb: join, at: 1 s}", "key 'unit' is missing here"),
        ("{verb: join, at: 1 s, unit: ¶bank 9}", "is no unit of the site"),
        ("{verb: answer, to: prompts, text: ¶maybe}", '"yes" or "no"'),
        ("{verb: ¶jump, at: 1 s}", "expected one of: start"),
        ("¶{verb: set load, at: 1 s}", "'set load' takes an amount"),
        ("{verb: set load, at: 1 s, value: ¶200}", "has no unit"),
        ("{verb: reset, at: 1 s, ¶value: 2}", "takes no value"),
        ("¶{verb: override, at: 1 s, text: x}", "and a 'why'"),
        ("{verb: reset, to: prompts, ¶during: 3}", "belongs to 'at'"),
    ],
)
def test_a_wrong_answer_is_told_with_its_place(answer, told):
    text, place = marked(scenario(answers=f"[{answer}]"))
    (found,) = flaws("scenario", text)
    assert found.startswith(place), found
    assert told in found


def test_the_value_of_an_answer_has_the_unit_of_its_verb():
    found = read(
        "scenario",
        scenario(answers="[{verb: set load, at: 1 s, value: 0.2 MW}, {verb: extend, at: 2 s, value: 5 min}]"),
    )
    assert [a.value for a in found.answers] == [200.0, 300.0]


def test_every_verb_of_an_operator_can_be_written():
    """All commands but taking charge, which a rehearsal does before anything else, and from nobody."""
    allowed = AnswerRow.model_json_schema()["properties"]["verb"]["enum"]
    assert set(allowed) == {v.value for v in Verb} - {Verb.TAKE_CHARGE.value, Verb.TAKE_OVER.value}


def test_every_fault_can_be_written():
    values = {
        "": "",
        "1 or 0": "1",
        "kW": "20 kW",
        "percent of rated": "80 %",
        "s": "1 s",
        "exception code": "6",
        "factor": "2",
        "two phases: 12, 13 or 23": "12",
    }
    on = {"unit": "bank 1", "instrument": "source meter", "source": "source", "cable": "bank 2"}
    for kind in FAULTS:
        value = values.get(kind.value, "0.5" if "share" in kind.value else "2.3" if "point" in kind.value else "2")
        row = f"{{fault: {kind.name}, on: {on[kind.on]}, at: 1 s" + (f", value: {value}}}" if value else "}")
        assert flaws("scenario", scenario(f"[{row}]")) == []


def test_the_fan_of_bank_4_fails_in_the_fourth_segment():
    found, _ = read_scenario("fan-failure", SITE)
    assert [(f.fault, f.on, f.during, f.at_s, f.for_s) for f in found.faults] == [
        ("fan fails", "bank 4", 4, 20.0, 60.0)
    ]
