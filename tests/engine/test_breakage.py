"""What breaks beside decide: a chain that raises, a listener that raises, and decide itself."""

import pytest

from benchctl import engine as room
from benchctl.core.command import Command, Verb
from benchctl.core.decision import Event, Frame
from benchctl.core.orders import Orders, UnitWrites, Write
from benchctl.core.reading import Outcome
from benchctl.engine import LAST_TRIES, Engine
from simulator.warp import WarpLoop, run
from tests.engine.test_engine import SETTINGS, Scripted


class Breaking(Scripted):
    """A chain whose reads or writes raise from a given scan on, for some scans."""

    def __init__(self, what: str, first: int, count: int) -> None:
        super().__init__()
        self.what, self.bad = what, range(first, first + count)
        self.asked = {"read": 0, "write": 0}

    def _break(self, what: str) -> None:
        number = self.asked[what]
        self.asked[what] += 1
        if what == self.what and number in self.bad:
            raise OSError(f"the {what} broke")

    async def read(self, until_s, cut=None):
        self._break("read")
        return await super().read(until_s, cut)

    async def write(self, orders: Orders, until_s: float, cut=None) -> tuple[UnitWrites, ...]:
        self._break("write")
        return await super().write(orders, until_s)


def driven(chain: Scripted, scans: int, *listeners) -> list[Frame]:
    frames: list[Frame] = []
    loop = WarpLoop()
    engine = Engine(SETTINGS, chain, loop.time, (*listeners, frames.append))

    async def drive() -> None:
        engine.submit(Command(Verb.TAKE_CHARGE, "test"))
        await engine.run(lambda frame: frame.number >= scans - 1)

    run(drive(), loop)
    return frames


def told(frames: list[Frame]) -> list[str]:
    return [e.text for f in frames for e in f.decision.events if e.kind == "fault"]


def test_a_chain_that_raises_while_reading_has_not_answered_and_the_scans_go_on():
    frames = driven(Breaking("read", 2, 3), 10)
    assert [f.number for f in frames] == list(range(10))
    broken = [all(r.outcome is Outcome.NOT_ASKED for r in f.inputs.units) for f in frames]
    assert broken == [False] * 2 + [True] * 3 + [False] * 5
    assert told(frames) == ["reading failed: OSError: the read broke"] * 3


def test_what_was_being_written_when_a_chain_raised_may_be_in_force():
    frames = driven(Breaking("write", 2, 1), 6)
    assert len(frames) == 6
    assert all(w.closing is Write.UNKNOWN for w in frames[2].writes)
    assert frames[3].inputs.writes == frames[2].writes
    assert told(frames) == ["writing failed: OSError: the write broke"]


def test_a_listener_that_raises_is_left_out_told_of_and_stops_neither_scan_nor_the_others():
    heard: list[int] = []

    def broken(frame: Frame) -> None:
        heard.append(frame.number)
        raise ValueError("no room left")

    frames = driven(Scripted(), 6, broken)
    assert len(frames) == 6
    assert heard == [0]
    assert told(frames) == ["a listener failed: ValueError: no room left"]


@pytest.mark.parametrize(("bad_writes", "repeats"), [(0, 1), (4, 5), (10**6, LAST_TRIES)])
def test_after_decide_has_failed_openings_are_repeated_until_they_are_acknowledged(monkeypatch, bad_writes, repeats):
    def failing(state, inputs, settings):
        raise ZeroDivisionError("as if")

    monkeypatch.setattr(room, "decide", failing)
    chain = Breaking("write", 1, bad_writes)  # the first is the failed scan's own
    frames = driven(chain, 5)
    assert len(frames) == 1
    assert frames[0].fault == "ZeroDivisionError: as if"
    assert chain.asked["write"] == 1 + repeats
    assert all(o.lower and o.keep == 0 and o.fan and not o.feed for _, sent in chain.writes for o in sent.units)


def test_what_a_listener_notes_is_told_with_the_next_frame_once():
    frames: list[Frame] = []
    loop = WarpLoop()

    def listen(frame: Frame) -> None:
        if frame.number == 1:
            engine.note(Event("connection", "bank 1: refused", 0))

    engine = Engine(SETTINGS, Scripted(), loop.time, (listen, frames.append))
    run(engine.run(lambda frame: frame.number >= 4), loop)
    assert [f.number for f in frames for e in f.decision.events if e.kind == "connection"] == [2]
