"""Holes in time, and clocks that are stepped, in the middle of a hold.

The gap's figures are a laptop's whose lid was closed for 47 minutes: its monotonic clock stood still (Linux) or ran on
(Windows). Worked out by hand: 10:00:00 to 10:47:00 is 2820 s, of which a clock that moved by 3 s missed 2817 s.
"""

import asyncio
from collections.abc import Callable

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.decision import Frame, Settings
from benchctl.core.orders import Orders, UnitWrites, Write
from benchctl.core.program import Block, Hold, Program, Target
from benchctl.core.state import Mode
from benchctl.engine import Engine
from simulator.warp import WarpLoop, run
from tests.core.worlds import FakeUnit, Plant, program, site, staged

PLACE = site(*[staged(20.0, 40.0, 40.0, 100.0)] * 2)
LONG: Program = program(Block(Target(200.0)), Hold(1800.0), Block(Target(300.0)), Hold(1800.0))
TEN_MIN_S = 600.0


class Noted:
    """A chain that answers at once and keeps what was asked of it, in order."""

    def __init__(self) -> None:
        self.plant = Plant([FakeUnit(u.profile) for u in PLACE.units])
        self.asked: list[str | Orders] = []

    async def read(self, until_s: float, cut: asyncio.Event | None = None):
        self.asked.append("read")
        return self.plant.read(with_meter=True)

    def readings(self, sweep):
        return sweep

    async def write(self, orders: Orders, until_s: float, cut=None) -> tuple[UnitWrites, ...]:
        self.asked.append(orders)
        return tuple(u.write(o) for u, o in zip(self.plant.units, orders.units, strict=True))


class Computer:
    """An engine with a long hold in hand, on a computer whose clocks are moved by hand."""

    def __init__(self, runs_on: bool = True) -> None:
        self.loop = WarpLoop()
        self.asleep_s = self.stepped_s = 0.0
        self.chain = Noted()
        self.frames: list[Frame] = []
        self.engine = Engine(
            Settings.of(PLACE, LONG, 1.0),
            self.chain,
            lambda: 1.8e9 + self.loop.time() + self.asleep_s + self.stepped_s,
            (self.frames.append,),
            running=(lambda: 7.0 + self.loop.time() + self.asleep_s) if runs_on else None,
        )

    def sleep(self, seconds: float, seen_s: float) -> None:
        """Sleep after a scan, until the next: the loop's clock sees only so much of it."""
        self.asleep_s += seconds - seen_s
        self.loop.jump(seen_s - 0.25)  # it wakes shortly before a place of the grid

    def drive(self, then: Callable[[Frame], bool]) -> None:
        """Run to ten minutes of the hold, and on from there until `then` says so."""

        def step(frame: Frame) -> bool:
            state = frame.decision.state
            if frame.number == 1:
                self.engine.submit(Command(Verb.TAKE_CHARGE, "test"))
            if state.mode is Mode.IDLE and state.charge and not any(u.hot for u in state.units):
                self.engine.submit(Command(Verb.START, "test"))
            assert frame.number < 6000, "no end"
            return state.program_s >= TEN_MIN_S and then(frame)

        async def main() -> None:
            await self.engine.run(step)

        run(main(), self.loop)

    def events(self, kind: str, after: int = 0) -> list[str]:
        return [e.text for f in self.frames if f.number > after for e in f.decision.events if e.kind == kind]


SLEEPS = pytest.mark.parametrize(
    ("seen_s", "runs_on", "stood_still_s"),
    [(3.0, True, 2817.0), (3.0, False, 2817.0), (2820.0, True, 0.0), (2820.0, False, 0.0)],
    ids=["Linux", "stands still, no other clock", "runs on, two clocks", "Windows"],
)


@SLEEPS
@pytest.mark.parametrize("dropped", [False, True], ids=["load still on", "load taken off by the watchdogs"])
def test_F1_a_closed_lid_is_one_gap_and_nothing_goes_on_by_itself(seen_s, runs_on, stood_still_s, dropped):
    computer = Computer(runs_on)
    chain, frames = computer.chain, computer.frames
    slept: list[int] = []

    def then(frame: Frame) -> bool:
        if not slept:
            slept.append(frame.number)
            computer.sleep(2820.0, seen_s)
            for u in chain.plant.units if dropped else ():
                u.load = 0
            chain.asked.clear()
        return frame.number >= slept[0] + 30

    computer.drive(then)
    before, after = frames[slept[0]], frames[slept[0] + 1]
    assert before.decision.state.target_kw == 200.0
    assert after.number == before.number + 1
    assert after.inputs.dt_s == pytest.approx(2820.0)
    assert after.inputs.now_s - before.inputs.now_s == pytest.approx(2820.0)
    assert after.wall_s - before.wall_s == pytest.approx(2820.0)
    assert after.inputs.stood_still_s == pytest.approx(stood_still_s)
    assert after.inputs.clock_stepped_s == 0.0
    assert [text.startswith("2820 s not observed") for text in computer.events("gap")] == [True]
    assert computer.events("clock") == []

    assert chain.asked[0] == "read"
    raised = [o for asked in chain.asked if isinstance(asked, Orders) for o in asked.units if o.raise_to is not None]
    assert raised == []
    for frame in frames[after.number :]:
        state = frame.decision.state
        assert state.mode is Mode.RUN
        assert state.held
        assert state.leg == before.decision.state.leg
        assert state.program_s == before.decision.state.program_s
        assert state.target_kw == 200.0
    prompt = after.decision.state.prompt
    assert prompt is not None
    assert prompt.kind == "held"
    assert computer.events("segment", before.number) == []
    assert all(f.inputs.dt_s == pytest.approx(1.0) for f in frames[after.number + 1 :])


