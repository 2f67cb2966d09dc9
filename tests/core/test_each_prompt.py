"""Every kind of question: asked as it comes up in a test, then answered yes, no, or by nobody in each of three ways."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.program import ExpectLoss, Hold, LoadIs, Program, Ramp, Segment, Silence, Starts, Target, Wait
from benchctl.core.prompts import PROMPTS
from benchctl.core.state import Mode, Prompt
from tests.core.worlds import Stepper, program, site, staged

PLACE = site(staged(20.0, 40.0), staged(20.0, 40.0))
OPEN_S = {row.kind: row.open_s for row in PROMPTS} | {"wait": 45.0}  # the segment says how long it waits
YES, NO = Command(Verb.ANSWER, text="yes"), Command(Verb.ANSWER, text="no")


def a_program(*segments: Segment, silence: Silence) -> Program:
    return program(Ramp(Target(60.0), 0.0), *segments, if_silent=silence)


def asks(w: Stepper, kind: str) -> Stepper:
    w.until(lambda w: w.state.prompt is not None, 200.0)
    assert asked(w).kind == kind
    return w


def asked(w: Stepper) -> Prompt:
    assert w.state.prompt is not None
    return w.state.prompt


def wait(silence: Silence) -> Stepper:
    """A segment that waits for the operator says itself what silence does; the program says something else."""
    other = Silence.STAY if silence is Silence.UNLOAD else Silence.UNLOAD
    return Stepper(PLACE, a_program(Wait("clear?", 45.0, silence), Hold(900.0), silence=other)).started()


def band(silence: Silence) -> Stepper:
    """The meter at the source is lost before a hold that starts in band."""
    program_ = a_program(Hold(900.0, starts=Starts.IN_BAND), silence=silence)
    w = Stepper(PLACE, replace(program_, load_is=LoadIs.SOURCE_TOTAL)).started()
    w.plant.volts = None
    return w


def held(silence: Silence) -> Stepper:
    """A unit takes its load off by itself."""
    w = Stepper(PLACE, a_program(Hold(900.0), silence=silence)).started()
    w.run(10.0)
    next(u for u in w.plant.units if u.load).load = 0
    return w


def permissives(silence: Silence) -> Stepper:
    """The fans have no supply when the test is to begin."""
    w = Stepper(PLACE, a_program(Hold(900.0), silence=silence)).ready()
    for u in w.plant.units:
        u.fields = {"fan_supply": False}
    w.scan(Command(Verb.START))
    return w


def check(silence: Silence) -> Stepper:
    """A current transformer is turned round."""
    w = Stepper(PLACE, replace(a_program(Hold(900.0), silence=silence), check_load=True)).ready()
    w.plant.told = lambda e: replace(e, phase_kw=tuple(-(kw or 0.0) for kw in e.phase_kw))  # type: ignore[arg-type]
    w.scan(Command(Verb.START))
    return w


def found(silence: Silence) -> Stepper:
    """Load is on that the session did not start; whatever the program says, silence takes it off."""
    w = Stepper(PLACE, a_program(Hold(900.0), silence=silence))
    w.plant.units[0].load, w.plant.units[0].fan = 3, True
    w.scan(Command(Verb.TAKE_CHARGE))
    return w


def loss(silence: Silence) -> Stepper:
    """Supply should go, and does not."""
    return Stepper(PLACE, a_program(ExpectLoss(30.0, reapply=False), Hold(900.0), silence=silence)).started()


SCENES: dict[str, Callable[[Silence], Stepper]] = {
    "wait": wait,
    "band": band,
    "held": held,
    "permissives": permissives,
    "check": check,
    "found": found,
    "loss": loss,
}
# A person's load went off, was changed or is not proven in the others: there silence may not go on.
MAY_GO_ON = {"wait", "band", "loss"}
EACH = [(kind, silence) for kind in SCENES for silence in Silence]


def in_silence(kind: str, silence: Silence) -> Silence:
    """What is done when nobody answers, where the program says this."""
    if kind == "found":
        return Silence.UNLOAD
    return Silence.UNLOAD if silence is Silence.GO_ON and kind not in MAY_GO_ON else silence


def goes_on(w: Stepper, kind: str) -> None:
    """What the row's text for yes says."""
    before = w.kw()
    match kind:
        case "wait" | "loss":  # go on with the program; go on without the loss of supply
            assert (w.mode(), w.state.leg, w.state.waiting) == (Mode.RUN, 2, False)
            w.run(5.0)
            assert w.state.leg_s == pytest.approx(5.0, abs=1.0)
        case "band":  # start the hold although it is not in band
            assert (w.mode(), w.state.leg) == (Mode.RUN, 1)
            w.run(5.0)
            assert w.state.leg_s == pytest.approx(5.0, abs=1.0)
        case "held":  # go on from what is on now: nothing comes back by itself in the scan of the answer
            assert (w.mode(), w.state.held, w.kw()) == (Mode.RUN, "", before)
            assert not any(u.fell for u in w.state.units)
            program_s = w.state.program_s
            w.run(5.0)
            assert w.state.program_s > program_s
            w.run(5.0)
            assert (w.state.held, w.kw()) == ("", 60.0)
        case "permissives":  # wait on: the same time again, then the question again
            assert (w.mode(), w.state.check.index, w.kw()) == (Mode.CHECK, -1, 0.0)
            w.run(30.0)
            assert w.state.prompt is None
            w.until(lambda w: w.state.prompt is not None)
            assert w.kw() == 0.0
        case "check":  # go on
            index = w.state.check.index
            assert (w.mode(), index) == (Mode.CHECK, 1)
            w.run(3.0)
            assert w.state.prompt is None
        case "found":  # adopt it by hand as it is read back
            assert (w.mode(), w.state.target_kw, w.kw()) == (Mode.IDLE, before, before)
            w.run(30.0)
            assert (w.mode(), w.kw(), w.state.prompt) == (Mode.IDLE, before, None)
        case _:
            raise AssertionError(kind)


