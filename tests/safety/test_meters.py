"""Meters that are wrong, frozen or gone: no program on a wrong one, and no trim on one that tells nothing new."""

import pytest

from benchctl.core.scenario import Fault
from benchctl.core.state import Mode
from tests.safety.world import HOLD, live, short

TRIMMED = short(200.0, 100.0, source_total=True, trim=True)


@pytest.mark.parametrize(
    ("fault", "value", "words"),
    [
        ("transformer reversed", 2.0, "phase B current transformer reversed?"),
        ("transformers exchanged", 23.0, "exchanged?"),
        ("wrong ratio", 2.0, "all phases alike: transformer ratio 2.00 times off"),
        ("wrong ratio", 0.5, "all phases alike: transformer ratio 0.50 times off"),
    ],
)
def test_no_program_begins_on_a_meter_that_the_check_load_proves_wrong(fault, value, words):
    seen = live(Fault(0.0, fault, "source meter", value), program=short(100.0, check_load=True), until_s=60.0)
    assert any(words in text for text in seen.texts("prompt"))
    assert any("the check load needs an override with a reason first" in text for text in seen.texts("refused"))
    assert seen.last.decision.state.mode is Mode.CHECK
    assert max(s.load_kw for s in seen.sights) < 0.2 * 400.0  # the check load, and nothing of the program


@pytest.mark.parametrize(
    ("fault", "row"), [("meter lost", "source meter lost"), ("meter frozen", "source meter frozen")]
)
def test_trim_raises_nothing_while_the_meter_tells_nothing_new(fault, row):
    away = Fault(11.0, "site load", "source", 0.0, during=HOLD)
    back = Fault(40.0, "site load", "source", 45.0, during=HOLD)
    seen = live(Fault(10.0, fault, "source meter", during=HOLD), away, back, program=TRIMMED, until_s=110.0)
    at_s = seen.alarmed_s(row)
    assert at_s is not None
    unseen = seen.since(at_s)
    assert all(u.raise_to is None for s in unseen for u in s.frame.decision.orders.units)
    assert max(s.source_kw for s in unseen) <= 200.0 * 1.02 + 2.0  # the reserve for the site is counted meanwhile


def test_trim_does_not_chase_a_meter_that_froze_below_the_target():
    calm = Fault(0.0, "site load", "source", 0.0)
    seen = live(calm, Fault(10.0, "meter frozen", "source meter", during=1), program=TRIMMED, until_s=80.0)
    at_s = seen.alarmed_s("source meter frozen")
    assert at_s is not None
    assert at_s < 28.0  # in the ramp: its values stand still while load moves
    assert max(s.source_kw for s in seen.sights) <= 200.0 * 1.02 + 4.0


def test_trim_raises_nothing_on_a_meter_that_shows_less_than_the_units_draw():
    calm = Fault(0.0, "site load", "source", 0.0)
    seen = live(calm, Fault(10.0, "wrong ratio", "source meter", 0.5, during=HOLD), program=TRIMMED, until_s=100.0)
    shown = [s.frame.decision.seen.source_kw or 0.0 for s in seen.sights if 45.0 < s.at_s < 100.0]
    assert max(shown) < 110.0
    assert "the meter at the source shows 101 kW where the units draw 200 kW" in seen.texts("alarm")
    assert max(s.source_kw for s in seen.sights) <= 200.0 * 1.02 + 4.0
