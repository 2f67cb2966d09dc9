"""Attendance: attached or not, a person or none, and what happens to the load when nobody comes.

Times are the project's own defaults (common practice, no source): asked 5 min after the last sign of a person, alarm
2 min later, unload 5 min after that; nobody attached: alarm at once, unload after 5 min.
"""

from dataclasses import replace

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.program import Block, Hold, Silence, Target
from benchctl.core.site import Attendance
from benchctl.core.state import Mode
from tests.core.worlds import Stepper, program, site, staged

PLACE = site(staged(20.0, 40.0), staged(20.0, 40.0))
TEST = program(Block(Target(60.0)), Hold(3600.0))
HERE = Command(Verb.CHECK_IN, "witness")


def loaded(attached: bool | None = True, **terms) -> Stepper:
    """60 kW by hand; from now on somebody has to be there."""
    w = Stepper(replace(PLACE, attendance=Attendance(**terms)), TEST).loaded(60.0)
    w.attached = attached
    return w


def running(attached: bool | None = True, silence: Silence = Silence.UNLOAD, **terms) -> Stepper:
    """The program holds 60 kW; from now on somebody has to be there."""
    w = Stepper(replace(PLACE, attendance=Attendance(**terms)), replace(TEST, if_silent=silence)).started()
    w.until(lambda w: w.kw() == 60.0)
    w.attached = attached
    return w


def test_where_nobody_has_to_be_there_nothing_ever_happens():
    w = running(attached=None)
    w.run(1800.0)
    assert w.kw() == 60.0
    assert (w.state.alone_s, w.state.person_s) == (0.0, 0.0)
    assert not w.heard("check-in")


def test_a_console_lost_is_an_alarm_at_once_and_an_unload_after_five_minutes():
    w = running()
    w.run(10.0)
    w.attached = False
    w.scan()
    assert w.alarm("nobody attached")
    w.run(299.0)
    assert (w.kw(), w.mode()) == (60.0, Mode.RUN)
    w.scan()
    assert w.mode() is Mode.UNLOAD
    assert "nobody has been attached for 5 min: unloading" in w.heard("unattended")[-1].text
    w.until(lambda w: w.state.mode is Mode.DONE)
    assert (w.kw(), w.state.outcome) == (0.0, "interrupted")
    assert len(w.heard("unattended")) == 1


def test_whoever_attaches_again_in_time_ends_it():
    w = loaded(attached=False)
    w.run(290.0)
    w.attached = True
    w.scan(HERE)
    assert not w.alarm("nobody attached")
    w.attached = False
    w.run(290.0)
    assert w.kw() == 60.0


def test_with_a_console_attached_a_person_is_asked_for_then_alarmed_for_then_the_load_comes_off():
    w = running()
    w.scan(HERE)
    w.run(299.5)
    assert not w.heard("check-in")
    w.scan()
    assert "Check in within 2 min" in w.heard("check-in")[-1].text
    w.run(119.5)
    assert not w.alarm("no sign of a person")
    w.scan()
    assert w.alarm("no sign of a person")
    w.run(299.5)
    assert (w.kw(), w.mode()) == (60.0, Mode.RUN)
    w.scan()
    assert w.mode() is Mode.UNLOAD
    assert "no sign of a person for 12 min: unloading" in w.heard("unattended")[-1].text
    w.until(lambda w: w.state.mode is Mode.DONE)
    assert (w.kw(), w.state.outcome) == (0.0, "interrupted")


@pytest.mark.parametrize(
    "command",
    [
        HERE,
        Command(Verb.REMARK, "witness", text="air filter looks fine"),
        Command(Verb.ACKNOWLEDGE, "witness", text="all"),
        Command(Verb.RESUME, "witness"),  # refused, but somebody pressed it
    ],
)
def test_whatever_a_person_does_is_a_sign_of_one(command):
    w = running()
    for _ in range(4):
        w.run(400.0)
        w.scan(command)
    assert w.kw() == 60.0
    assert len(w.heard("check-in")) == 4
    assert not w.alarm("no sign of a person")


@pytest.mark.parametrize("command", [replace(HERE, who=""), replace(HERE, age_s=3.0)])
def test_what_nobody_has_said_or_said_long_ago_is_no_sign(command):
    w = running()
    w.run(60.0)
    before_s = w.state.person_s
    w.scan(command)
    assert w.state.person_s == before_s + w.dt_s


def test_the_sites_own_times_rule():
    w = loaded(attached=False, console_lost_s=20.0)
    w.run(19.5)
    assert w.kw() == 60.0
    w.scan()
    assert w.mode() is Mode.UNLOAD
    w = loaded(check_in_s=60.0)
    w.run(60.0)
    assert len(w.heard("check-in")) == 1
    w.run(419.5)
    assert w.kw() == 60.0
    w.scan()
    assert w.mode() is Mode.UNLOAD


