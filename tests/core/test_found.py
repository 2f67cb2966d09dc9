"""Load found on: seen, asked about, left alone until somebody decides, adopted, unloaded, dropped, or taken off.

The sequence (read first, write nothing, adopt or take off, never carry on by itself) is the project's own design.
"""

from dataclasses import replace

import pytest

from benchctl.core.charge import NOBODY
from benchctl.core.command import Command, Verb
from benchctl.core.program import Block, Hold, LoadIs, Target
from benchctl.core.reading import Outcome
from benchctl.core.site import Attendance
from benchctl.core.state import Mode
from tests.core.worlds import FakeUnit, Stepper, program, site, staged, stepped

PLACE = replace(site(staged(20.0, 40.0), stepped(60.0, 20.0)), attendance=Attendance(console_lost_s=60.0))
TEST = program(Block(Target(60.0)), Hold(900.0))
CHARGE, ADOPT, UNLOAD, DROP = (
    Command(v, "witness") for v in (Verb.TAKE_CHARGE, Verb.ADOPT, Verb.UNLOAD, Verb.DROP)
)  # fmt: skip
YES, NO = (Command(Verb.ANSWER, "witness", text=t) for t in ("yes", "no"))


def met(*loads: int, place=PLACE, tested=TEST, **plant) -> Stepper:
    """A session that begins with these loads on, fans running, after its first scan."""
    w = Stepper(place, tested)
    for name, value in plant.items():
        setattr(w.plant, name, value)
    for unit, load in zip(w.plant.units, loads, strict=True):
        unit.load, unit.fan = load, load > 0
    w.scan()
    return w


def touched(unit: FakeUnit) -> bool:
    """Anything at all was written to the unit."""
    return bool(unit.fan_orders or unit.opened or unit.raised)


def test_load_that_is_on_at_the_first_contact_is_told_and_asked_about_before_anybody_has_taken_charge():
    w = met(3, 0)
    assert [u.found for u in w.state.units] == [True, False]
    assert w.alarm("load found on", 0)
    assert w.state.prompt is not None
    assert (w.state.prompt.kind, w.state.prompt.remaining_s) == ("found", 60.0)
    assert "60 kW are on that this session did not start" in w.state.prompt.text
    assert all(o.silent for o in w.last.orders.units)


def test_without_load_nothing_is_found_and_nothing_asked():
    w = met(0, 0)
    assert (w.state.prompt, w.state.found_s) == (None, None)


def test_charge_alone_decides_nothing_and_writes_only_to_the_other_units():
    w = met(3, 0)
    w.scan(CHARGE)
    w.run(50.0)
    assert not touched(w.plant.units[0])
    assert touched(w.plant.units[1])
    assert not w.state.units[0].fan  # a fan that nobody has ordered proves nothing later
    assert not w.state.units[0].joined
    assert w.state.prompt is not None
    assert w.state.prompt.remaining_s == pytest.approx(9.5)


