"""Wrong volts, a stall, hunting, a lost phase, load rejection: the whole bench, held against the truth."""

import pytest

from benchctl.core.causes import BY_KEY
from benchctl.core.profile import Reaction
from benchctl.core.scenario import Answer, Fault
from tests.safety.world import HOLD, YES, live, short

SCAN_S = 0.5


@pytest.mark.parametrize("percent", [173.2, 200.0])
def test_at_a_wrong_multiple_of_the_volts_no_contactor_closes(percent):
    seen = live(Fault(0.0, "volts sag", "source", percent), until_s=100.0)
    assert all(not any(s.kw) for s in seen.sights)
    assert all(u.raise_to is None for s in seen.sights for u in s.frame.decision.orders.units)
    assert any("the source's volts are within limits" in text for text in seen.texts("prompt"))


def test_volts_that_run_away_under_load_open_every_stage_within_two_scans():
    seen = live(Fault(10.0, "volts sag", "source", 173.2, during=HOLD), until_s=90.0)
    at_s = seen.alarmed_s("unit volts high")
    assert at_s is not None
    away_s = next(s.at_s for s in seen.sights if s.load_kw > 400.0)  # three times the watts in what was closed
    assert all(s.load_kw == 0.0 for s in seen.since(away_s + 2 * SCAN_S))


def test_a_set_that_stalls_is_relieved_at_once_and_gets_nothing_back():
    # fuel for half the rating: the set sinks under 350 kW, and recovers when it is free
    seen = live(Fault(10.0, "power limited", "source", 0.5, during=HOLD), program=short(350.0), until_s=90.0)
    (trip,) = seen.texts("trip")
    assert trip == BY_KEY["hertz stall"].text.format(hertz_stall_percent=85.0)
    at_s = seen.alarmed_s("hertz stall")
    assert at_s is not None
    assert all(s.load_kw == 0.0 for s in seen.since(at_s + 2 * SCAN_S))
    assert seen.outcome == "tripped"


def test_on_a_set_that_hunts_no_load_is_moved_by_itself():
    swings = [Fault(5.0 + 4.0 * i, "hertz low", "source", 97.0, for_s=2.0, during=HOLD) for i in range(12)]
    trimmed = short(200.0, 60.0, source_total=True, trim=True)
    calm = Fault(0.0, "site load", "source", 0.0)
    seen = live(calm, *swings, program=trimmed, until_s=85.0)
    held = [s for s in seen.sights if 40.0 <= s.at_s < 85.0]
    assert (
        max(s.frame.decision.seen.hertz or 50.0 for s in held) - min(s.frame.decision.seen.hertz or 50.0 for s in held)
        > 1.0
    )
    assert len({tuple(u.keep for u in s.frame.decision.orders.units) for s in held}) == 1
    assert all(u.raise_to is None for s in held for u in s.frame.decision.orders.units)


def test_a_lost_phase_takes_all_load_off_within_three_scans():
    seen = live(Fault(10.0, "phase lost", "source", 2.0, during=HOLD), until_s=60.0)
    assert seen.texts("trip") == [BY_KEY["phase lost"].text]
    lost_s = next(s.at_s for s in seen.sights if s.at_s > 35.0 and s.load_kw < 250.0)
    assert all(s.load_kw == 0.0 for s in seen.since(lost_s + 3 * SCAN_S))


def test_a_drop_at_full_load_is_off_in_truth_told_as_over_speed_and_brings_nothing_back():
    seen = live(answers=(YES, Answer("drop", at_s=15.0, during=HOLD)), program=short(350.0), until_s=90.0)
    dropped_s = next(s.at_s for s in seen.sights if s.frame.decision.state.dropped)
    assert next(s for s in seen.sights if s.at_s < dropped_s and s.at_s > dropped_s - 2 * SCAN_S).load_kw > 330.0
    assert all(s.load_kw == 0.0 for s in seen.since(dropped_s + SCAN_S))
    assert seen.alarmed_s("hertz high") is not None
    assert BY_KEY["hertz high"].reaction is Reaction.ALARM
    assert not seen.texts("trip")


def test_when_the_site_needs_the_set_it_has_it_within_two_scans():
    seen = live(Fault(10.0, "site needs the set", "source", during=HOLD), until_s=60.0)
    at_s = seen.alarmed_s("site needs the set")
    assert at_s is not None
    assert at_s <= 40.0 + 2 * SCAN_S
    assert all(s.load_kw == 0.0 for s in seen.since(at_s + SCAN_S))
