"""Raise and lower by the smallest useful amount: against plain enumeration of every set of stages."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.command import Command, Verb
from benchctl.core.levels import load_kw
from benchctl.core.next_level import next_levels_kw
from benchctl.core.program import Hold, Ramp, Target
from benchctl.core.reading import Outcome
from benchctl.core.site import Limits
from tests.core.worlds import Stepper, program, site, staged, stepped


def bench(*profiles: Any, **changes: Any) -> Stepper:
    w = Stepper(site(*profiles, **changes)).ready()
    w.scan(Command(Verb.SET_LOAD, value=0.001))
    w.until(lambda w: all(not s.unable for s in w.last.seen.units))
    return w


def offered(w: Stepper) -> tuple[Any, Any]:
    return next_levels_kw(w.state, w.last.seen, w.settings)


def asked(w: Stepper, power_kw: float) -> float:
    """What is ordered when that is asked and nothing moves any more, at rated volts."""
    w.scan(Command(Verb.SET_LOAD, value=power_kw))
    assert w.last.events[0].kind == "command", w.last.events[0].text
    w.run(4.0)
    return w.ordered_kw()


def every_level_kw(w: Stepper) -> list[float]:
    """Every level of the chain at rated volts, by enumeration."""
    found = {0.0}
    for unit in w.settings.site.units:
        own = [load_kw(unit.profile, load) for load in range(unit.profile.full_load + 1)]
        found = {round(a + b, 9) for a in found for b in own}
    return sorted(found)


CHAINS = {
    "staged": [staged(20.0, 40.0), staged(20.0, 40.0)],
    "mixed": [staged(4.0, 6.0, 10.0), stepped(15.0, 5.0)],
    "odd": [staged(7.0, 9.5, 12.0), staged(3.0, 3.0)],
}


@pytest.mark.parametrize("name", CHAINS)
def test_raised_again_and_again_the_load_goes_up_through_every_useful_level_and_down_again(name):
    w = bench(*CHAINS[name])
    half_kw = w.settings.stage_kw / 2.0
    levels, kw = every_level_kw(w), 0.0
    while (raise_kw := offered(w)[0]) is not None:
        useful = [level for level in levels if level >= kw + half_kw - 1e-6]
        assert raise_kw == pytest.approx(useful[0])
        before, kw = kw, asked(w, raise_kw)
        assert before < kw <= raise_kw + half_kw
    assert levels[-1] - kw < half_kw
    while kw > 0.0:
        lower_kw = offered(w)[1]
        useful = [level for level in levels if level <= kw - half_kw + 1e-6]
        assert lower_kw == pytest.approx(useful[-1] if useful else 0.0)
        before, kw = kw, asked(w, lower_kw)
        assert lower_kw - half_kw <= kw < before
    assert offered(w)[1] is None


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.sampled_from([2.0, 3.0, 5.0, 7.5, 12.0, 20.0]), min_size=1, max_size=5),
    st.lists(st.sampled_from([2.0, 4.0, 10.0, 11.0]), min_size=1, max_size=4),
    st.floats(0.0, 1.0),
    st.sampled_from([384.0, 400.0, 411.0]),
)
def test_raised_and_lowered_the_chain_moves_that_way_at_any_volts(first, second, share, volts):
    w = bench(staged(*first), staged(*second), limits=Limits(largest_block_up_percent=100.0, settle_s=0.5))
    kw = asked(w, share * (sum(first) + sum(second)))
    w.plant.volts = volts
    w.scan()
    raise_kw, lower_kw = offered(w)
    if lower_kw is not None:
        low = asked(w, lower_kw)
        assert low < kw or low == kw == 0.0
    kw = w.ordered_kw()
    raise_kw, lower_kw = offered(w)
    if raise_kw is not None:
        assert asked(w, raise_kw) > kw


def test_a_resting_chain_is_raised_to_its_smallest_stage():
    w = Stepper(site(staged(20.0, 40.0), staged(30.0))).ready()
    w.run(30.0)
    assert not any(u.fan for u in w.state.units)
    assert offered(w) == (pytest.approx(20.0), None)
    w.scan(Command(Verb.SET_LOAD, value=20.0))
    w.run(15.0)
    assert w.ordered_kw() == 20.0


def test_a_unit_without_air_is_not_counted_on_once_its_fans_had_their_time():
    w = Stepper(site(staged(20.0, 40.0), staged(5.0))).ready()
    w.plant.units[1].air = False
    w.run(30.0)
    w.scan(Command(Verb.SET_LOAD, value=20.0))
    w.run(20.0)
    assert w.ordered_kw() == 20.0
    assert offered(w)[0] == pytest.approx(40.0)


def test_nothing_is_offered_above_the_ceiling():
    w = bench(staged(20.0, 40.0, own=True), staged(20.0, 40.0, own=True), nameplate_kw=100.0)
    assert asked(w, 80.0) == 80.0
    assert offered(w) == (pytest.approx(100.0), pytest.approx(60.0))
    w.plant.site_kw = 22.0  # 105 kW at most, less 22 kW of the site's own
    w.run(10.0)
    assert offered(w) == (None, pytest.approx(60.0))


def test_a_load_that_still_rises_is_lowered_below_what_is_on_and_raised_above_what_is_asked():
    w = bench(*[staged(20.0, 20.0) for _ in range(4)], limits=Limits(largest_block_up_percent=10.0, settle_s=30.0))
    asked(w, 40.0)
    w.scan(Command(Verb.SET_LOAD, value=120.0))
    ordered = w.ordered_kw()
    assert ordered < 120.0
    assert offered(w) == (pytest.approx(140.0), pytest.approx(ordered - 20.0))


def test_a_silent_unit_keeps_what_it_has_and_counts_with_it():
    w = bench(staged(20.0, 40.0), staged(20.0, 40.0))
    asked(w, 80.0)
    w.plant.units[0].silent = Outcome.SILENT
    w.scan()
    silent_kw = load_kw(w.settings.site.units[0].profile, w.state.units[0].wanted)
    other_kw = 80.0 - silent_kw
    raise_kw, lower_kw = offered(w)
    assert raise_kw == (None if other_kw == 60.0 else pytest.approx(100.0))
    assert lower_kw == pytest.approx(60.0 if other_kw else 0.0)


def test_stages_switched_by_hand_are_raised_and_lowered_from_where_they_stand():
    w = bench(staged(20.0, 40.0), staged(20.0, 40.0))
    w.scan(Command(Verb.SWITCH, unit=0, text="2", value=1.0))
    w.run(3.0)
    assert offered(w) == (pytest.approx(60.0), pytest.approx(20.0))


def test_what_is_held_after_load_fell_is_lowered_below_what_is_left():
    w = bench(staged(20.0, 40.0), staged(20.0, 40.0))
    asked(w, 120.0)
    w.plant.units[0].load = 0
    w.run(2.0)
    assert w.state.held
    lower_kw = offered(w)[1]
    assert lower_kw is not None
    assert lower_kw < w.ordered_kw() == 60.0


@pytest.mark.parametrize("verb", [Verb.DROP, Verb.UNLOAD, Verb.START])
def test_where_no_load_by_hand_is_possible_nothing_is_offered(verb):
    w = Stepper(site(staged(20.0, 40.0)), program(Ramp(Target(60.0), 0.0), Hold(60.0)))
    w.scan()
    assert offered(w) == (None, None), "nobody has taken charge"
    w.ready()
    if verb is Verb.UNLOAD:
        w.loaded(60.0)
    w.scan(Command(verb))
    assert offered(w) == (None, None)
