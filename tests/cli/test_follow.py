"""Following a run in a terminal: what is typed, Ctrl-C, what is told, and how it ends."""

import asyncio
import re
from typing import Any

import pytest

from benchctl.cli import follow as room
from benchctl.cli.telling import CHECK_IN
from benchctl.cli.typed import LEAVE, WORDS
from benchctl.core.command import Verb
from benchctl.core.shown import PromptShown
from tests.cli.desk import REST, at, shown
from tests.door.rooms import until

# A line -> the order that it gives.
LINES: dict[str, tuple[str, dict[str, Any]]] = {
    "yes": ("answer", {"text": "yes"}),
    "no": ("answer", {"text": "no"}),
    "charge": ("take charge", {}),
    "over shift change": ("take over", {"why": "shift change"}),
    "adopt": ("adopt", {}),
    "set 120": ("set load", {"value": 120.0}),
    "pause": ("pause", {}),
    "resume": ("resume", {}),
    "extend 60": ("extend", {"value": 60.0}),
    "skip": ("skip", {}),
    "unload": ("unload", {}),
    "drop": ("drop", {}),
    "ack": ("acknowledge", {"text": "all"}),
    "reset": ("reset", {}),
    "join bank 2": ("join", {"unit": "bank 2"}),
    "join bank 2: its board was changed": ("join", {"unit": "bank 2", "why": "its board was changed"}),
    "override check load: seen by hand": ("override", {"text": "check load", "why": "seen by hand"}),
    "override cool-down bank 1: cold: felt it": (
        "override",
        {"text": "cool-down", "unit": "bank 1", "why": "cold: felt it"},
    ),
    "override gravity: tired": ("override", {"text": "gravity", "why": "tired"}),  # the bench says what is known
    "fans bank 1": ("confirm fans", {"unit": "bank 1"}),
    "switch bank 1: 20 kW one on": ("switch", {"unit": "bank 1", "text": "20 kW one", "value": 1.0}),
    "switch bank 1: 4 kW off": ("switch", {"unit": "bank 1", "text": "4 kW", "value": 0.0}),
    "switch bank 4: 35": ("switch", {"unit": "bank 4", "value": 35.0}),
    "shelve inlet warm bank 1 600: sun": (
        "shelve",
        {"text": "inlet warm", "unit": "bank 1", "value": 600.0, "why": "sun"},
    ),
    "shelve volts off 0": ("shelve", {"text": "volts off", "value": 0.0}),
    "reading oil_kpa=420; coolant_c=88.5": ("reading", {"text": "oil_kpa=420; coolant_c=88.5"}),
    "remark rain: heavy": ("remark", {"why": "rain: heavy"}),
    "": ("check in", {}),
    "DROP": ("drop", {}),
}
WRONG = {
    "set": "set : expected kW, such as: set 60",
    "set much": "set much: expected kW, such as: set 60",
    "extend a bit": "extend a bit: expected seconds, such as: extend 60",
    "override check load": "expected what and why, such as: override check load: witnessed by hand",
    "switch bank 1": "expected a unit and a stage, or kW of a set point, such as: switch bank 1: 20 kW on; ",
    "shelve inlet warm: sun": "expected an alarm, its unit, seconds and why, such as: shelve inlet warm bank 1 600: ",
    "raise 20": "raise: not known; there are yes, no, charge, over, adopt, set, ",
}


def test_the_lines_of_this_test_have_every_word_and_the_words_every_verb_of_a_run():
    assert {line.partition(" ")[0].lower() for line in LINES} == set(WORDS)
    assert {verb for verb, _ in WORDS.values()} == {v.value for v in Verb} - {"start"}  # that is what `run` does


@pytest.mark.parametrize("line", LINES)
async def test_every_word_gives_its_order(line):
    async with at() as desk:
        desk.type(line)
        await until(lambda: desk.client.orders)
        assert desk.client.orders == [LINES[line]]
        assert desk.voice.said == []


@pytest.mark.parametrize("line", WRONG)
async def test_a_wrong_word_is_told_and_gives_no_order(line):
    async with at() as desk:
        desk.type(line)
        await until(lambda: desk.voice.said)
        assert desk.voice.said[0].startswith(WRONG[line])
        assert desk.client.orders == []