def test_a_session_that_is_declared_unattended_needs_nobody_where_the_site_allows_it():
    w = running(attached=False, unattended=True)
    w.scan(Command(Verb.TAKE_CHARGE, "night shift", text="unattended"))
    assert w.state.unattended
    w.run(1800.0)
    assert w.kw() == 60.0
    assert not w.heard("check-in")
    w.scan(Command(Verb.TAKE_CHARGE, "witness"))  # somebody takes it over, and has to stay
    assert not w.state.unattended
    w.run(300.0)
    assert w.mode() is Mode.UNLOAD


def test_where_the_site_does_not_allow_it_charge_stays_as_it_was():
    w = running(attached=False)
    w.scan(Command(Verb.TAKE_CHARGE, "night shift", text="unattended"))
    assert (w.state.charge, w.state.unattended) == ("operator", False)
    assert "the site file does not allow unattended sessions" in w.heard("refused")[-1].text


def test_nobody_has_to_be_there_before_charge_is_taken_nor_when_all_load_is_off():
    w = Stepper(PLACE, TEST)
    w.attached = False
    w.run(10.0)
    assert not w.alarm("nobody attached")
    w = loaded(attached=False)
    w.scan(Command(Verb.UNLOAD))
    w.until(lambda w: w.state.mode is Mode.COOL)
    w.run(1.0)
    assert w.state.alone_s == 0.0
    assert not w.alarm("nobody attached")


def test_in_the_checks_before_the_program_somebody_has_to_be_there_too():
    w = Stepper(replace(PLACE, attendance=Attendance(console_lost_s=20.0)), TEST).ready()
    w.plant.units[0].fields = {"fan_supply": False}
    w.attached = False
    w.scan(Command(Verb.START))
    assert w.mode() is Mode.CHECK
    w.run(21.0)
    assert w.mode() in (Mode.UNLOAD, Mode.COOL)


@pytest.mark.parametrize("silence", Silence)
def test_the_site_may_have_the_level_held_meanwhile(silence):
    w = running(silence=silence, hold_meanwhile=True)
    w.attached = False
    w.scan()
    program_s = w.state.program_s
    assert w.state.held == "nobody is attached"
    w.run(250.0)
    assert (w.kw(), w.state.program_s) == (60.0, program_s)
    w.attached = True
    w.run(30.0)
    assert w.state.held  # a console alone goes on with nothing
    assert w.state.prompt is not None
    w.scan(Command(Verb.ANSWER, "witness", text="yes"))
    w.run(10.0)
    assert w.state.program_s > program_s
    w.attached = False
    w.run(300.0)
    assert w.mode() is Mode.UNLOAD
    w.until(lambda w: w.state.mode is Mode.DONE)
    assert w.kw() == 0.0


def test_nobody_goes_on_with_a_held_load_while_no_console_is_attached():
    w = loaded(attached=False, hold_meanwhile=True)
    w.run(5.0)
    w.scan(Command(Verb.RESUME, "shell"))
    assert w.state.held == "nobody is attached"


def test_a_hole_in_time_is_nobodys_absence():
    w = running(attached=False)
    w.run(10.0)
    before = (w.state.alone_s, w.state.person_s)
    w.scan(dt_s=2820.0)
    assert (w.state.alone_s, w.state.person_s) == before
    assert w.mode() is Mode.RUN
    assert w.state.held  # for the hole, until somebody decides


@pytest.mark.parametrize(("still_s", "told"), [(2817.0, ", the clock stood still for 2817 s"), (0.0, "")])
def test_a_hole_in_time_says_for_how_long_the_clock_itself_stood_still(still_s, told):
    """A laptop's lid, closed from 10:00:00 to 10:47:00: on some systems the monotonic clock sleeps too."""
    w = running()
    w.stood_still_s = still_s
    w.scan(dt_s=2820.0)
    assert w.heard("gap")[-1].text == f"2820 s not observed{told}"
    assert (w.mode(), w.kw()) == (Mode.RUN, 60.0)
    assert w.alarm("time gap")


def test_load_that_is_going_is_not_unloaded_anew():
    w = loaded(attached=False, console_lost_s=20.0)
    w.plant.units[0].wont_open = w.plant.units[1].wont_open = 3
    w.run(60.0)
    assert len(w.heard("unattended")) == 1
    w.scan(Command(Verb.DROP))
    w.run(60.0)
    assert len(w.heard("unattended")) == 1
