"""After a unit was lost with load on: from where the next leg begins, and what may be said of load and heat."""

from dataclasses import replace

from benchctl.core.program import Hold, Ramp, Target
from benchctl.core.reading import Outcome
from benchctl.core.state import Mode
from tests.core.worlds import Stepper, program, site, staged

FOUR = site(*[staged(10.0, 10.0, 20.0)] * 4)


def losing(*legs) -> Stepper:
    """A run at 100 kW in which one loaded unit falls silent; what it had is counted as gone from the target."""
    w = Stepper(FOUR, program(Ramp(Target(100.0), 0.0), Hold(30.0), *legs, source_cooldown_s=10.0)).started()
    w.until(lambda w: w.kw() == 100.0)
    w.run(5.0)
    lost = next(u for u in w.plant.units if u.load)
    lost.silent = Outcome.SILENT
    w.until(lambda w: w.state.short_kw > 0.0)
    return w


def others_kw(w: Stepper) -> float:
    return sum(
        stage.power_kw
        for u in w.plant.units
        if u.silent is None
        for i, stage in enumerate(FOUR.units[0].profile.stages)
        if u.load >> i & 1
    )


def begun(w: Stepper) -> None:
    leg = w.state.leg
    w.until(lambda w: w.state.leg > leg)


def test_a_ramp_down_begins_from_what_is_left_and_raises_nothing():
    w = losing(Ramp(Target(0.0), 30.0), Hold(60.0))
    left_kw, short_kw = others_kw(w), w.state.short_kw
    begun(w)
    assert w.state.from_kw == 100.0 - short_kw
    seen = []
    for _ in range(40):
        w.scan()
        seen.append(others_kw(w))
    assert max(seen) <= left_kw
    assert seen[-1] < left_kw


def test_a_ramp_up_begins_from_what_is_left_and_gives_the_share_back_along_it():
    w = losing(Ramp(Target(110.0), 60.0), Hold(60.0))
    left_kw = others_kw(w)
    begun(w)
    w.run(5.0)
    assert others_kw(w) <= left_kw + 20.0  # a stage or two, not the whole share at once
    w.run(70.0)
    assert others_kw(w) >= 100.0


def test_a_share_larger_than_the_target_leaves_nothing_to_begin_from():
    w = losing(Ramp(Target(0.0), 10.0))
    w.state = replace(w.state, short_kw=500.0)
    begun(w)
    assert w.state.from_kw == 0.0


def test_nobody_says_that_all_is_off_or_cool_while_a_lost_unit_may_have_load_on():
    w = losing(Ramp(Target(0.0), 10.0))
    name = next(unit.name for u, unit in zip(w.plant.units, FOUR.units, strict=True) if u.silent is not None)
    w.until(lambda w: w.state.mode is Mode.DONE, 300.0)
    (unloaded,), (done,) = w.heard("unloaded"), w.heard("done")
    breaker = f"no contact with {name}: open their breakers if they still have load on"
    assert unloaded.text == f"all load that answers is off; {breaker}; cooling down"
    assert done.text == f"completed: all units that answer are cool; {breaker}"


def test_where_every_unit_answers_all_is_off_and_cool():
    w = Stepper(FOUR, program(Ramp(Target(100.0), 0.0), Hold(5.0))).started()
    w.until(lambda w: w.state.mode is Mode.DONE, 300.0)
    assert [e.text for e in (*w.heard("unloaded"), *w.heard("done"))] == [
        "all load is off; cooling down",
        "completed: all units are cool",
    ]
