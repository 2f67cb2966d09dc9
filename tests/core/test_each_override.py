"""Every override: nothing without a reason, a record of who and why, and what its row says, no more."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.overrides import OVERRIDES
from benchctl.core.program import Hold, Ramp, Target
from benchctl.core.reading import Outcome
from benchctl.core.state import Mode, Result
from tests.core.worlds import Stepper, program, site, staged

PLACE = site(staged(20.0, 40.0), staged(20.0, 40.0))
CHECKED = replace(program(Ramp(Target(60.0), 0.0), Hold(600.0)), check_load=True)
ROWS = {row.what: row for row in OVERRIDES}


def override(what: str, why: str = "known and accepted", who: str = "witness") -> Command:
    return Command(Verb.OVERRIDE, who, why, text=what, unit=1 if ROWS[what].per_unit else None)


def warm() -> Stepper:
    """Two units without load, with the whole cool-down before them."""
    w = Stepper(PLACE).loaded(120.0)
    for u in w.plant.units:
        u.exhaust_c = 90.0
    w.scan(Command(Verb.DROP))
    w.run(2.0)
    return w


def turned() -> Stepper:
    """The check load of the first unit has failed, and the operator is asked."""
    w = Stepper(PLACE, CHECKED).ready()
    w.plant.told = lambda e: replace(e, phase_kw=tuple(-(kw or 0.0) for kw in e.phase_kw))  # type: ignore[arg-type]
    w.scan(Command(Verb.START))
    w.until(lambda w: w.state.prompt is not None)
    return w


def cooled(w: Stepper) -> None:
    """The cool-down of that unit is over; the other's is not, and a load begins a new one."""
    assert [u.hot for u in w.state.units] == [True, False]
    assert [u.owed_s for u in w.state.units][1] == 0.0
    w.run(40.0)
    assert [u.hot for u in w.state.units] == [True, False]
    w.scan(Command(Verb.RESET))
    w.plant.units[0].exhaust_c = w.plant.units[1].exhaust_c = 25.0
    w.scan(Command(Verb.SET_LOAD, value=120.0))
    w.until(lambda w: w.last.seen.confirmed_kw == 120.0)
    assert [u.hot for u in w.state.units] == [True, True]
    assert w.state.units[1].owed_s == PLACE.units[1].profile.cooldown.minimum_s


def went_on(w: Stepper) -> None:
    """The test goes on with yes, other failures ask no more, and they are on the record as what they are."""
    w.scan(Command(Verb.ANSWER, text="yes"))
    w.until(lambda w: w.state.mode is Mode.RUN)
    assert [t.result for t in w.state.check.results] == [Result.FAIL, Result.FAIL]
    assert len(w.heard("prompt")) == 1


EFFECTS: dict[str, tuple[Callable[[], Stepper], Callable[[Stepper], None]]] = {
    "cool-down": (warm, cooled),
    "check load": (turned, went_on),
}


def test_every_override_has_a_scene_and_an_effect():
    assert list(EFFECTS) == list(ROWS)


@pytest.mark.parametrize("what", ROWS)
def test_an_override_is_recorded_with_who_and_why_and_does_what_its_row_says(what):
    scene, effect = EFFECTS[what]
    w = scene()
    w.scan(override(what))
    assert w.state.overrides == ((what, 1 if ROWS[what].per_unit else -1, "witness", "known and accepted"),)
    told = w.heard("command")[-1]
    assert (told.text, told.who) == (f"override {what} known and accepted", "witness")
    effect(w)


@pytest.mark.parametrize("what", ROWS)
def test_without_a_reason_an_override_changes_nothing(what):
    scene, _ = EFFECTS[what]
    asked, untouched = scene(), scene()
    asked.scan(override(what, why=""))
    untouched.scan()
    assert "an override needs a reason" in asked.heard("refused")[-1].text
    assert asked.state == untouched.state
    assert asked.last.orders == untouched.last.orders


@pytest.mark.parametrize("what", [row.what for row in OVERRIDES if row.per_unit])
def test_an_override_of_a_unit_needs_one_that_answers_and_has_no_load(what):
    scene, _ = EFFECTS[what]
    for trouble in ({"silent": Outcome.SILENT}, {"load": 1}):
        w = scene()
        for name, value in trouble.items():
            setattr(w.plant.units[1], name, value)
        w.scan(override(what))
        assert "has load on or does not answer" in w.heard("refused")[-1].text
        assert w.state.units[1].hot
    w = scene()
    w.scan(replace(override(what), unit=None))
    assert "say which unit" in w.heard("refused")[-1].text
    w.scan(replace(override(what), unit=2))
    assert "there is no such unit" in w.heard("refused")[-1].text
    assert w.state.overrides == ()


@pytest.mark.parametrize("what", ROWS)
def test_an_override_puts_load_on_nothing_by_itself(what):
    w = EFFECTS[what][0]()
    raised = [u.raised for u in w.plant.units]
    w.scan(override(what))
    w.run(60.0)
    assert [u.raised for u in w.plant.units] == raised


def test_an_override_given_before_the_check_load_spares_the_question():
    w = Stepper(PLACE, CHECKED).ready()
    w.plant.told = lambda e: replace(e, phase_kw=tuple(-(kw or 0.0) for kw in e.phase_kw))  # type: ignore[arg-type]
    w.scan(override("check load"), Command(Verb.START))
    w.until(lambda w: w.state.mode is Mode.RUN)
    assert not w.heard("prompt")
    assert [t.result for t in w.state.check.results] == [Result.FAIL, Result.FAIL]
