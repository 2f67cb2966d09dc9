"""Reactions: first cause, holds, and what happens with a lost unit in each of three ways."""

from dataclasses import replace

from benchctl.core.command import Command, Verb
from benchctl.core.program import Hold, Ramp, Silence, Target
from benchctl.core.prompts import PROMPTS, ask
from benchctl.core.reading import Outcome
from benchctl.core.site import WhenLost
from benchctl.core.state import Mode, Prompt
from tests.core.worlds import Stepper, program, site, staged

THREE = site(*[staged(50.0, 50.0)] * 3)
TEST = program(Ramp(Target(150.0), 0.0), Hold(600.0), Ramp(Target(200.0), 0.0), Hold(600.0))


def losing(policy: WhenLost, unit_load: int = 1, test=TEST) -> Stepper:
    """A running program in which one loaded unit falls silent."""
    w = Stepper(replace(THREE, when_lost=policy), test).started()
    w.until(lambda w: w.kw() == 150.0)
    w.run(5.0)
    gone = next(i for i, u in enumerate(w.plant.units) if u.load)
    w.plant.units[gone].silent = Outcome.SILENT
    return w


def cause(w: Stepper) -> str:
    """The row of the latched first cause."""
    assert w.state.trip is not None
    return w.state.trip.row


def asked(w: Stepper) -> Prompt:
    """The open question."""
    assert w.state.prompt is not None
    return w.state.prompt


def others_kw(w: Stepper) -> float:
    return sum(50.0 * u.load.bit_count() for u in w.plant.units if u.silent is None)


def test_a_trip_keeps_its_first_cause_and_is_not_reset_by_itself():
    w = Stepper(THREE, TEST).started()
    w.until(lambda w: w.kw() == 150.0)
    w.plant.needs_set = True
    w.scan()
    w.plant.hertz = 40.0
    w.run(10.0)
    assert cause(w) == "site needs the set"
    w.plant.needs_set, w.plant.hertz = None, 50.0
    w.run(60.0)
    assert cause(w) == "site needs the set"
    assert w.state.outcome == "tripped"


def test_with_keep_the_others_keep_what_they_have_until_the_next_leg():
    w = losing(WhenLost.KEEP)
    before = others_kw(w)
    w.run(60.0)
    assert w.mode() is Mode.RUN
    assert others_kw(w) == before
    assert w.alarm("short of target")


def test_with_unload_everything_comes_off():
    w = losing(WhenLost.UNLOAD)
    w.run(20.0)
    assert others_kw(w) == 0.0
    assert cause(w) == "unit lost"


def test_with_redistribute_the_others_take_over_once_the_watchdog_must_have_acted_and_a_meter_shows_it():
    w = losing(WhenLost.REDISTRIBUTE)
    gone = next(u for u in w.plant.units if u.silent is not None)
    before = others_kw(w)
    w.run(60.0)
    assert others_kw(w) == before  # the meter says that it still carries load
    gone.load = 0
    w.run(5.0)
    assert others_kw(w) == 150.0
    assert len(w.heard("redistribute")) == 1


def test_what_a_second_lost_unit_had_is_not_taken_over_unseen():
    w = losing(WhenLost.REDISTRIBUTE)
    gone = next(u for u in w.plant.units if u.silent is not None)
    gone.load = 0
    w.run(60.0)
    assert others_kw(w) == 150.0
    second = next(u for u in w.plant.units if u.load and u.silent is None)
    second.silent = Outcome.SILENT
    before = others_kw(w)
    w.run(60.0)
    assert others_kw(w) == before


def test_without_a_meter_nothing_is_redistributed():
    w = Stepper(replace(site(*[staged(50.0, 50.0)] * 3, meter=False), when_lost=WhenLost.REDISTRIBUTE), TEST).started()
    w.until(lambda w: w.kw() == 150.0)
    lost = next(u for u in w.plant.units if u.load)
    lost.silent, lost.load = Outcome.SILENT, 0
    before = others_kw(w)
    w.run(60.0)
    assert others_kw(w) == before


def test_a_load_by_hand_that_falls_is_held_and_does_not_come_back_on_another_unit():
    w = Stepper(THREE).loaded(150.0)
    raised = [u.raised for u in w.plant.units]
    loaded = next(u for u in w.plant.units if u.load)
    loaded.load = 0
    w.run(60.0)
    assert [u.raised for u in w.plant.units] == raised
    assert w.state.held
    w.scan(Command(Verb.RESUME))
    w.run(10.0)
    assert w.kw() == 150.0


def test_a_held_program_asks_again_when_another_question_was_open_first():
    w = Stepper(THREE, TEST).started()
    w.until(lambda w: w.kw() == 150.0)
    ask(w.state, w.settings, "wait", "something else", [])
    next(u for u in w.plant.units if u.load).load = 0
    w.scan()
    w.scan(Command(Verb.ACKNOWLEDGE, text="all"))
    w.scan(Command(Verb.ANSWER, text="yes"))
    w.run(1.0)
    assert w.state.held
    assert asked(w).kind == "held"


def test_only_questions_that_a_silent_operator_may_answer_go_on_by_themselves():
    for row in PROMPTS:
        w = Stepper(THREE, replace(TEST, if_silent=Silence.GO_ON))
        ask(w.state, w.settings, row.kind, "?", [])
        assert asked(w).if_silent is (Silence.GO_ON if row.kind in ("wait", "band", "loss") else Silence.UNLOAD)


def test_a_question_that_nobody_answers_unloads_and_the_text_says_so_when_it_is_asked():
    w = Stepper(THREE, TEST).started()
    w.until(lambda w: w.kw() == 150.0)
    w.run(5.0)
    next(u for u in w.plant.units if u.load).load = 0
    w.scan()
    assert "nobody answers within 120 s: unload" in w.heard("prompt")[-1].text
    w.run(119.0)
    assert w.mode() is Mode.RUN
    w.run(2.0)
    assert w.mode() is Mode.UNLOAD


def test_a_scan_in_which_nobody_answers_takes_nothing_off_and_brings_nothing_back():
    w = losing(WhenLost.KEEP)
    for u in w.plant.units:
        u.silent = Outcome.SILENT
    w.run(2.0)
    for u in w.plant.units:
        u.silent = None
    for _ in range(10):
        w.scan()
        assert w.kw() == 150.0
        assert not any(order.raise_to for order in w.last.orders.units)


def test_a_unit_that_carries_all_that_is_asked_keeps_it_while_it_does_not_answer():
    w = Stepper(THREE, program(Ramp(Target(50.0), 0.0), Hold(600.0))).started()
    w.until(lambda w: w.kw() == 50.0)
    w.run(5.0)
    (loaded,) = (u for u in w.plant.units if u.load)
    loaded.silent = Outcome.SILENT
    w.run(2.0)
    loaded.silent = None
    for _ in range(10):
        w.scan()
        assert [u.load for u in w.plant.units if u is not loaded] == [0, 0]
        assert w.kw() == 50.0


def test_load_that_was_lost_with_every_unit_does_not_come_back_in_the_same_leg():
    w = losing(WhenLost.KEEP)
    for u in w.plant.units:
        u.silent = Outcome.SILENT
    w.run(20.0)
    for u in w.plant.units:
        u.silent, u.load = None, 0
    w.run(2.0)
    for i in range(3):
        w.scan(Command(Verb.JOIN, "tester", unit=i))
    w.run(30.0)
    assert w.kw() == 0.0
    assert w.alarm("short of target")
