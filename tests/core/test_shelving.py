"""Shelved alarms (a state of IEC 62682): set aside with a name, a reason and an end; never what acts, air or heat."""

import re

import pytest

from benchctl.core.alarms import first_out
from benchctl.core.causes import BY_KEY, ROWS
from benchctl.core.command import Command, Verb
from benchctl.core.profile import Reaction
from benchctl.core.shown import AlarmShown
from tests.core.test_snapshot import Watched
from tests.core.worlds import site, staged

AIR_AND_HEAT = re.compile(r"air|fan|hot|heat|warm|temperature|exhaust|inlet|cool", re.IGNORECASE)


def shelve(row: str = "hertz off", seconds: float = 60.0, *, unit: int | None = None, why: str = "governor") -> Command:
    return Command(Verb.SHELVE, "operator", why, seconds, row, unit)


def bench() -> Watched:
    """Hertz a little off, long enough for its alarm."""
    w = Watched(site(staged(20.0, 40.0), staged(20.0, 40.0))).loaded(60.0)
    w.plant.hertz = 51.2
    w.until(lambda w: w.alarm("hertz off"))
    return w


def shown(w: Watched, row: str = "hertz off") -> AlarmShown:
    (found,) = [a for a in w.shown().alarms if a.row == row]
    return found


def test_no_interlock_and_nothing_of_air_heat_or_absence_can_be_shelved():
    allowed = [row for row in ROWS if row.shelve]
    assert len(allowed) > 5
    for row in allowed:
        assert row.reaction is Reaction.ALARM
        assert not AIR_AND_HEAT.search(f"{row.key} {row.text}"), row.key
    for key in ("unit lost", "load found on", "nobody attached", "no sign of a person"):
        assert not BY_KEY[key].shelve, "it acts by itself, or a person has to come"


@pytest.mark.parametrize("row", [r for r in ROWS if not r.shelve], ids=lambda r: r.key)
def test_a_row_that_may_not_be_shelved_is_refused_by_name(row):
    w = bench()
    w.scan(shelve(row.key, unit=0))
    assert "can be shelved: draws less, kW do not match, volts off" in w.heard("refused")[-1].text
    assert w.state.shelved == ()


def test_a_shelved_alarm_is_listed_with_who_why_and_time_left_and_is_neither_active_nor_first_out():
    w = bench()
    before = shown(w)
    assert (before.active, before.acknowledged, before.first_out, before.shelved_s) == (True, False, True, 0.0)
    w.scan(shelve())
    w.run(10.0)
    now = shown(w)
    assert (now.active, now.acknowledged, now.first_out) == (False, True, False)
    assert (now.shelved_by, now.shelved_why) == ("operator", "governor")
    assert now.shelved_s == pytest.approx(49.5)
    assert first_out(w.state) == ()
    (event,) = w.heard("shelved")
    assert (event.text, event.who) == ("hertz off: shelved for 60 s: governor", "operator")
    assert dict(event.data) == {"row": "hertz off", "shelved_s": 60.0, "why": "governor"}


def test_the_next_alarm_is_then_the_first_out():
    w = bench()
    w.scan(shelve())
    w.plant.volts = 375.0
    w.until(lambda w: w.alarm("volts off"))
    assert [a.row for a in w.shown().alarms if a.first_out] == ["volts off"]


def test_it_is_evaluated_and_counted_as_ever_and_its_events_say_that_it_is_shelved():
    w = bench()
    w.scan(shelve(seconds=600.0))
    for hertz in (50.0, 51.2, 50.0, 51.2):
        w.plant.hertz = hertz
        w.run(20.0)
    now = shown(w)
    assert (now.count, now.active) == (3, False)
    told = [dict(e.data) for e in w.heard("alarm") if dict(e.data)["row"] == "hertz off"]
    assert [t.get("shelved", False) for t in told] == [False, True, True]


def test_at_its_end_it_is_back_and_to_be_acknowledged_if_it_is_active():
    w = bench()
    w.scan(Command(Verb.ACKNOWLEDGE, text="all"))
    w.scan(shelve(seconds=30.0))
    w.run(29.0)
    assert shown(w).shelved_s > 0.0
    w.run(2.0)
    now = shown(w)
    assert (now.active, now.acknowledged, now.shelved_s) == (True, False, 0.0)
    assert "its time on the shelf is over" in w.heard("unshelved")[0].text


def test_at_its_end_nothing_is_left_of_what_is_no_longer_active():
    w = bench()
    w.scan(Command(Verb.ACKNOWLEDGE, text="all"))
    w.scan(shelve(seconds=30.0))
    w.plant.hertz = 50.0
    w.run(5.0)
    assert shown(w).shelved_s > 0.0, "it is listed as long as it is set aside"
    w.run(30.0)
    assert [a for a in w.shown().alarms if a.row == "hertz off"] == []


def test_a_person_may_end_it_or_prolong_it():
    w = bench()
    w.scan(shelve(seconds=30.0))
    w.run(20.0)
    w.scan(shelve(seconds=100.0, why="still the governor"))
    assert shown(w).shelved_why == "still the governor"
    assert shown(w).shelved_s == pytest.approx(99.5)
    w.scan(shelve(seconds=0.0, why=""))
    assert (shown(w).active, shown(w).acknowledged, shown(w).shelved_s) == (True, False, 0.0)
    assert w.heard("unshelved")[-1].who == "operator"


def test_a_hole_in_time_counts():
    w = bench()
    w.scan(shelve(seconds=600.0))
    w.scan(dt_s=700.0)
    assert shown(w).shelved_s == 0.0


def test_of_two_units_only_the_one_is_set_aside_and_two_may_end_in_one_scan():
    w = bench()
    w.scan(shelve(seconds=20.0))
    for u in w.state.units:
        u.missing = ((0, 1, 3),)
    w.scan()
    w.scan(shelve("draws less", 19.5, unit=1))
    by_unit = {a.unit: a.shelved_s > 0.0 for a in w.shown().alarms if a.row == "draws less"}
    assert by_unit == {"bank 1": False, "bank 2": True}
    assert w.heard("shelved")[-1].text.startswith("bank 2: draws less: shelved")
    w.run(25.0)
    assert (w.state.shelved, len(w.heard("unshelved"))) == ((), 2)


def test_shelving_decides_nothing():
    one, other = bench(), bench()
    one.scan(shelve())
    other.scan(Command(Verb.REMARK, text="nothing"))
    for w in (one, other):
        w.run(20.0)
        w.plant.hertz = 40.0
        w.run(5.0)
    assert one.last.orders == other.last.orders
    assert one.state.trip == other.state.trip
