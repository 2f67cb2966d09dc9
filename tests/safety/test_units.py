"""Contactors that stick, units that are lost, restarted, swapped or ordered by others, held against the truth."""

import pytest

from benchctl.core.causes import BY_KEY
from benchctl.core.scenario import Answer, Fault
from tests.safety.world import DOWN, HOLD, YES, Watched, live

SCAN_S = 0.5


def told(row: str, unit: str = "bank 1") -> str:
    return BY_KEY[row].text.format(unit=unit)


def raised(seen: Watched, unit: int, since_s: float) -> bool:
    return any(s.frame.decision.orders.units[unit].raise_to is not None for s in seen.since(since_s))


def test_a_contactor_that_does_not_open_names_its_breaker_and_keeps_its_fan():
    stuck = [Fault(20.0, "contactor will not open", "bank 1", float(n), during=HOLD) for n in range(1, 8)]
    seen = live(*stuck, until_s=130.0)
    assert told("contactor stuck closed") in seen.texts("alarm")
    assert "OPEN ITS BREAKER" in told("contactor stuck closed")
    assert seen.sights[-1].kw[0] > 30.0  # it is on, whatever is ordered
    assert all(s.fan_on[0] and s.air[0] for s in seen.since(60.0))
    assert not seen.texts("unloaded")
    assert all(s.frame.decision.seen.possible_kw > 30.0 for s in seen.since(60.0))


def test_a_unit_that_refuses_to_open_is_never_told_to_be_off():
    refuses = Fault(10.0, "refuses writes", "bank 1", 4.0, during=HOLD)
    seen = live(refuses, answers=(YES, Answer("drop", at_s=15.0, during=HOLD)), until_s=90.0)
    assert seen.sights[-1].kw[0] > 50.0
    assert told("contactor stuck closed") in seen.texts("alarm")
    assert not seen.texts("unloaded")
    assert seen.last.decision.seen.loaded


def test_a_lost_unit_whose_watchdog_is_dead_is_never_told_to_be_off():
    dead = Fault(0.0, "watchdog dead", "bank 1")
    seen = live(Fault(10.0, "mute", "bank 1", during=HOLD), dead, until_s=130.0)
    assert seen.sights[-1].kw[0] > 50.0
    assert told("unit lost") in seen.texts("alarm")
    (unloaded,) = seen.texts("unloaded")
    assert "no contact with bank 1: open their breakers if they still have load on" in unloaded
    assert "all load is off" not in unloaded
    assert all(s.frame.decision.state.units[0].possible for s in seen.since(45.0))


def test_a_lost_unit_whose_watchdog_works_drops_its_load_by_itself():
    seen = live(Fault(10.0, "mute", "bank 1", during=HOLD), until_s=70.0)
    silent_s = next(s.at_s for s in seen.sights if s.at_s > 39.0 and not s.frame.inputs.units[0].outcome.tells)
    watchdog = seen.site.units[0].profile.watchdog
    assert watchdog is not None
    assert all(s.kw[0] == 0.0 for s in seen.since(silent_s + watchdog.time_s + 2.0))
    assert all(s.fan_on[0] for s in seen.since(silent_s))


def test_a_stage_that_does_not_close_is_never_counted_as_load():
    seen = live(*(Fault(0.0, "contactor will not close", "bank 1", float(n)) for n in range(1, 8)), until_s=85.0)
    assert told("did not follow") in seen.texts("alarm")
    assert all(s.kw[0] == 0.0 for s in seen.sights)
    assert all(not s.frame.decision.seen.units[0].load for s in seen.sights)


@pytest.mark.parametrize("fault", ["restarts", "swapped", "local"])
def test_what_goes_off_by_itself_stays_off_until_a_person_has_answered(fault):
    seen = live(Fault(10.0, fault, "bank 1", during=HOLD), answers=(), until_s=100.0)
    gone_s = next(s.at_s for s in seen.sights if s.at_s > 39.0 and s.kw[0] == 0.0)
    assert seen.texts("held")
    assert not any(raised(seen, unit, gone_s + SCAN_S) for unit in range(4))
    before_kw = next(s for s in seen.since(gone_s)).load_kw
    assert max(s.load_kw for s in seen.since(gone_s)) <= before_kw * 1.02


def test_a_unit_in_anothers_place_gets_no_load():
    seen = live(Fault(10.0, "swapped", "bank 1", during=HOLD), until_s=100.0)
    at_s = seen.alarmed_s("unit swapped")
    assert at_s is not None
    assert all(s.kw[0] == 0.0 for s in seen.since(at_s))
    assert not raised(seen, 0, at_s)


def test_load_that_another_writes_is_held_and_never_written_against():
    seen = live(Fault(10.0, "other master", "bank 1", 20.0, during=HOLD), answers=(), until_s=85.0)
    at_s = seen.alarmed_s("load changed by someone else") or seen.alarmed_s("load fell")
    assert at_s is not None
    assert not raised(seen, 0, at_s)
    assert seen.texts("held")
    assert not any(s.segment == DOWN for s in seen.sights)
    assert seen.sights[-1].kw[0] == pytest.approx(20.0, rel=0.1)  # it is left to the other
