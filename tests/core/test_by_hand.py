"""Single stages switched by hand: once, within every limit, and nothing comes on or back by itself."""

from typing import Any

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.program import Hold, Ramp, Target
from benchctl.core.reading import Outcome
from benchctl.core.site import Limits
from benchctl.core.state import Mode
from tests.core.worlds import Stepper, program, site, staged, stepped

TEST = program(Ramp(Target(60.0), 0.0), Hold(600.0))


def stage(unit: int, name: str, value: float) -> Command:
    return Command(Verb.SWITCH, unit=unit, text=name, value=value)


def set_point(unit: int, power_kw: float) -> Command:
    return Command(Verb.SWITCH, unit=unit, value=power_kw)


def bench(**changes: Any) -> Stepper:
    """Two staged units and one with a set point, by hand, with their fans running and no load on."""
    w = Stepper(site(staged(20.0, 40.0), staged(20.0, 40.0), stepped(60.0, 20.0), **changes), TEST).ready()
    w.scan(Command(Verb.SWITCH))
    w.until(lambda w: all(not s.unable for s in w.last.seen.units))
    return w


def loads(w: Stepper) -> list[int]:
    return [u.load for u in w.plant.units]


def raised(w: Stepper) -> list[int]:
    return [u.raised for u in w.plant.units]


def test_without_a_unit_what_is_on_is_kept_and_the_fans_of_all_units_run():
    w = bench()
    w.run(60.0)
    assert w.state.by_hand
    assert all(u.fan for u in w.plant.units)
    assert loads(w) == [0, 0, 0]


def test_one_stage_closes_and_opens_and_nothing_else_moves():
    w = bench()
    w.scan(stage(0, "2", 1.0))
    assert [o.raise_to for o in w.last.orders.units] == [2, None, None]
    assert w.state.target_kw == 40.0
    w.run(30.0)
    w.scan(stage(1, "1", 1.0))
    w.run(30.0)
    assert (loads(w), w.state.target_kw, raised(w)) == ([2, 1, 0], 60.0, [1, 1, 0])
    w.scan(stage(0, "2", 0.0))
    assert w.last.orders.units[0].keep == 0
    w.run(30.0)
    assert (loads(w), w.state.target_kw, raised(w)) == ([0, 1, 0], 20.0, [1, 1, 0])


def test_a_set_point_is_written_as_it_is_asked():
    w = bench()
    w.scan(set_point(2, 40.0))
    w.run(5.0)
    assert (loads(w), w.state.target_kw) == ([0, 0, 2], 40.0)
    w.scan(set_point(2, 0.0))
    w.run(5.0)
    assert (loads(w), w.state.target_kw) == ([0, 0, 0], 0.0)


def test_a_burst_of_switches_closes_all_that_it_names_in_one_scan():
    w = bench()
    w.scan(stage(0, "1", 1.0), stage(0, "2", 1.0), stage(1, "2", 1.0), set_point(2, 20.0))
    assert [o.raise_to for o in w.last.orders.units] == [3, 2, 1]
    assert w.state.target_kw == 120.0


def test_a_load_by_hand_of_the_whole_chain_goes_on_stage_by_stage_and_back():
    w = Stepper(site(staged(20.0, 40.0), staged(20.0, 40.0))).loaded(80.0)
    before = loads(w)
    opened = next(i for i, load in enumerate(before) if load & 2)
    w.scan(stage(opened, "2", 0.0))
    w.run(10.0)
    assert (w.kw(), w.state.target_kw, w.state.by_hand) == (40.0, 40.0, True)
    w.scan(Command(Verb.SET_LOAD, value=120.0))
    w.run(10.0)
    assert (w.kw(), w.state.by_hand) == (120.0, False)


def test_what_goes_off_stays_off_whatever_the_operator_answers():
    w = bench()
    w.scan(stage(0, "2", 1.0), stage(1, "2", 1.0))
    w.run(5.0)
    w.plant.units[0].load = 0
    w.run(2.0)
    assert w.state.held
    w.scan(Command(Verb.RESUME))
    before = raised(w)
    w.run(60.0)
    assert (loads(w), w.state.target_kw, raised(w)) == ([0, 2, 0], 40.0, before)


def test_a_closing_that_is_not_followed_is_not_repeated():
    w = bench()
    w.plant.units[0].wont_close = 3
    w.scan(stage(0, "1", 1.0))
    w.run(5.0)
    w.scan(Command(Verb.RESUME))
    w.plant.units[0].wont_close = 0
    w.run(60.0)
    assert (w.plant.units[0].raised, loads(w), w.state.target_kw) == (1, [0, 0, 0], 0.0)


def test_a_unit_that_was_lost_and_joins_again_gets_nothing_back():
    w = bench()
    w.scan(stage(0, "1", 1.0), stage(1, "1", 1.0))
    w.run(5.0)
    w.plant.units[0].silent = Outcome.SILENT
    w.run(8.0)
    w.plant.units[0].silent = None
    w.run(5.0)
    w.scan(Command(Verb.JOIN, unit=0))
    w.run(60.0)
    assert (loads(w), w.state.target_kw) == ([0, 1, 0], 20.0)