@SLEEPS
def test_F1_after_the_operators_decision_the_rest_of_the_hold_is_still_to_come(seen_s, runs_on, stood_still_s):
    computer = Computer(runs_on)
    slept: list[float] = []

    def then(frame: Frame) -> bool:
        if not slept:
            slept.append(frame.number)
            computer.sleep(2820.0, seen_s)
        if frame.number == slept[0] + 5:
            computer.engine.submit(Command(Verb.RESUME, "test"))
        return frame.decision.state.target_kw == 300.0

    computer.drive(then)
    resumed = slept[0] + 6
    assert computer.frames[-1].number - resumed == pytest.approx(1800.0 - TEN_MIN_S, abs=2)
    assert computer.frames[-1].decision.state.program_s == pytest.approx(1800.0, abs=1.0)


@pytest.mark.parametrize("runs_on", [True, False])
def test_a_wall_clock_stepped_an_hour_forward_and_back_moves_nothing_in_a_hold(runs_on):
    computer = Computer(runs_on)
    begun: list[int] = []

    def then(frame: Frame) -> bool:
        if not begun:
            begun.append(frame.number)
        computer.stepped_s = 3600.0 if 10 <= frame.number - begun[0] < 400 else 0.0
        return frame.decision.state.target_kw == 300.0

    computer.drive(then)
    assert computer.events("clock") == ["wall clock stepped +3600 s", "wall clock stepped -3600 s"]
    assert computer.events("gap") == []
    assert computer.events("held") == []
    assert all(f.inputs.dt_s == pytest.approx(1.0) for f in computer.frames[1:])
    assert computer.frames[-1].number - begun[0] == pytest.approx(1800.0 - TEN_MIN_S, abs=1)
    assert [f.number for f in computer.frames] == list(range(len(computer.frames)))


def test_a_command_from_before_a_sleep_is_as_old_as_the_sleep():
    computer = Computer()
    slept: list[int] = []

    def then(frame: Frame) -> bool:
        if not slept:
            slept.append(frame.number)
            computer.engine.submit(Command(Verb.SKIP, "test"))
            computer.sleep(2820.0, 3.0)
        return frame.number > slept[0]

    computer.drive(then)
    assert computer.frames[-1].inputs.commands[0].age_s == pytest.approx(2820.0)
    assert len(computer.events("refused")) == 1
    assert computer.frames[-1].decision.state.target_kw == 200.0


@pytest.mark.parametrize("seen_s", [3.0, 2820.0])
def test_a_sleep_between_deciding_and_writing_closes_nothing_before_a_read(monkeypatch, seen_s):
    from benchctl import engine as room

    computer = Computer()
    decide = vars(room)["decide"]
    fell_asleep: list[int] = []

    def sleepy(state, inputs, settings):
        decision = decide(state, inputs, settings)
        if not fell_asleep and any(o.raise_to for o in decision.orders.units):
            fell_asleep.append(len(computer.frames))
            computer.sleep(2820.0, seen_s)
        return decision

    monkeypatch.setattr(room, "decide", sleepy)

    async def main() -> None:
        await computer.engine.run(step)

    def step(frame: Frame) -> bool:
        state = frame.decision.state
        if frame.number == 1:
            computer.engine.submit(Command(Verb.TAKE_CHARGE, "test"))
        if state.mode is Mode.IDLE and state.charge and not any(u.hot for u in state.units):
            computer.engine.submit(Command(Verb.START, "test"))
        return bool(fell_asleep) and frame.number >= fell_asleep[0] + 3

    run(main(), computer.loop)
    asleep, after = computer.frames[fell_asleep[0]], computer.frames[fell_asleep[0] + 1]
    asked = [o.raise_to is not None for o in asleep.decision.orders.units]
    assert [w.closing is Write.NOT_SENT for w in asleep.writes] == asked
    assert any(asked)
    assert all(u.load == 0 and u.raised == 0 for u in computer.chain.plant.units)
    assert after.inputs.dt_s == pytest.approx(2820.0, abs=1.0)
    assert after.decision.state.held
