"""The guard and a unit that is under its own panel: it takes no orders, so it is nothing that could make room."""

from dataclasses import replace

from benchctl.core.command import Command, Verb
from tests.core.guarded import fine, seen_of
from tests.core.worlds import Stepper, site, staged


def test_a_unit_under_its_own_panel_keeps_its_load_and_the_others_make_room_for_it():
    """100 and 100 kW under a limit of 105 kW, one of them not ours to move: the other gives all that is too much."""
    case = fine(power_kw=100.0)
    for u, s, load in zip(case.state.units, case.seen.units, (7, 5), strict=True):
        u.wanted = u.possible = s.load = load
    case.seen = seen_of(case.state, case.settings, case.seen.units, None)
    case.seen.units[0].reading = replace(case.seen.units[0].reading, remote=False)
    case.before, case.wish = case.state.copy(), [7, 5]
    assert case.orders().units[0].silent
    assert [u.wanted for u in case.state.units] == [7, 0]


def test_a_source_above_its_limit_is_relieved_by_the_units_that_take_orders():
    """The site takes 125 of 315 kW; of the chain's 200 kW, 100 are under a panel. 80 of the other 100 may stay."""
    unit = staged(20.0, 40.0, 40.0, own=True)
    w = Stepper(site(unit, unit, nameplate_kw=300.0)).loaded(200.0)
    w.plant.units[0].fields = {"remote": False}
    w.run(2.0)
    w.plant.site_kw = 125.0
    w.run(30.0)
    assert w.kw() + 125.0 <= 315.0
    assert w.plant.units[0].load == 7
    assert not w.alarm("contactor stuck closed", 0)


def test_a_contactor_that_was_never_ordered_open_is_not_called_stuck():
    """An unload cannot reach a unit under its own panel: no opening is written, so none has failed."""
    unit = staged(20.0, 40.0, 40.0)
    w = Stepper(site(unit, unit)).loaded(200.0)
    w.plant.units[0].fields = {"remote": False}
    w.run(2.0)
    opened = w.plant.units[0].opened
    w.scan(Command(Verb.UNLOAD))
    w.run(30.0)
    assert w.plant.units[0].opened == opened
    assert not w.alarm("contactor stuck closed", 0)