def test_nothing_comes_on_when_the_volts_sag_or_other_load_of_the_site_goes():
    w = bench()
    w.plant.site_kw = 50.0
    w.scan(stage(0, "2", 1.0))
    w.run(5.0)
    w.plant.volts, w.plant.site_kw = 385.0, 0.0
    w.run(60.0)
    assert (loads(w), raised(w)) == ([2, 0, 0], [1, 0, 0])


@pytest.mark.parametrize("verb", [Verb.UNLOAD, Verb.DROP])
def test_unload_and_drop_end_it(verb):
    w = bench()
    w.scan(stage(0, "2", 1.0), stage(1, "1", 1.0))
    w.run(5.0)
    w.scan(Command(verb))
    w.run(20.0)
    assert (w.kw(), w.state.by_hand, w.mode()) == (0.0, False, Mode.COOL)


def test_a_trip_ends_it_and_a_reset_brings_nothing_back():
    w = bench()
    w.scan(stage(0, "2", 1.0))
    w.run(5.0)
    w.plant.needs_set = True
    w.run(2.0)
    w.plant.needs_set = None
    w.run(2.0)
    w.scan(Command(Verb.RESET))
    w.run(60.0)
    assert (w.kw(), w.state.by_hand, w.state.trip) == (0.0, False, None)


def test_a_program_ends_it():
    w = bench()
    w.scan(Command(Verb.START))
    w.run(60.0)
    assert (w.kw(), w.state.by_hand, w.mode()) == (60.0, False, Mode.RUN)


def test_the_last_word_of_a_scan_counts():
    w = bench()
    w.scan(stage(0, "2", 1.0), Command(Verb.SET_LOAD, value=20.0))
    w.run(5.0)
    assert (w.kw(), w.state.by_hand) == (20.0, False)
    w.scan(stage(1, "2", 1.0), Command(Verb.DROP))
    assert all(o.raise_to is None for o in w.last.orders.units)
    w.run(5.0)
    assert w.kw() == 0.0


def test_a_unit_that_may_not_be_loaded_is_refused_with_its_reason_and_may_still_be_opened():
    w = bench()
    w.scan(stage(0, "2", 1.0))
    w.run(5.0)
    w.plant.units[0].fields = {"exhaust_c": None}
    w.run(1.0)
    w.scan(stage(0, "1", 1.0))
    assert "exhaust temperature is not known" in w.heard("refused")[-1].text
    w.scan(stage(0, "2", 0.0))
    w.run(2.0)
    assert loads(w) == [0, 0, 0]


def test_a_resting_unit_is_refused_until_its_air_is_proven():
    w = Stepper(site(staged(20.0, 40.0))).ready()
    w.run(30.0)
    w.scan(stage(0, "1", 1.0))
    assert "airflow is not proven" in w.heard("refused")[-1].text
    assert not w.state.by_hand


def test_what_may_be_closed_in_a_silent_unit_counts_against_the_limit():
    w = bench(nameplate_kw=100.0)
    w.scan(stage(0, "2", 1.0), stage(1, "2", 1.0))
    w.run(3.0)
    w.plant.units[0].silent = Outcome.SILENT
    w.run(2.0)
    w.scan(stage(0, "2", 0.0))
    w.scan(set_point(2, 40.0))
    assert "above the limit of 105 kW" in w.heard("refused")[-1].text
    w.scan(set_point(2, 20.0))
    w.run(2.0)
    assert loads(w) == [2, 2, 1]


def test_the_largest_block_bounds_a_burst():
    w = bench(limits=Limits(largest_block_up_percent=5.0, settle_s=60.0))
    w.run(60.0)
    w.scan(stage(0, "2", 1.0), stage(1, "2", 1.0))
    assert "the largest block leaves room for 40 kW now" in w.heard("refused")[-1].text
    w.run(3.0)
    assert w.kw() == 40.0


def test_a_load_held_with_nobody_attached_is_kept_and_then_unloaded():
    w = bench()
    w.scan(stage(0, "2", 1.0))
    w.run(3.0)
    w.attached = False
    w.run(w.settings.site.attendance.console_lost_s + 30.0)
    assert (w.kw(), w.state.by_hand, w.mode()) == (0.0, False, Mode.DONE)


def test_load_by_hand_is_kept_through_a_hole_in_time_and_nothing_catches_up():
    w = bench()
    w.scan(stage(0, "2", 1.0))
    w.run(3.0)
    w.scan(dt_s=600.0)
    w.run(3.0)
    assert w.state.held
    w.scan(Command(Verb.RESUME))
    w.run(10.0)
    assert (loads(w), w.state.target_kw) == ([2, 0, 0], 40.0)


def test_a_stage_that_draws_nothing_is_not_closed():
    w = bench()
    w.state.units[0].health = ((0.0, 0.0, 0.0), (1.0, 1.0, 1.0))
    w.scan(stage(0, "1", 1.0))
    assert "draws nothing" in w.heard("refused")[-1].text
    w.scan(stage(0, "2", 1.0))
    assert w.last.orders.units[0].raise_to == 2
