"""The check load's patterns of wrong wiring, made with a turned meter, and the stage check's burnt elements.

The patterns follow from phasors: a reversed transformer turns a phase's sign; two exchanged ones pair currents with
voltages 120 degrees away, cos 120 = -1/2. Tolerances are common practice, no source.
"""

from dataclasses import replace

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.program import Hold, Ramp, Target
from benchctl.core.state import Mode, Result
from tests.core.worlds import Stepper, program, site, staged

PLACE = site(staged(20.0, 20.0, 20.0, own=False))
OWN = site(staged(20.0, 20.0, 20.0, own=True))
TEST = replace(program(Ramp(Target(60.0), 0.0), Hold(60.0)), check_load=True)


def told(change):
    """A meter whose phases are changed by a function of (a, b, c)."""

    def tell(e):
        phases = change(*e.phase_kw)
        return replace(e, phase_kw=phases, power_kw=sum(phases))

    return tell


def checked(change, test=TEST, place=PLACE) -> Stepper:
    w = Stepper(place, test).ready()
    w.plant.told = told(change)
    w.plant.site_kw = 30.0
    w.scan(Command(Verb.START))
    w.until(lambda w: bool(w.state.check.results) or w.state.mode is Mode.RUN, 200.0)
    return w


WRONG = (
    (lambda a, b, c: (a, -b, c), "phase B current transformer reversed"),
    (lambda a, b, c: (-a, -b, -c), "phases A and B and C current transformers reversed"),
    (lambda a, b, c: (-a / 2, -b / 2, c), "phases A and B exchanged"),
    (lambda a, b, c: (-a / 2, -b / 2, -c / 2), "all phases exchanged in turn"),
    (lambda a, b, c: (2 * a, 2 * b, 2 * c), "ratio 2.00 times off, or a wrong profile"),
    (lambda a, b, c: (a, b, 0.0), "phase C shows nothing"),
)


@pytest.mark.parametrize(("change", "named"), WRONG)
def test_wrong_wiring_is_named_and_the_test_does_not_begin(change, named):
    w = checked(change)
    assert w.state.check.results[0].result is Result.FAIL
    assert named in w.state.check.results[0].text
    w.run(20.0)
    assert w.mode() is Mode.CHECK
    w.scan(Command(Verb.ANSWER, text="yes"))
    assert "needs an override" in w.heard("refused")[-1].text
    w.scan(Command(Verb.OVERRIDE, why="known and accepted", text="check load"), Command(Verb.ANSWER, text="yes"))
    w.run(5.0)
    assert w.mode() is Mode.RUN


def test_a_meter_that_is_right_lets_the_test_begin():
    w = checked(lambda a, b, c: (a, b, c))
    assert w.state.check.results[0].result is Result.PASS
    w.until(lambda w: w.state.mode is Mode.RUN)


def test_other_load_that_keeps_moving_proves_nothing_after_three_tries():
    w = Stepper(PLACE, TEST).ready()
    w.scan(Command(Verb.START))
    for _ in range(800):
        w.plant.site_kw += 1.0
        w.scan()
        if w.state.check.results:
            break
    assert w.state.check.results[0].result is Result.NOT_DEMONSTRATED
    assert "moved" in w.state.check.results[0].text


def test_the_stage_check_finds_the_phase_that_draws_nothing_and_dispatch_reckons_with_it():
    w = Stepper(OWN, replace(TEST, stage_check=True, check_load=False)).ready()
    w.plant.units[0].blown = frozenset({(1, 2)})
    w.scan(Command(Verb.START))
    w.until(lambda w: w.state.mode is Mode.RUN, 300.0)
    assert [t.result for t in w.state.check.results] == [Result.PASS, Result.FAIL, Result.PASS]
    assert w.state.units[0].health == ((1.0, 1.0, 1.0), (1.0, 1.0, 0.0), (1.0, 1.0, 1.0))


def test_a_fuse_that_blows_is_named_within_three_scans_of_the_meter_telling_it():
    w = Stepper(site(staged(10.0, 20.0, 30.0, own=True))).loaded(60.0)
    w.run(10.0)
    w.plant.units[0].blown = frozenset({(2, 0)})
    w.run(1.5)
    assert "stage 3 phase A draws nothing" in w.heard("element")[0].text


def test_what_the_checks_lost_does_not_lower_the_first_leg():
    place = site(*[staged(50.0, 50.0)] * 2)
    w = Stepper(place, replace(TEST, segments=(Ramp(Target(100.0), 0.0), Hold(60.0)))).ready()
    w.scan(Command(Verb.START))
    w.until(lambda w: w.plant.units[0].load != 0, 100.0)
    w.plant.units[0].air = False
    w.run(1.0)
    w.plant.units[0].air = None
    w.run(3.0)
    w.scan(Command(Verb.RESET))
    for _ in range(600):
        w.scan(
            *(
                [Command(Verb.OVERRIDE, why="x", text="check load"), Command(Verb.ANSWER, text="yes")]
                if w.state.prompt
                else []
            )
        )
        if w.state.mode is Mode.RUN:
            break
    assert w.state.short_kw == 0.0
