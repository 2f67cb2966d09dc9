"""Records that do not begin with the bench's first scan: the later runs of an engine that goes on between them."""

import dataclasses
from pathlib import Path

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.decision import Frame, Settings
from benchctl.core.program import Hold, Ramp, Target
from benchctl.core.state import Mode
from benchctl.engine import Engine
from benchctl.record import replay as replay_module
from benchctl.record.live import LiveRecorder
from benchctl.record.reader import Reader
from benchctl.record.recorder import Recorder
from benchctl.record.replay import Replayed, replay
from simulator.warp import WarpLoop, run
from tests.core.worlds import program
from tests.engine.test_engine import PLACE, SETTINGS, Scripted
from tests.record import bench

CHOSEN = Settings.of(PLACE, program(Ramp(Target(40.0), 2.0), Hold(5.0)), 0.5)
RECORDERS = {
    "rehearsal": lambda path: Recorder(path, CHOSEN, {}, ()),
    "live, in line": lambda path: Recorder(path, CHOSEN, {}, (), live=True),
    "live, in its thread": lambda path: LiveRecorder(path, CHOSEN, {}, (), reserve_bytes=0),
}


def second_run(path: Path, kind: str) -> tuple[Path, list[Frame]]:
    """A bench is taken over by hand; later a program is chosen, and its run recorded from that scan to its end."""
    loop = WarpLoop()
    frames: list[Frame] = []
    recorder = RECORDERS[kind](path)

    def record(frame: Frame) -> None:
        if engine.settings is CHOSEN:
            frames.append(frame)
            recorder.write(frame)

    engine = Engine(SETTINGS, Scripted(), lambda: 1.8e9 + loop.time(), (record,), lambda: recorder.health)

    def step(frame: Frame) -> bool:
        if frame.number == 1:
            engine.submit(Command(Verb.TAKE_CHARGE, "test"))
        if frame.number == 70:
            engine.rebase(CHOSEN)
        if frame.number == 72:
            engine.submit(Command(Verb.START, "test"))
        return frame.decision.state.mode is Mode.DONE

    async def main() -> None:
        await engine.run(step)

    run(main(), loop)
    assert recorder.close("completed", {}), recorder.problem
    return path, frames


def replayed(path: Path) -> Replayed:
    with Reader(path) as reader:
        return replay(reader)


@pytest.mark.parametrize("kind", RECORDERS)
def test_a_later_run_replays_from_the_state_kept_at_its_first_scan(tmp_path, kind):
    path, frames = second_run(tmp_path / "later.run", kind)
    assert frames[0].number == 71
    assert max(f.decision.state.target_kw for f in frames) == 40.0
    found = replayed(path)
    assert found.difference is None
    assert found.equal
    assert (found.compared, found.gaps) == (len(frames) - 1, 0)
    assert found.note == "begins with scan 71 of the bench, from the state kept after it"


def test_a_change_of_decide_is_found_in_a_later_run(tmp_path, monkeypatch):
    path, frames = second_run(tmp_path / "later.run", "rehearsal")
    decide, at_s = vars(replay_module)["decide"], frames[20].inputs.now_s

    def other(state, inputs, settings):
        decision = decide(state, inputs, settings)
        if inputs.now_s == at_s:
            decision.state.target_kw += 1.0
        return decision

    monkeypatch.setattr(replay_module, "decide", other)
    found = replayed(path)
    assert found.difference is not None
    assert found.difference.scan == frames[20].number
    assert found.compared == 20
    assert found.note


def test_a_record_whose_beginning_was_lost_is_gone_on_with_from_its_first_scan(tmp_path, monkeypatch):
    monkeypatch.setattr(replay_module, "decide", bench.decide)
    found = replayed(bench.recorded(tmp_path / "a.run", bench.frames(50)[7:30] + bench.frames(50)[35:]))
    assert found.equal
    assert (found.compared, found.gaps) == (22 + 14, 1)
    assert found.note.startswith("begins with scan 7 ")


def test_one_scan_that_is_not_the_first_is_nothing_to_compare(tmp_path, monkeypatch):
    monkeypatch.setattr(replay_module, "decide", bench.decide)
    found = replayed(bench.recorded(tmp_path / "a.run", bench.frames(9)[8:]))
    assert not found.equal
    assert found.compared == 0
    assert found.note.startswith("begins with scan 8 ")


def test_where_the_state_of_the_first_scan_could_not_be_kept_nothing_is_compared(tmp_path, monkeypatch):
    monkeypatch.setattr(replay_module, "decide", bench.decide)
    made = bench.frames(12)[3:]
    state = made[0].decision.state.copy()
    state.program_s = float("nan")  # no record can hold that
    made[0] = dataclasses.replace(made[0], decision=dataclasses.replace(made[0].decision, state=state))
    path = tmp_path / "a.run"
    recorder = Recorder(path, bench.SETTINGS, {}, ())
    for frame in made[:1]:
        recorder.write(frame)
    recorder.close("done", {})
    found = replayed(path)
    assert found.compared == 0
    assert found.note.endswith("no state in scan 3: stopped there")