async def test_what_is_typed_is_ordered_in_the_name_that_took_charge():
    async with at(who="Kim") as desk:
        desk.type("pause")
        await until(lambda: desk.client.orders)
        assert desk.client.orders == [("pause", {"who": "Kim"})]


async def test_the_end_of_input_is_silence_not_a_check_in():
    async with at() as desk:
        desk.type(None)
        await asyncio.sleep(0.05)
        assert desk.client.orders == []
        assert not desk.task.done()


async def test_where_nobody_has_to_be_there_nothing_is_read():
    async with at(asks=False) as desk:
        desk.type("drop")
        await asyncio.sleep(0.05)
        assert desk.client.orders == []


async def test_a_refusal_is_told_once_whether_the_bench_tells_it_or_not():
    async with at() as desk:
        desk.client.refuses = "above the limit of 160 kW"
        desk.type("set 900")
        await until(lambda: desk.voice.said)
        assert desk.voice.said == ["set load: above the limit of 160 kW"]
        desk.voice.said.clear()
        desk.client.tell("refused", "set load 900: above the limit of 160 kW", data={"why": desk.client.refuses})
        await until(lambda: desk.voice.said)
        desk.type("set 900")
        await asyncio.sleep(0.05)
        assert [re.sub(r"^\S+\s+", "", line) for line in desk.voice.said] == [
            "refused            set load 900: above the limit of 160 kW"
        ]


async def test_ctrl_c_unloads_and_a_second_says_how_far_that_is_and_how_to_drop():
    async with at() as desk:
        await desk.reflex()
        assert desk.client.orders == [("unload", {})]
        assert desk.voice.heard("Ctrl-C: unloading, then cooling down")
        assert desk.voice.heard("type drop, or use `benchctl drop` in any shell")
        desk.voice.said.clear()
        await desk.reflex()
        assert desk.client.orders == [("unload", {})]
        assert re.fullmatch(r"unloading, \d+ s; .*benchctl drop.*", desk.voice.said[0])
        assert not desk.task.done()


async def test_where_nothing_can_be_typed_ctrl_c_does_not_say_that_it_can():
    async with at(asks=False) as desk:
        await desk.reflex()
        assert not desk.voice.heard("type drop")
        assert desk.voice.heard("`benchctl drop` in any shell")


async def test_ctrl_c_while_it_cools_says_how_long_and_leaves_nothing():
    async with at() as desk:
        await desk.reflex()
        desk.client.snapshot = shown(mode="cooling down", off=True, loaded=False, cool_down_s=93.0)
        await desk.reflex()
        assert desk.voice.heard("all load is off; cooling down, 93 s left")
        assert desk.client.orders == [("unload", {})]


@pytest.mark.parametrize("mode", ["idle", "done"])
async def test_ctrl_c_with_nothing_on_leaves_and_orders_nothing(mode):
    async with at(shown(mode=mode, off=True, loaded=False)) as desk:
        await desk.reflex()
        desk.client.show(REST)
        assert await desk.code() == 0
        assert desk.client.orders == []
        assert desk.voice.said == []


async def test_ctrl_c_before_any_scan_has_come_unloads():
    async with at() as desk:
        desk.client.snapshot = None
        await desk.reflex()
        assert desk.client.orders == [("unload", {})]


async def test_ctrl_c_with_load_not_known_to_be_off_unloads():
    async with at(shown(mode="idle", off=None, loaded=True)) as desk:
        await desk.reflex()
        assert desk.client.orders == [("unload", {})]


@pytest.mark.parametrize(("run", "code"), [("", 0), ("/runs/a.run", 1)], ids=["attached", "of a run that goes on"])
async def test_leaving_says_what_becomes_of_the_load(run, code):
    async with at(run=run) as desk:
        desk.type(LEAVE)
        await until(lambda: desk.voice.said)
        desk.client.show(shown())
        assert await desk.code() == code
        assert desk.voice.heard("left: the run host goes on; attach again, or the load comes off in the site's time")
        assert desk.voice.rows == [{"outcome": "left"}]
        assert desk.client.orders == []


async def test_events_are_told_with_time_kind_and_name():
    async with at() as desk:
        desk.client.tell("command", "pause", who="Kim")
        await until(lambda: desk.voice.said)
        assert re.fullmatch(r"\d\d:\d\d:\d\d  command            pause \(Kim\)", desk.voice.said[0])