@pytest.mark.parametrize("how", [ADOPT, YES])
def test_adopted_load_is_ours_by_hand_as_it_is_read_back(how):
    w = met(1, 40 // 20)
    w.scan(CHARGE)
    w.scan(how)
    assert (w.mode(), w.state.target_kw, w.state.prompt) == (Mode.IDLE, 60.0, None)
    assert [u.wanted for u in w.state.units] == [1, 2]
    assert all(u.joined and not u.found for u in w.state.units)
    w.run(120.0)
    assert w.kw() == 60.0
    assert w.state.trim_kw == 0.0
    assert [(u.opened, u.raised) for u in w.plant.units] == [(0, 0), (0, 0)]
    assert all(all(u.fan_orders) for u in w.plant.units)
    assert not w.heard("load fell")


@pytest.mark.parametrize("volts", [370.0, 400.0, 425.0])
def test_adopted_load_stays_the_same_stages_at_whatever_volts(volts):
    w = met(3, 1, volts=volts)
    w.scan(CHARGE)
    w.scan(ADOPT)
    w.run(60.0)
    assert [u.load for u in w.plant.units] == [3, 1]
    if volts > 380.0:  # nothing is reckoned with a sag
        assert w.state.target_kw == pytest.approx(w.last.seen.possible_kw, rel=1e-9)


def test_adopted_load_can_be_lowered_and_unloaded_like_a_load_by_hand():
    w = met(3, 3)
    w.scan(CHARGE)
    w.scan(ADOPT)
    w.scan(Command(Verb.SET_LOAD, value=60.0))
    w.run(3.0)
    assert w.kw() == 60.0
    w.scan(UNLOAD)
    w.until(lambda w: w.state.mode is Mode.DONE)
    assert (w.kw(), w.state.outcome) == (0.0, "interrupted")


def test_adopted_load_is_raised_with_units_whose_air_is_proven_and_in_no_others():
    """Air counts when it was seen off and then on: with load on nobody can see it off, so that unit only goes down."""
    w = met(1, 0)
    w.scan(CHARGE)
    w.scan(ADOPT)
    w.until(lambda w: w.state.units[1].proven)
    w.scan(Command(Verb.SET_LOAD, value=80.0))
    w.run(10.0)
    assert [u.load for u in w.plant.units] == [1, 3]
    assert w.last.seen.units[0].unable
    w.scan(Command(Verb.SET_LOAD, value=0.0))
    w.until(lambda w: not any(u.hot for u in w.state.units))
    w.scan(Command(Verb.SET_LOAD, value=120.0))  # its fans have rested, its air is proven: it is a unit like any other
    w.run(20.0)
    assert w.kw() == 120.0


def test_adopted_load_of_a_unit_owes_the_whole_cool_down():
    w = met(3, 0)
    assert w.state.units[0].hot
    w.scan(CHARGE)
    w.scan(UNLOAD)
    w.until(lambda w: w.kw() == 0.0)
    w.scan()
    terms = PLACE.units[0].profile.cooldown
    assert w.state.units[0].owed_s >= terms.minimum_s - w.dt_s
    begin_s = w.now_s
    w.until(lambda w: not w.state.units[0].hot)
    assert w.now_s - begin_s >= terms.minimum_s - 2 * w.dt_s


@pytest.mark.parametrize("how", [UNLOAD, NO])
def test_a_named_person_unloads_it_without_having_taken_charge_and_has_charge_then(how):
    w = met(3, 3)
    w.scan(how)
    assert w.state.charge == "witness"
    assert w.mode() is Mode.UNLOAD
    w.run(4.0)
    assert w.kw() > 0.0  # in steps, not at once
    w.until(lambda w: w.state.mode is Mode.DONE)
    assert (w.kw(), w.state.outcome) == (0.0, "interrupted")
    assert not any(u.raised for u in w.plant.units)


def test_an_unload_of_nobody_leaves_it_as_it_is_and_the_question_open():
    w = met(3, 0)
    w.scan(Command(Verb.UNLOAD, ""))
    w.run(10.0)
    assert (w.state.charge, w.kw()) == ("", 60.0)
    assert w.state.prompt is not None
    assert w.state.units[0].found


def test_where_nothing_is_on_an_unload_takes_no_charge():
    w = met(0, 0)
    w.scan(UNLOAD)
    assert w.state.charge == ""


def test_a_drop_needs_no_charge_and_closes_the_question():
    w = met(3, 3)
    w.scan(DROP)
    assert w.kw() == 0.0
    assert w.state.prompt is None
    w.scan()
    assert w.state.found_s is None
    assert not any(u.found for u in w.state.units)


@pytest.mark.parametrize("charge", [False, True])
def test_unanswered_it_comes_off_in_steps_after_the_sites_time_and_not_before(charge):
    w = met(3, 3)
    if charge:
        w.scan(CHARGE)
    w.run(59.5 - charge * w.dt_s)
    assert w.kw() == 120.0
    assert not any(touched(u) for u in w.plant.units)
    w.scan()
    assert [e.kind for e in w.last.events if e.kind in ("unanswered", "charge")] == ["unanswered"] + ["charge"] * (
        not charge
    )
    assert w.state.charge == ("witness" if charge else NOBODY)
    w.run(3.0)
    assert w.kw() > 0.0
    w.until(lambda w: w.state.mode is Mode.DONE)
    assert w.kw() == 0.0
    assert all(u.fan_orders[0] for u in w.plant.units)
    assert not any(u.hot for u in w.state.units)


def test_a_person_takes_charge_of_what_nobody_had():
    w = met(3, 3)
    w.run(62.0)
    w.scan(CHARGE)
    assert w.state.charge == "witness"
    w.until(lambda w: w.state.mode is Mode.DONE)


def test_load_that_goes_by_itself_is_no_question_any_more():
    w = met(3, 0)
    w.scan(CHARGE)
    w.plant.units[0].load = 1
    w.run(5.0)
    assert w.state.units[0].found
    assert w.state.prompt is not None
    w.plant.units[0].load = 2  # up or down, it stays as it was found: somebody else's
    w.run(5.0)
    assert w.state.units[0].found
    assert not w.state.held
    w.plant.units[0].load = 0
    w.scan()
    after = w.state
    assert after.prompt is None
    assert after.found_s is None
    assert not w.alarm("load found on", 0)
    assert (w.plant.units[0].opened, w.plant.units[0].raised) == (0, 0)


def test_a_unit_that_is_first_heard_in_a_run_with_load_on_is_found_and_its_load_counts():
    w = Stepper(PLACE, TEST)
    late = w.plant.units[0]
    late.silent, late.load = Outcome.DOWN, 3
    w.scan()
    w.scan(CHARGE)
    w.until(lambda w: not w.state.units[1].hot)
    w.scan(Command(Verb.START))
    w.until(lambda w: w.kw() == 120.0)
    late.silent, late.fan = None, True
    late.opened = late.raised = 0
    late.fan_orders.clear()
    w.run(10.0)
    assert w.alarm("load found on", 0)
    assert w.state.prompt is not None
    assert w.state.prompt.kind == "found"
    assert not touched(late)
    assert w.kw() == 120.0  # the program stands meanwhile
    program_s = w.state.program_s
    w.run(5.0)
    assert w.state.program_s == program_s
    w.scan(YES)
    assert (w.mode(), w.state.target_kw) == (Mode.IDLE, 120.0)
    w.run(30.0)
    assert w.kw() == 120.0


def test_a_program_in_sight_of_the_source_unloads_found_load_in_steps_too():
    """Its target counts the site's own load: the first step must not be that much larger."""
    counted = replace(TEST, load_is=LoadIs.SOURCE_TOTAL)
    w = met(3, 3, place=replace(PLACE, site_load_reserve_kw=50.0), tested=counted, site_kw=90.0)
    w.scan(CHARGE)
    w.run(5.0)
    w.scan(UNLOAD)
    assert w.kw() >= 120.0 - 100.0 - 20.0  # a quarter of 400 kW, and a stage
    assert w.kw() > 0.0


def test_load_that_is_put_on_before_charge_is_taken_is_found_too():
    w = met(0, 0)
    w.run(2.0)
    w.plant.units[0].load, w.plant.units[0].fan = 3, True
    w.run(2.0)
    assert w.state.prompt is None  # somebody is at work, and nobody has asked us
    w.scan(CHARGE)
    w.run(10.0)
    assert w.alarm("load found on", 0)
    assert w.kw() == 60.0
    assert not touched(w.plant.units[0])


def test_an_interlock_takes_its_unit_off_once_charge_is_taken():
    w = met(3, 3)
    w.plant.units[0].fan = False
    w.run(2.0)
    assert w.kw() == 120.0  # nobody has taken charge: nothing is written
    w.scan(CHARGE)
    w.run(2.0)
    assert [u.load for u in w.plant.units] == [0, 3]
    assert w.alarm("load without air", 0) or ("load without air", 0) in w.state.alarms
    assert w.plant.units[0].fan
    assert w.state.units[1].found
    assert not touched(w.plant.units[1])


def test_a_trip_that_unloads_takes_found_load_with_it_once_charge_is_taken():
    w = met(3, 3)
    w.scan(CHARGE)
    w.plant.site_kw = 450.0
    w.until(lambda w: w.state.trip is not None, 90.0)
    w.until(lambda w: w.kw() == 0.0, 20.0)
    assert w.state.outcome == "tripped"


def test_after_a_trip_nothing_is_adopted_but_it_still_comes_off_by_command_and_by_time():
    for command in (UNLOAD, None):
        w = met(3, 0, site_kw=450.0)
        w.run(30.0)
        assert w.state.trip is not None
        assert w.kw() == 60.0  # nobody has taken charge
        w.plant.site_kw = 0.0
        w.run(2.0)
        assert w.state.prompt is None
        if command:
            w.scan(command)
        w.until(lambda w: w.kw() == 0.0, 70.0)
        assert w.state.charge == ("witness" if command else NOBODY)
        w.until(lambda w: w.state.mode is Mode.DONE)
        assert w.state.outcome == "tripped"


def test_a_unit_that_is_not_what_its_profile_says_is_not_adopted_but_unloaded():
    w = met(3, 0)
    w.plant.units[0].fields = {"identity_ok": False}
    w.scan()
    w.scan(CHARGE)
    w.scan(YES)
    assert w.state.prompt is not None
    w.run(2.0)
    assert w.kw() == 60.0
    w.scan(NO)
    w.until(lambda w: w.kw() == 0.0)
    assert not w.state.units[0].joined


def test_a_unit_that_falls_silent_undecided_is_lost_when_the_others_are_adopted_and_emptied_when_it_returns():
    w = met(3, 3)
    w.scan(CHARGE)
    w.plant.units[0].silent = Outcome.SILENT
    w.run(10.0)
    w.scan(ADOPT)
    assert w.state.target_kw == 60.0
    assert not w.state.units[0].joined
    w.plant.units[0].silent = None
    w.run(5.0)
    assert [u.load for u in w.plant.units] == [0, 3]


def test_a_hole_in_time_does_not_count_for_the_question():
    w = met(3, 0)
    w.scan(dt_s=600.0)
    assert w.state.found_s == 0.0
    assert w.kw() == 60.0


def test_a_welded_stage_found_on_is_noticed_when_it_does_not_open_and_not_before_its_time():
    w = met(3, 0)
    w.run(30.0)
    w.scan(CHARGE)
    w.plant.units[0].wont_open = 3
    w.scan(UNLOAD)
    w.scan()
    assert not w.alarm("contactor stuck closed", 0)
    w.run(10.0)
    assert w.alarm("contactor stuck closed", 0)
