"""Other settings between two scans, the end of a run from outside, and who is there."""

import asyncio
from dataclasses import replace

import pytest

from benchctl import engine as room
from benchctl.core.command import Command, Verb
from benchctl.core.decide import decide
from benchctl.core.decision import Frame, Settings
from benchctl.core.program import Hold, Ramp, Target
from benchctl.core.state import Mode
from benchctl.engine import Engine
from simulator.warp import WarpLoop, run
from tests.core.worlds import program
from tests.engine.test_engine import PLACE, SETTINGS, Scripted, driven

CHOSEN = Settings.of(PLACE, program(Ramp(Target(40.0), 2.0), Hold(5.0)), 0.5)


@pytest.fixture
def decided_by(monkeypatch):
    """The settings that each scan was decided by."""
    used: list[Settings] = []

    def noting(state, inputs, settings):
        used.append(settings)
        return decide(state, inputs, settings)

    monkeypatch.setattr(room, "decide", noting)
    return used


@pytest.mark.parametrize("at_s", [1.005, 1.3], ids=["while a scan reads", "between two scans"])
def test_settings_change_between_two_scans_and_listeners_see_those_that_decided(decided_by, at_s):
    seen: list[Settings] = []
    engines: list[Engine] = []

    async def chooses(engine, chain):
        engines.append(engine)
        await asyncio.sleep(at_s)
        before = engine.state
        engine.rebase(CHOSEN)
        assert engine.settings is SETTINGS
        assert engine.state is before

    frames, _, engine = driven(3.0, chooses, listeners=(lambda frame: seen.append(engines[0].settings),))
    assert seen == decided_by
    assert seen == [SETTINGS] * 3 + [CHOSEN] * 4
    assert engine.settings is CHOSEN
    assert [f.number for f in frames] == list(range(7))


def test_what_is_known_of_the_units_stays_and_the_chosen_program_runs_to_its_end():
    async def chooses(engine, chain):
        engine.submit(Command(Verb.TAKE_CHARGE))
        await asyncio.sleep(30.2)
        owed = [u.owed_s for u in engine.state.units]
        engine.rebase(CHOSEN)
        await asyncio.sleep(0.5)
        assert [u.owed_s for u in engine.state.units] <= owed
        assert all(u.heard and u.joined for u in engine.state.units)
        engine.submit(Command(Verb.START))

    frames, _, _ = driven(80.0, chooses)
    assert max(f.decision.state.target_kw for f in frames) == 40.0
    assert frames[-1].decision.state.mode is Mode.DONE
    assert frames[-1].decision.state.outcome == "completed"


def test_settings_of_another_site_are_refused():
    engine = Engine(SETTINGS, Scripted(), lambda: 0.0)
    other = Settings.of(replace(PLACE), None, 0.5)
    with pytest.raises(ValueError, match="settings of another site: place"):
        engine.rebase(other)
    assert engine.settings is SETTINGS


def test_another_scan_period_makes_a_new_grid():
    async def chooses(engine, chain):
        await asyncio.sleep(0.7)
        engine.rebase(replace(CHOSEN, scan_period_s=1.0))

    _, chain, _ = driven(4.9, chooses)
    assert [begin for begin, _ in chain.reads] == pytest.approx([0.0, 0.5, 1.0, 2.0, 3.0, 4.0, 5.0])


@pytest.mark.parametrize(("at_s", "last_s"), [(1.005, 1.02), (1.3, 1.3)], ids=["in a scan", "between two"])
def test_stop_ends_the_run_after_the_scan_in_hand(at_s, last_s):
    loop, chain = WarpLoop(), Scripted()
    frames: list[Frame] = []
    engine = Engine(SETTINGS, chain, loop.time, (frames.append,))

    async def main() -> float:
        loop.call_at(at_s, engine.stop)
        last = await engine.run(lambda frame: frame.number > 50)
        assert last is frames[-1]
        return loop.time()

    assert run(main(), loop) == pytest.approx(last_s)
    assert len(frames) == len(chain.writes) == 3


def test_a_run_that_is_stopped_before_it_begins_still_looks_once():
    loop = WarpLoop()
    engine = Engine(SETTINGS, Scripted(), loop.time)
    engine.stop()

    async def main() -> Frame:
        return await engine.run(lambda frame: False)

    assert run(main(), loop).number == 0


def test_who_is_there_is_an_input_of_each_scan_and_nobody_has_to_be_unless_asked():
    loop = WarpLoop()
    frames: list[Frame] = []
    engine = Engine(SETTINGS, Scripted(), loop.time, (frames.append,), attached=lambda: loop.time() < 1.0)

    async def main() -> None:
        await engine.run(lambda frame: frame.number >= 3)

    run(main(), loop)
    assert [f.inputs.attached for f in frames] == [True, True, False, False]
    assert {f.inputs.attached for f in driven(1.0)[0]} == {None}


def test_after_a_drop_between_scans_the_next_place_of_the_grid_is_read_as_it_would_have_been():
    async def drops(engine, chain):
        await asyncio.sleep(1.3)
        engine.submit(Command(Verb.DROP))

    _, chain, _ = driven(2.9, drops)
    assert [begin for begin, _ in chain.reads] == pytest.approx([0.0, 0.5, 1.0, 1.3, 1.5, 2.0, 2.5, 3.0])


def test_a_scan_that_a_drop_makes_late_does_not_catch_up():
    async def drops(engine, chain):
        await asyncio.sleep(1.3)
        chain.write_s = 0.9
        engine.submit(Command(Verb.DROP))
        await asyncio.sleep(0.1)
        chain.write_s = 0.01

    _, chain, _ = driven(3.4, drops)
    assert [begin for begin, _ in chain.reads] == pytest.approx([0.0, 0.5, 1.0, 1.3, 2.5, 3.0, 3.5])
