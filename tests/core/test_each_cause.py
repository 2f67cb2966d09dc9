"""Every row of the table of causes in time: not before its delay, standing until it is over, as strong as it says.

The scenes are those of the table's own test: here it is when a row fires and what it does that counts.
"""

import pytest

from benchctl.core.causes import BY_KEY, ROWS, Row
from benchctl.core.command import Command, Verb
from benchctl.core.inputs import Recorder
from benchctl.core.profile import Reaction
from benchctl.core.state import Alarm
from tests.core.test_causes import PAIRS, stage_set
from tests.core.worlds import Stepper

WITH_DELAY = [row.key for row in ROWS if row.delay and row.key != "short of target"]
# What these notice stays as it is when the scene is over: it ends in another way, shown in the test of the row itself.
LASTING = {
    "contactor stuck closed",  # until it is read back open
    "did not follow",  # until reset
    "load changed by someone else",  # until the operator goes on
    "load fell",
    "unit restarted",  # until it joins again
    "unit swapped",
    "unit lost",
    "draws less",  # until reset
    "hot, fans stopped",  # until confirmed
    "no unit left",  # until one is joined again
    "short of target",  # until the next leg
    "load found on",  # until somebody decides, or it is gone
}


def entry(w: Stepper, key: str) -> Alarm | None:
    unit = -1 if BY_KEY[key].scope == "bench" else 0
    return w.state.alarms.get((key, unit))


def active(w: Stepper, key: str) -> bool:
    found = entry(w, key)
    return found is not None and found.active


def well(w: Stepper) -> None:
    """Everything as it was before the scene."""
    w.plant.volts, w.plant.hertz, w.plant.site_kw, w.plant.needs_set, w.plant.told = 400.0, 50.0, 0.0, None, lambda e: e
    u = w.plant.units[0]
    u.fields, u.air, u.exhaust_c, u.silent, u.wont_open, u.wont_close = {}, None, 25.0, None, 0, 0
    w.recorder, w.attached = Recorder.ABSENT, None


@pytest.mark.parametrize("key", WITH_DELAY)
def test_a_row_with_a_delay_fires_when_its_condition_has_held_for_it_and_not_before(key):
    w = stage_set(key)
    delay_s = getattr(w.settings.site.limits, BY_KEY[key].delay)
    PAIRS[key][0](w)
    begin_s, first_s = w.now_s, None
    for _ in range(60):
        w.scan()
        noticed = entry(w, key)
        if first_s is None and noticed is not None:
            first_s = w.now_s
        if noticed is not None and noticed.active:
            break
    assert first_s is not None
    assert first_s - begin_s <= 10.0  # a scan, and for a meter the time in which its last values still count
    assert w.now_s - first_s == pytest.approx(delay_s, abs=w.dt_s / 2)


@pytest.mark.parametrize("key", WITH_DELAY)
def test_a_condition_that_goes_before_its_delay_leaves_nothing_behind(key):
    w = stage_set(key)
    PAIRS[key][0](w)
    w.until(lambda w: entry(w, key) is not None)
    assert not active(w, key)
    well(w)
    w.run(30.0)
    assert entry(w, key) is None
    assert key not in [dict(e.data).get("row") for e in w.heard("alarm")]


@pytest.mark.parametrize("key", [row.key for row in ROWS if row.key not in LASTING])
def test_what_is_over_is_acknowledged_away_unless_it_latches_and_then_only_a_reset_takes_it(key):
    w = stage_set(key)
    PAIRS[key][0](w)
    w.until(lambda w: any(dict(e.data).get("row") == key for e in w.heard("alarm")), 90.0)
    well(w)
    w.until(lambda w: not active(w, key), 120.0)
    w.scan(Command(Verb.ACKNOWLEDGE, text="all"))
    w.run(2.0)
    assert (entry(w, key) is not None) is BY_KEY[key].latch
    w.until(lambda w: not any(u.possible for u in w.state.units) or not BY_KEY[key].latch)
    w.scan(Command(Verb.RESET))
    assert entry(w, key) is None


@pytest.mark.parametrize("key", [row.key for row in ROWS if row.latch and row.key not in LASTING])
def test_a_reset_releases_nothing_whose_condition_is_still_there(key):
    w = stage_set(key)
    PAIRS[key][0](w)
    w.until(lambda w: active(w, key))
    for _ in range(10):
        w.scan(Command(Verb.RESET))
        found = entry(w, key)
        if found is None or not found.active:
            break
        assert found.latched


def standing(w: Stepper, row: Row) -> None:
    """What the row's reaction must have done by now, and what a milder one must not have."""
    tripped, out, held = w.state.trip is not None, w.state.units[0].out, bool(w.state.held)
    match row.reaction:
        case Reaction.DROP:
            assert tripped
            assert w.state.dropped
        case Reaction.UNLOAD:
            assert tripped
            assert not w.state.dropped
        case Reaction.UNIT_OFF:
            assert out
            assert not tripped
        case Reaction.HOLD:
            assert held
            assert not tripped
            assert not out
        case Reaction.ALARM:
            assert (tripped, out, held) == (False, False, False)
        case _:
            raise AssertionError(row.reaction)


# Their scene is worse than the row alone: another row acts beside it, or nothing is left that could be held.
BESIDE = {
    "hot, fans stopped",  # after an emergency stop
    "hot, no fan supply",  # after the source has stopped
    "short of target",  # after a unit went off
}


@pytest.mark.parametrize("key", [row.key for row in ROWS if row.key not in BESIDE])
def test_a_row_does_what_its_reaction_says_and_nothing_stronger(key):
    w = stage_set(key)
    PAIRS[key][0](w)
    w.until(lambda w: any(dict(e.data).get("row") == key for e in w.heard("alarm")), 90.0)
    standing(w, BY_KEY[key])


def test_rows_named_here_are_rows_of_the_table():
    assert set(BY_KEY) >= LASTING | BESIDE