def comes_off(w: Stepper) -> None:
    """Unload; with nothing on, the end of the test."""
    assert w.mode() in (Mode.UNLOAD, Mode.COOL)
    raised = [u.raised for u in w.plant.units]
    w.plant.volts, w.plant.units[0].fields, w.plant.units[1].fields = 400.0, {}, {}
    w.until(lambda w: w.state.mode is Mode.DONE, 200.0)
    assert w.state.outcome == "interrupted"
    assert w.kw() == 0.0
    assert [u.raised for u in w.plant.units] == raised


def test_every_kind_of_question_has_a_scene():
    assert list(SCENES) == [row.kind for row in PROMPTS]
    assert {row.kind for row in PROMPTS if row.by_itself} == MAY_GO_ON


@pytest.mark.parametrize(("kind", "silence"), EACH)
def test_the_question_says_how_long_it_is_open_and_what_silence_does(kind, silence):
    w = asks(SCENES[kind](silence), kind)
    does = in_silence(kind, silence)
    assert asked(w).if_silent is does
    assert asked(w).remaining_s == OPEN_S[kind]
    assert f"(nobody answers within {OPEN_S[kind]:.0f} s: {does.value})" in w.heard("prompt")[-1].text


@pytest.mark.parametrize("kind", SCENES)
def test_yes_goes_on(kind):
    w = asks(SCENES[kind](Silence.STAY), kind)
    if kind == "check":
        w.scan(YES)
        assert asked(w).kind == kind
        assert "needs an override with a reason" in w.heard("refused")[-1].text
        w.scan(Command(Verb.OVERRIDE, why="transformers are known to be turned", text="check load"))
    w.scan(YES)
    assert w.state.prompt is None
    goes_on(w, kind)


@pytest.mark.parametrize("kind", SCENES)
def test_no_takes_load_off_and_ends_the_test(kind):
    w = asks(SCENES[kind](Silence.STAY), kind)
    w.scan(NO)
    assert w.state.prompt is None
    assert not w.heard("unanswered")
    comes_off(w)


@pytest.mark.parametrize(("kind", "silence"), EACH)
def test_silence_does_what_the_question_said_and_not_before_its_time(kind, silence):
    w = asks(SCENES[kind](silence), kind)
    load, does = w.kw(), asked(w).if_silent
    w.run(OPEN_S[kind] - w.dt_s)
    assert asked(w).kind == kind
    assert not w.heard("unanswered")
    assert w.kw() == load
    w.scan()
    match does:
        case Silence.UNLOAD:
            assert w.state.prompt is None
            comes_off(w)
        case Silence.GO_ON:
            assert w.state.prompt is None
            goes_on(w, kind)
        case Silence.STAY:
            w.run(300.0)
            assert asked(w) == replace(asked(w), kind=kind, remaining_s=0.0)
            assert w.kw() == load
            w.scan(NO)
            comes_off(w)
    assert len(w.heard("unanswered")) == (does is not Silence.STAY)


@pytest.mark.parametrize("kind", [kind for kind in SCENES if kind not in MAY_GO_ON])
def test_where_only_a_person_may_go_on_silence_never_does(kind):
    w = asks(SCENES[kind](Silence.GO_ON), kind)
    if kind == "check":
        w.scan(Command(Verb.OVERRIDE, why="known", text="check load"))
    raised = [u.raised for u in w.plant.units]
    w.run(OPEN_S[kind] + 60.0)
    assert w.mode() not in (Mode.RUN, Mode.CHECK)
    assert [u.raised for u in w.plant.units] == raised


def test_yes_acknowledges_what_held_the_program_and_it_does_not_hold_again():
    """A stage that did not follow stays on the list until it is reset: seen once is seen."""
    w = Stepper(PLACE, a_program(Hold(900.0), silence=Silence.STAY)).ready()
    w.plant.units[0].wont_close = 3
    w.scan(Command(Verb.START))
    asks(w, "held")
    w.scan(YES)
    w.run(20.0)
    assert w.alarm("did not follow", 0)
    assert w.plant.units[0].raised == 1  # nothing else of it was tried
    assert (w.mode(), w.state.held, w.state.prompt) == (Mode.RUN, "", None)
