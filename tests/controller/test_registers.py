"""Registers as they were read: words by hand, packed with struct as the Modbus tables of the unit say."""

import struct
from dataclasses import replace
from typing import Any

import pytest

from benchctl.controller.registers import Registers
from benchctl.core.decision import Frame
from benchctl.core.registers import Space
from benchctl.field.answer import DOWN, NOT_ASKED, Answer, Answers, Got
from benchctl.field.sweep import Sweep, decoder_of
from tests.controller.test_ending import Kept
from tests.core.worlds import site, staged
from tests.simulator.worlds import profile

UNIT = replace(site(staged(10, 30)).units[0], profile=profile())
PLACE = replace(site(staged(10, 30)), units=(UNIT,), instruments=())
BLOCKS = decoder_of(UNIT).plan.blocks
SWAPPED_KW = struct.unpack(">HH", struct.pack(">f", 31.25))[::-1]  # CDAB: the words of the float the other way round
INPUTS = {
    0: 0b0101,  # stages 1 and 3 closed
    1: 0b000111,  # fan, airflow, remote
    2: 1234,
    3: 0x10000 - 55,
    5: 0b010,  # airflow lost
    6: 1,
    7: 2,
    10: 0x4142,
    20: SWAPPED_KW[0],
    21: SWAPPED_KW[1],
}


def answers(*missing: int, **changes: Answer) -> Answers:
    """What the unit answers block by block, or what it is told to. missing: input registers that it has not."""
    made = []
    for block in BLOCKS:
        words = {Space.INPUT: INPUTS, Space.HOLDING: {0: 0b0101, 1: 1}}[block.space]
        here = [a for a in missing if block.space is Space.INPUT and block.first <= a < block.end]
        values = tuple(0 if a in here else words.get(a, 0) for a in range(block.first, block.end))
        known = Answer(Got.OK, values, holes=tuple(a - block.first for a in here))
        made.append(changes.get(block.space.value, known))
    return tuple(made)


def frame(number: int, now_s: float, said: Answers) -> Frame:
    bench = Kept(PLACE)
    bench.scan()
    return Frame(number, 0.0, replace(bench.inputs, now_s=now_s), bench.last, (), Sweep((said,), ()))


def read(*frames: Frame) -> dict[str, Any]:
    registers = Registers(PLACE)
    for one in frames:
        registers.put(one)
    return registers.of("bank 1")


def rows(told: dict[str, Any]) -> dict[tuple[str, str], tuple[int, int | None, str, str]]:
    return {(r["table"], r["name"]): (r["address"], r["bit"], r["words"], r["text"]) for r in told["rows"] if r["name"]}


def test_each_point_has_its_words_and_what_they_mean():
    told = rows(read(frame(7, 3.5, answers())))
    assert told["input", "exhaust_c"] == (2, None, "04D2", "123.4 degC")
    assert told["input", "inlet_c"] == (3, None, "FFC9", "-5.5 degC")
    assert told["input", "uptime_s"] == (6, None, "0001 0002", "65538 s")
    assert told["input", "power_kw"] == (20, None, f"{SWAPPED_KW[0]:04X} {SWAPPED_KW[1]:04X}", "31.25 kW")
    assert told["input", "stages_closed"] == (0, None, "0005", "5")
    assert told["input", "airflow"] == (1, 1, "0007", "yes")
    assert told["input", "emergency_stop"] == (1, 3, "0007", "no")
    assert told["input", "fault airflow_lost"] == (5, 1, "0002", "yes")
    assert told["input", "serial"] == (10, None, "4142 0000 0000 0000 0000", "AB")
    assert told["holding", "stages_order"] == (0, None, "0005", "5")


def test_words_that_no_point_names_are_there_too_and_every_address_of_a_block_is():
    told = read(frame(7, 3.5, answers()))
    bare = [(r["address"], r["words"], r["text"]) for r in told["rows"] if not r["name"]]
    assert (4, "0000", "") in bare
    for block in told["blocks"]:
        here = [r for r in told["rows"] if r["table"] == block["table"]]
        taken = {a for r in here for a in range(r["address"], r["address"] + len(r["words"].split()))}
        assert set(range(block["first"], block["first"] + block["count"])) <= taken
    places = [(r["table"], r["address"]) for r in told["rows"]]
    assert places == sorted(places, key=lambda p: (["holding", "input"].index(p[0]), p[1]))


def test_words_grow_old_and_the_newest_read_says_how_it_ended():
    later = frame(9, 5.0, answers(input=DOWN, holding=NOT_ASKED))
    told = read(frame(7, 3.5, answers()), later)
    assert told["number"] == 9
    ended = {b["table"]: (b["ended"], b["age_s"]) for b in told["blocks"]}
    assert ended == {"holding": ("ok", 1.5), "input": ("no connection", 1.5)}
    assert rows(told)["input", "exhaust_c"][3] == "123.4 degC"
    assert {r["age_s"] for r in told["rows"]} == {1.5}


def test_what_was_never_read_has_no_rows_and_no_age():
    told = read(frame(1, 0.0, answers(input=Answer(Got.EXCEPTION, code=2), holding=NOT_ASKED)))
    assert {(b["table"], b["ended"], b["age_s"]) for b in told["blocks"]} == {
        ("holding", "not read yet", None),
        ("input", "exception 2", None),
    }
    assert told["rows"] == []


def test_addresses_that_the_device_has_not_have_no_words_and_no_value():
    told = rows(read(frame(1, 0.0, answers(2, 20))))
    assert told["input", "exhaust_c"] == (2, None, "----", "no value")
    assert told["input", "power_kw"][2:] == (f"---- {SWAPPED_KW[1]:04X}", "no value")
    assert told["input", "inlet_c"][3] == "-5.5 degC"


def test_another_name_is_none_of_the_devices():
    with pytest.raises(KeyError):
        Registers(PLACE).of("bank 9")


def test_a_chain_without_bytes_has_no_words():
    bench = Kept(PLACE)
    bench.scan()
    told = read(Frame(1, 0.0, bench.inputs, bench.last, (), object()))
    assert (told["number"], told["rows"]) == (None, [])
