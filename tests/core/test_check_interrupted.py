"""A unit that goes away in the middle of its check load: the next unit's trial begins from its own beginning."""

from dataclasses import replace

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.inputs import Recorder
from benchctl.core.levels import load_kw
from benchctl.core.profile import Profile
from benchctl.core.program import Hold, Ramp, Target
from benchctl.core.reading import Outcome
from benchctl.core.state import Mode, Result
from tests.core.worlds import Stepper, program, site, staged, stepped

TEST = replace(program(Ramp(Target(40.0), 0.0), Hold(600.0)), check_load=True)
FIRST = staged(10.0, 10.0, 40.0)  # a tenth of 400 kW is its third stage: the integer 4


def interrupted(second: Profile, **trouble: object) -> Stepper:
    """The first unit's check load is on when it goes away."""
    w = Stepper(site(FIRST, second), TEST).ready()
    w.scan(Command(Verb.START))
    w.until(lambda w: w.plant.units[0].load == 4)
    w.run(1.0)
    for name, value in trouble.items():
        setattr(w.plant.units[0], name, value)
    return w


TROUBLES: dict[str, dict[str, object]] = {
    "restarts": {"load": 0, "uptime_s": 0.0},
    "loses its air": {"air": False},
    "falls silent": {"silent": Outcome.SILENT},
}


@pytest.mark.parametrize("trouble", TROUBLES)
@pytest.mark.parametrize("second", [stepped(60.0, 20.0), staged(10.0, 10.0, 100.0)], ids=["set point", "stages"])
def test_the_next_trial_has_its_own_load_and_its_own_before(second, trouble):
    """Of the second unit 40 kW are asked for: a load that it has, as near as its own levels come."""
    w = interrupted(second, **TROUBLES[trouble])
    most_kw = 0.0
    while not w.state.check.results and w.now_s < 120.0:
        w.scan()
        most_kw = max(most_kw, load_kw(second, w.plant.units[1].load, 1.0))
    assert most_kw == (40.0 if second.setpoint else 20.0)
    assert [(t.unit, t.result) for t in w.state.check.results] == [(1, Result.PASS)]
    assert w.mode() is not Mode.IDLE


@pytest.mark.parametrize("when", ["while permissives fill in", "before the first trial", "with the check load on"])
def test_after_a_time_in_which_nobody_looked_no_check_load_comes_on_before_somebody_answers(when):
    w = Stepper(site(staged(20.0, 20.0, 40.0)), replace(program(Hold(600.0)), check_load=True)).ready()
    if when == "while permissives fill in":
        w.recorder = Recorder.FAILED
    w.scan(Command(Verb.START))
    if when == "with the check load on":
        w.until(lambda w: w.kw() > 0.0)
    w.recorder = Recorder.ABSENT
    raised = w.plant.units[0].raised
    w.scan(dt_s=30.0)
    assert w.state.held == "30 s not observed"
    w.run(60.0)
    assert (w.kw(), w.plant.units[0].raised) == (0.0, raised)
    assert w.state.prompt is not None
    w.scan(Command(Verb.ANSWER, text="yes"))
    w.until(lambda w: w.mode() is Mode.RUN)
    assert [t.result for t in w.state.check.results] == [Result.PASS]
