"""What a scan finds, no command of the same scan answers: it was given before anybody could have seen it.

Each case was found by the exploration of a small world, with this shortest way to it.
"""

from typing import Any

import pytest

from benchctl.core.command import Command, Verb
from benchctl.core.orders import Write
from tests.core.worlds import Stepper, site, staged, stepped

PLACE = site(staged(20.0, 40.0), stepped(60.0, 20.0), nameplate_kw=120.0)
RESET, JOIN, GO_ON = Command(Verb.RESET), Command(Verb.JOIN, unit=0), Command(Verb.RESUME)
SIXTY = Command(Verb.SET_LOAD, value=60.0)


def closings(w: Stepper) -> list[int | None]:
    return [o.raise_to for o in w.last.orders.units]


def loaded() -> Stepper:
    return Stepper(PLACE).loaded(60.0)


def comes_back(w: Stepper) -> bool:
    """Whether anything closes within five seconds though nobody has answered."""
    for _ in range(10):
        if any(c is not None for c in closings(w)):
            return True
        w.scan()
    return False


def test_a_reset_in_the_scan_of_a_refused_closing_does_not_try_it_again():
    w = Stepper(PLACE).ready()
    w.plant.units[0].closing = w.plant.units[1].closing = Write.REFUSED
    w.scan(SIXTY)
    w.until(lambda w: any(c is not None for c in closings(w)))
    w.scan(RESET)
    assert w.alarm("did not follow", 0) or w.alarm("did not follow", 1)
    assert w.state.held
    assert not comes_back(w)


@pytest.mark.parametrize("command", [GO_ON, JOIN, Command(Verb.SWITCH), SIXTY], ids=lambda c: c.verb.value)
@pytest.mark.parametrize(
    ("row", "fields"),
    [
        ("load fell", {"load": 0}),
        ("unit restarted", {"load": 0, "uptime_s": 0.0}),
    ],
)
def test_load_that_goes_off_in_the_scan_of_a_command_is_told_and_stays_off(row, fields: dict[str, Any], command):
    w = loaded()
    before = [u.load for u in w.plant.units]
    loser = before.index(max(before))
    for name, value in fields.items():
        setattr(w.plant.units[loser], name, value)
    w.scan(Command(command.verb, unit=loser if command.unit is not None else None, value=command.value))
    assert w.alarm(row, loser)
    assert w.state.held
    assert not comes_back(w)


def test_load_that_falls_again_in_the_scan_of_the_answer_is_asked_about_again():
    w = Stepper(PLACE).loaded(120.0)
    w.plant.units[0].load = 0
    w.scan()
    assert w.state.held
    w.plant.units[1].load = 0
    w.scan(GO_ON)
    assert w.state.held


def test_a_second_hole_in_time_is_not_answered_by_the_answer_to_the_first():
    w = Stepper(PLACE).ready()
    w.scan(SIXTY)
    w.scan(dt_s=30.0)
    w.scan(SIXTY, dt_s=30.0)
    assert w.state.held
    assert not comes_back(w)
    w.scan(GO_ON)
    assert not w.state.held
