"""The rehearsed chain under a controller: the same world as in a rehearsal, at any pace, scan for scan."""

from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from benchctl.core.decision import Frame, Settings
from benchctl.core.program import Hold, Ramp, Target
from benchctl.core.scenario import Fault, Scenario
from benchctl.engine import Engine
from benchctl.rehearsal import Rehearsal, RehearsedChain, paced_loop
from benchctl.rehearsed import RehearsedOperator
from simulator.warp import WarpLoop, run
from tests.core.worlds import program
from tests.rehearsal.test_rehearsal import place

QUICK = Settings.of(place(), program(Ramp(Target(120.0), 20.0), Hold(20.0), Ramp(Target(60.0), 10.0)), 0.5)
FAULTS = Scenario(
    faults=(
        Fault(50.0, "delay", "127.0.0.1:15021", 0.02, for_s=5.0),
        Fault(6.0, "fan fails", "bank 2", during=2),
    )
)
SCANS = 260


def told(frame: Frame) -> tuple[Any, ...]:
    """What two equal runs have in common: everything but the clock time."""
    events = tuple((e.kind, e.unit, e.text) for e in frame.decision.events)
    return frame.number, frame.inputs, frame.decision.orders, frame.writes, events


@cache
def rehearsed(scenario: Scenario) -> list[tuple[Any, ...]]:
    frames: list[tuple[Any, ...]] = []
    rehearsal = Rehearsal(QUICK, scenario, seed=5, listeners=(lambda f: frames.append(told(f)),))
    over = rehearsal.operator.over
    rehearsal.operator.over = lambda frame: over(frame) or frame.number >= SCANS  # type: ignore[method-assign]
    rehearsal.run()
    return frames


def under_an_engine(scenario: Scenario, loop: WarpLoop) -> list[tuple[Any, ...]]:
    """As a controller drives it; the operator's part is played by the rehearsed one, so that the runs can be equal."""
    frames: list[tuple[Any, ...]] = []
    operator = RehearsedOperator(QUICK, scenario)

    async def main() -> None:
        chain = RehearsedChain(QUICK.site, loop, scenario, 5)
        engine = Engine(QUICK, chain, loop.time, (chain.listen, lambda f: frames.append(told(f))))

        def act(frame: Frame) -> bool:
            for command in operator.commands(frame):
                engine.submit(command)
            return operator.over(frame) or frame.number >= SCANS

        try:
            await engine.run(act)
        finally:
            await chain.close()

    run(main(), loop)
    return frames


@pytest.mark.parametrize("pace", [None, 400.0], ids=["as fast as it goes", "at a pace"])
def test_it_is_the_world_of_a_rehearsal_scan_for_scan(pace):
    frames = under_an_engine(FAULTS, paced_loop(pace))
    alone = rehearsed(FAULTS)
    assert len(frames) == len(alone) == SCANS + 1
    first = next((pair for pair in zip(frames, alone, strict=True) if pair[0] != pair[1]), None)
    assert first is None
    assert any(
        text == "fan fails" or "fan" in text for *_, events in frames for kind, unit, text in events if unit == 1
    )


@pytest.mark.parametrize("begun_s", [0.0, 1000.0])
def test_faults_that_wait_for_a_segment_start_when_the_bench_reaches_it_wherever_the_loops_time_is(begun_s):
    loop = paced_loop(None)
    loop.jump(begun_s)
    frames = under_an_engine(Scenario(faults=(Fault(6.0, "fan fails", "bank 2", during=2),)), loop)
    reached_s = next(f[1].now_s for f in frames if any(text.startswith("segment 2") for _, _, text in f[4]))
    stopped_s = next(f[1].now_s for f in frames if f[1].now_s > reached_s and f[1].units[1].airflow is False)
    assert 6.0 <= stopped_s - reached_s < 10.0  # the fan runs down before the air is gone


def test_a_fault_on_what_the_site_has_not_is_refused():
    loop = paced_loop(None)
    with pytest.raises(ValueError, match="bank 9"):
        RehearsedChain(place(), loop, replace(FAULTS, faults=(Fault(1.0, "fan fails", "bank 9"),)))
    loop.close()
