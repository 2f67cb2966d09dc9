"""The guard by itself: whatever state it finds and whatever the rungs before it wish, nothing unsafe comes out."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.decision import Settings
from benchctl.core.guard import TOLERANCE
from benchctl.core.levels import join, load_kw, lowers, phase_kw
from benchctl.core.profile import Profile
from benchctl.core.reading import Outcome, UnitReading
from benchctl.core.seen import Contact, SeenUnit
from benchctl.core.state import InstrumentState, State, Trip, UnitState
from tests.core.guarded import FED, Case, fine, seen_of
from tests.core.worlds import site, staged, stepped

MANY = settings(max_examples=150)


PROFILES = (staged(20.0, 40.0, watchdog=FED), staged(10.0, 10.0, 30.0), stepped(60.0, 20.0, watchdog=FED))
PLACES = st.lists(st.sampled_from(PROFILES), min_size=1, max_size=3)
FLAGS = st.lists(st.integers(0, 9), min_size=12, max_size=12).map(lambda ns: [n == 9 for n in ns])


@st.composite
def units_of(draw: Any, profile: Profile) -> tuple[UnitState, SeenUnit, int]:
    """A unit as the guard may find it, and a wish; each wrong thing in one unit of ten."""
    loads, wrong = st.integers(0, profile.full_load), draw(FLAGS)
    wanted, ratio = draw(loads), draw(st.sampled_from([1.0, 0.9, 1.05, 1.101]))
    u = UnitState(
        wanted=wanted,
        possible=join(profile, wanted, draw(loads)) if wrong[0] else wanted,
        follow_s=0.5 * wrong[1],
        heard=not wrong[2],
        joined=not wrong[3],
        fan=not wrong[4],
        proven=not wrong[5],
        out=wrong[6],
        fan_withdrawn=wrong[7],
        hot=draw(st.booleans()),
        unclosed=draw(loads) if wrong[8] else 0,
        feed_s=draw(st.sampled_from([0.0, 5.0])),
        health=((1.0, 0.0, 1.0),) * len(profile.stages) if wrong[8] and profile.stages else None,
    )
    contact = draw(st.sampled_from([Contact.AGED, Contact.STALE, Contact.LOST])) if wrong[9] else Contact.FRESH
    contact = contact if u.heard else Contact.NEVER
    load = draw(st.one_of(st.none(), loads)) if wrong[10] else wanted
    airflow = draw(st.sampled_from([None, False])) if wrong[11] else True
    reading = UnitReading(Outcome.OK, load=load, remote=True, airflow=airflow, fan_on=u.fan)
    unable = "somehow" if contact is not Contact.FRESH or wrong[5] or wrong[6] else ""
    return u, SeenUnit(contact, 0.0, reading, load, 400.0 * ratio, ratio, None, unable=unable), draw(loads)


@st.composite
def anything(draw: Any) -> Case:
    """Any state that the guard can tell from another, anything seen, any wish."""
    power_kw, reserve_kw = draw(st.sampled_from([40.0, 100.0, 400.0])), draw(st.sampled_from([0.0, 10.0]))
    settings_ = Settings.of(site(*draw(PLACES), nameplate_kw=power_kw, site_load_reserve_kw=reserve_kw))
    units, seen, wish = zip(*[draw(units_of(u.profile)) for u in settings_.site.units], strict=True)
    bench = draw(FLAGS)
    state = State(
        units,
        (InstrumentState(),),
        charge="" if bench[0] else "operator",
        trip=Trip("drop", -1, "x", 0, 0.0) if bench[1] else None,
        dropped=bench[2],
        site_known_kw=draw(st.sampled_from([None, 0.0, 30.0, 90.0])),
        room_kw=draw(st.sampled_from([0.0, 20.0, 100.0, 400.0])),
        settle_s=draw(st.sampled_from([0.0, 5.0])),
    )
    found = seen_of(state, settings_, list(seen), draw(st.sampled_from([None, 0.0, 30.0])))
    return Case(state.copy(), state, found, settings_, list(wish), draw(st.sampled_from([0.0, 0.5, 2.0])))


@MANY
@given(anything())
def test_nothing_is_ordered_beyond_what_is_wanted_already_and_what_is_wished(case):
    orders = case.orders()
    for o, u, before, wish, p in zip(
        orders.units, case.state.units, case.before.units, case.wish, case.profiles, strict=True
    ):
        assert lowers(p, u.wanted, join(p, wish, 0 if lowers(p, wish, before.wanted) else before.wanted))
        assert lowers(p, o.keep, before.wanted)
        assert lowers(p, o.keep, u.wanted)
        assert o.raise_to in (None, u.wanted)
        assert (o.raise_to is None) == lowers(p, u.wanted, before.wanted)


@MANY
@given(anything())
def test_a_closing_passes_neither_limit_nor_room_with_everything_counted_that_may_be_closed(case):
    orders = case.orders()
    if all(o.raise_to is None for o in orders.units):
        assert case.state.room_kw <= case.before.room_kw
        return
    most_kw = rise_kw = 0.0
    for i, (before, u, s, p) in enumerate(
        zip(case.before.units, case.state.units, case.seen.units, case.profiles, strict=True)
    ):
        most_kw += load_kw(p, join(p, before.possible, u.wanted), s.ratio)
        rise_kw += load_kw(p, case.left(i), s.ratio) - load_kw(p, before.possible, s.ratio)
    assert most_kw <= case.limit_kw + 1e-9
    assert rise_kw <= case.before.room_kw + case.settings.stage_kw + 1e-9
    assert case.state.room_kw <= max(0.0, case.before.room_kw - rise_kw) + 1e-9


@MANY
@given(anything())
def test_above_the_limit_load_opens_until_what_is_left_keeps_it_or_nothing_is_left_to_open(case):
    orders = case.orders()
    if case.seen.possible_kw <= case.limit_kw * TOLERANCE:
        return
    assert all(o.raise_to is None for o in orders.units)
    left_kw, reachable = 0.0, 0
    for before, u, s, o, p in zip(
        case.before.units, case.state.units, case.seen.units, orders.units, case.profiles, strict=True
    ):
        if o.silent or not before.joined or s.contact is not Contact.FRESH:
            left_kw += s.possible_kw
        else:
            left_kw += sum(phase_kw(p, u.wanted, s.ratio, before.health))
            reachable |= u.wanted
    assert left_kw <= case.limit_kw + 1e-6 or not reachable


@MANY
@given(anything())
def test_a_drop_opens_everything_and_feeds_no_watchdog_where_load_may_be_on(case):
    case.state.dropped = case.before.dropped = True
    orders = case.orders()
    for o, before, s in zip(orders.units, case.before.units, case.seen.units, strict=True):
        assert (o.keep, o.raise_to, o.silent) == (0, None, False)
        assert o.lower or (before.possible == 0 and s.load == 0)
        assert not (o.feed and before.possible)
    assert orders.urgent == any(o.lower for o in orders.units)
    assert not orders.block


@MANY
@given(anything())
def test_fans_are_started_and_never_stopped_and_nothing_is_written_before_charge_is_taken(case):
    orders = case.orders()
    for o, u, before in zip(orders.units, case.state.units, case.before.units, strict=True):
        assert u.fan or not before.fan
        assert before.fan or not (u.fan and before.fan_withdrawn)
        if case.before.charge and before.heard and before.possible and not before.fan_withdrawn:
            assert o.fan is True
        if not case.before.charge:
            assert (o.fan, o.feed, o.raise_to) == (None, False, None)
            assert o.silent or case.before.dropped


# One wrong thing in a unit that may otherwise have everything.
Wrong = Callable[[State, UnitState, SeenUnit], None]


def put(thing: object, fields: dict[str, object]) -> None:
    for name, value in fields.items():
        setattr(thing, name, value)


def in_state(**fields: object) -> Wrong:
    return lambda state, u, s: put(state, fields)


def in_unit(**fields: object) -> Wrong:
    return lambda state, u, s: put(u, fields)


def in_seen(**fields: object) -> Wrong:
    return lambda state, u, s: put(s, fields)


def in_reading(**fields: Any) -> Wrong:
    return lambda state, u, s: put(s, {"reading": replace(s.reading, **fields)})


WRONGS: dict[str, Wrong] = {
    "a drop is in force": in_state(dropped=True),
    "nobody has taken charge": in_state(charge=""),
    "a trip is latched": in_state(trip=Trip("drop", -1, "x", 0, 0.0)),
    "it may not be loaded": in_seen(unable="somehow"),
    "its fan is not ordered on": in_unit(fan=False),
    "its air was never proven": in_unit(proven=False),
    "its airflow reads off": in_reading(airflow=False),
    "its airflow is not known": in_reading(airflow=None),
    "it is out": in_unit(out=True),
    "it has not joined": in_unit(joined=False),
    "its volts are above its rating": in_seen(ratio=1.101),
    "its last closing is under way": in_unit(follow_s=0.5),
    "it reads back something else": in_seen(load=1),
    "its load is not read back": in_seen(load=None),
}


@given(st.integers(0, 7), st.integers(0, 5), st.integers(0, 5))
def test_where_everything_is_allowed_the_wish_is_the_order(a, b, load):
    case = fine(load)
    case.wish = [a, b]
    orders = case.orders()
    assert [u.wanted for u in case.state.units] == [a, b]
    for o, wish, p in zip(orders.units, case.wish, case.profiles, strict=True):
        assert o.raise_to == (None if lowers(p, wish, load) else wish)
        assert o.lower is not lowers(p, load, wish)
        assert o.fan is True
        assert o.feed
        assert not o.silent


@pytest.mark.parametrize("wrong", WRONGS)
def test_one_wrong_thing_alone_keeps_a_unit_from_closing(wrong):
    for wish in range(1, 8):
        case = fine()
        case.wish = [wish, 0]
        WRONGS[wrong](case.state, case.state.units[0], case.seen.units[0])
        assert case.orders().units[0].raise_to is None
        assert case.state.units[0].wanted == 0


@pytest.mark.parametrize("wrong", [name for name in WRONGS if name.startswith("it")])
def test_what_is_wrong_with_one_unit_keeps_nothing_from_the_other(wrong):
    case = fine()
    WRONGS[wrong](case.state, case.state.units[0], case.seen.units[0])
    assert case.orders().units[1].raise_to == 5


@pytest.mark.parametrize(("room_kw", "raised_kw"), [(0.0, 20.0), (80.0, 100.0), (180.0, 200.0)])
def test_closings_are_taken_back_to_room_and_one_stage(room_kw, raised_kw):
    """20 kW is the smallest stage; the largest closing is taken back first, and a unit gets its wish or none of it."""
    case = fine()
    case.state.room_kw = case.before.room_kw = room_kw
    case.wish = [1, 0] if room_kw == 0.0 else [7, 5]
    case.orders()
    pairs = zip(case.profiles, case.state.units, strict=True)
    assert sum(load_kw(p, u.wanted, 1.0) for p, u in pairs) == raised_kw


@pytest.mark.parametrize("opening", [0, 1])
@pytest.mark.parametrize(("room_kw", "closes"), [(79.0, False), (80.0, True)])
def test_an_opening_that_is_not_read_back_yet_makes_no_room_for_a_closing(opening, room_kw, closes):
    """100 kW of one unit were ordered off and may still be on: the other's 100 kW are a rise of 100 kW, not of none."""
    case = fine()
    case.state.room_kw = room_kw
    case.state.units[opening].possible = case.profiles[opening].full_load
    case.seen = seen_of(case.state, case.settings, case.seen.units, None)
    case.wish = [0, 5] if opening == 0 else [7, 0]
    assert (case.orders().units[1 - opening].raise_to is not None) is closes
