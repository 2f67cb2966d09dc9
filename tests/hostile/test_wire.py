"""Some thousands of spoilt replies against the real client, and what a client with a fault would be caught at.

The long version, a million of them: `python -m tests.hostile wire`.
"""

from collections import Counter
from random import Random

import pytest

from benchctl.field.asking import Asking
from benchctl.field.chain import Chain
from benchctl.field.modbus import Question
from benchctl.field.wire import Wire
from tests.hostile.frames import KINDS, NAMES, Past, some_kinds
from tests.hostile.judge import Found
from tests.hostile.ledger import Ledger
from tests.hostile.wire import BenchUniverse, ChainUniverse, spoilt

REPLY = bytes.fromhex("0007 0000 0007 01 03 04 0001 0002")


def test_some_thousands_of_spoilt_replies_break_no_law_in_any_universe():
    found = Found(Counter())
    for seed in range(100, 120):
        ChainUniverse(seed, found).run(30.0)
    assert found.broken == []
    assert spoilt(found) > 2000
    assert all(found.counts[name] for name in NAMES)
    assert found.counts["answers OK"] > 2000  # the wire is bad, not dead
    assert found.counts["closings sent"] > 300
    assert found.counts["… accepted as true"] > 0  # Modbus TCP cannot show a changed data byte, and this says so


def test_a_whole_bench_behind_a_bad_wire_breaks_no_law_and_still_gets_somewhere():
    found = Found(Counter())
    for seed in (1009, 1019, 1029):
        BenchUniverse(seed, found).run(150.0)
    assert found.broken == []
    assert found.counts["scans of a whole bench"] > 800


@pytest.mark.parametrize("name", NAMES)
def test_every_kind_spoils_and_the_same_seed_spoils_alike(name):
    def made(seed):
        return KINDS[name][0](
            REPLY, Random(seed), Past([REPLY[:6] + b"\x02" + REPLY[7:]], others=[REPLY[:-1] + b"\x09"])
        )

    assert any(made(seed) != [(REPLY, 0.0)] for seed in range(10))
    assert [made(seed) for seed in range(10)] == [made(seed) for seed in range(10)]


def test_the_ledger_takes_the_first_frame_of_the_right_name_and_no_other():
    ledger = Ledger()
    asked = ledger.ask(7, 1, b"\x03\x00\x10\x00\x02")
    ledger.arrive(REPLY[:6] + b"\x02" + REPLY[7:] + REPLY[:5], 1.0)
    assert asked.told is None
    ledger.arrive(REPLY[5:] + REPLY[:-1] + b"\x09", 2.0)
    assert (asked.values(asked.told), asked.told_s) == ([1, 2], 2.0)


# -- clients with a fault: each must be caught, or the judge judges nothing


def any_transaction(monkeypatch):
    real = Wire._reply

    def reply(self, unit_id, transaction, pdu):
        real(self, unit_id, self._transaction, pdu)

    monkeypatch.setattr(Wire, "_reply", reply)


def any_unit(monkeypatch):
    real = Wire._reply

    def reply(self, unit_id, transaction, pdu):
        real(self, self._question.unit_id if self._question else unit_id, transaction, pdu)

    monkeypatch.setattr(Wire, "_reply", reply)


def longer_is_fine(monkeypatch):
    real = Question.answer
    monkeypatch.setattr(Question, "answer", lambda self, reply: real(self, reply[: self._length]))


def echo_unread(monkeypatch):
    from benchctl.field.modbus import ACKNOWLEDGED

    real = Question.answer

    def answer(self, reply):
        return ACKNOWLEDGED if self.space is None and reply[0] == self._function else real(self, reply)

    monkeypatch.setattr(Question, "answer", answer)


def closes_whatever_opened(monkeypatch):
    real = Chain._second_pass

    async def second(self, jobs, everyone, orders, until_s):
        from benchctl.core.orders import Write

        for job in everyone:
            job.opening = Write.DONE if job.opening is not Write.NONE else Write.NONE
        await real(self, jobs, everyone, orders, until_s)

    monkeypatch.setattr(Chain, "_second_pass", second)


def patient(monkeypatch):
    monkeypatch.setattr("benchctl.field.chain.GRACE_S", 0.01)
    real = Asking.start
    monkeypatch.setattr(Asking, "start", lambda self, steps, until_s, done: real(self, steps, until_s + 0.3, done))


def raises_on_a_callback(monkeypatch):
    real = Wire.data_received

    def received(self, data):
        real(self, data)
        if len(data) == 1:
            raise IndexError("a byte alone")

    monkeypatch.setattr(Wire, "data_received", received)


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        (any_transaction, "accepted as"),
        (any_unit, "accepted as"),
        (longer_is_fine, "accepted as"),
        (echo_unread, "without its own echo"),
        (closes_whatever_opened, "closes before an opening was acknowledged"),
        (patient, "after its deadline"),
        (raises_on_a_callback, "raised in a callback"),
    ],
)
def test_a_client_with_a_fault_is_caught(fault, told, monkeypatch):
    fault(monkeypatch)
    found = Found(Counter())
    for seed in range(2, 14):
        ChainUniverse(seed, found).run(30.0)
        if any(told in text for text in found.broken):
            return
    pytest.fail(f"not caught; told: {found.broken[:3]}")


def test_palettes_have_every_kind_among_them_and_often_spare_the_connection():
    palettes = [some_kinds(Random(seed)) for seed in range(200)]
    assert {name for names in palettes for name in names} == set(NAMES)
    assert sum("noise" not in names and "header" not in names for names in palettes) > 100