async def test_permissives_are_told_as_they_fill_in():
    async with at() as desk:
        rows = [("bank 1: airflow proven", None), ("bank 2: airflow proven", False), ("volts", True)]
        desk.client.show(shown(mode="checks", loaded=False, permissives=tuple(rows)))
        await until(lambda: len(desk.voice.said) == 1)
        desk.client.show(shown(mode="checks", loaded=False, permissives=tuple(rows)))
        desk.client.show(shown(mode="checks", loaded=False, permissives=((rows[0][0], True), *rows[1:])))
        await until(lambda: len(desk.voice.said) == 2)
        assert desk.voice.said[0].endswith("waits for          bank 1: airflow proven; bank 2: airflow proven")
        assert desk.voice.said[1].endswith("waits for          bank 2: airflow proven")


async def test_when_nothing_happens_the_state_is_told_with_the_open_question(monkeypatch):
    monkeypatch.setattr(room, "QUIET_S", 0.0)
    async with at() as desk:
        prompt = PromptShown("band", "Go on?", "go on", "unload", 42.0, "hold")
        desk.client.show(shown(target_kw=80.0, delivered_kw=None, prompt=prompt))
        await until(lambda: desk.voice.said)
        assert "  running            target 80 kW, delivered not known, " in desk.voice.said[0]
        assert desk.voice.said[0].endswith("; QUESTION: Go on? (yes or no, 42 s)")


async def test_a_sign_of_a_person_that_is_asked_for_is_asked_for_until_it_is_given(monkeypatch):
    monkeypatch.setattr(room, "QUIET_S", 0.0)
    async with at() as desk:
        desk.client.tell("check-in", "is somebody there? Check in within 2 min")
        desk.client.show(shown(person_s=300.0))
        desk.client.show(shown(person_s=300.5))
        desk.client.show(shown(person_s=0.0))
        await until(lambda: len(desk.voice.said) == 4)
        assert desk.voice.said[0].endswith("is somebody there? Check in within 2 min - press Enter to check in")
        asked = [CHECK_IN in line for line in desk.voice.said[1:]]
        assert asked == [True, True, False]


async def test_where_nothing_can_be_typed_nobody_is_told_to_type():
    async with at(asks=False) as desk:
        desk.client.tell("check-in", "is somebody there?")
        desk.client.tell("prompt", "bank 1 is held. Go on?")
        await until(lambda: len(desk.voice.said) == 2)
        assert [line.rpartition("?")[2] for line in desk.voice.said] == ["", ""]


async def test_a_question_says_how_it_is_answered():
    async with at() as desk:
        desk.client.tell("prompt", "bank 1 is held. Go on?")
        await until(lambda: desk.voice.said)
        assert desk.voice.said[0].endswith("Go on? - type yes or no")


async def test_who_watches_is_told_once_when_whoever_has_charge_is_not_attached_any_more():
    both = {"charge": "Robin", "charge_console": "console 2", "consoles": ("console 1", "console 2")}
    left = both | {"consoles": ("console 1",)}
    async with at() as desk:
        for scan in (both, both, left, left, both, both | {"charge_console": "console 1"}):
            desk.client.show(shown(**scan))
        words = "Robin at console 2 is not attached any more: nobody is at the controls - type charge"
        await until(lambda: desk.voice.heard(words))
        await asyncio.sleep(0.05)
        assert sum("not attached" in line for line in desk.voice.said) == 1


async def test_a_reading_is_asked_for_when_it_falls_due_and_again_when_the_next_one_does():
    asked = {"readings": ("oil_kpa", "coolant_c"), "reading_number": 3}
    async with at() as desk:
        for due_s in (2.0, 0.5, -0.5, -1.0, -59.0, -0.2, 30.0):
            desk.client.show(shown(**asked, reading_due_s=due_s))
        await until(lambda: sum("reading 3 is due - type reading oil_kpa=…; coolant_c=…" in s for s in desk.voice.said))
        await asyncio.sleep(0.05)
        assert sum("is due" in line for line in desk.voice.said) == 2


async def test_nobody_is_asked_for_a_reading_where_nothing_is_typed():
    async with at(asks=False) as desk:
        desk.client.show(shown(readings=("oil_kpa",), reading_number=1, reading_due_s=-0.5))
        await until(lambda: desk.voice.heard("reading 1 is due"))
        assert not desk.voice.heard("type reading")
