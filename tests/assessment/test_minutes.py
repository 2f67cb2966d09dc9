"""One-minute means: where a rule set asks for them, a short dip counts by what it takes off its minute."""

import pytest

from benchctl.assessment.trail import NAN, Hole
from benchctl.core.ruleset import SampleBase
from tests.assessment.trails import NOT_MET, OPEN, SHOWN, duty, trail, verdict

MINUTE = SampleBase.MINUTE
SECONDS = [float(k) for k in range(301)]


def test_a_short_dip_is_carried_by_its_minute_and_told_all_the_same():
    kw = [100.0 if t == 130.0 else 200.0 for t in SECONDS]  # the mean of its minute is 198.3 kW
    made = trail(SECONDS, kw)
    assert verdict(made, duty(39.0, 290.0)).outcome is NOT_MET
    found = verdict(made, duty(39.0, 300.0), base=MINUTE)
    assert found.outcome is SHOWN
    assert "lowest sample 100 kW (20 %) at 0:02:10" in found.why
    given = {i.name: i.value for i in found.working[0].inputs}
    assert given["minutes in it"] == pytest.approx(5.0)


def test_minutes_begin_where_they_serve_best():
    # Low from 50 to 69 s: minutes from 0 on fail, minutes from 70 s on do not.
    kw = [0.0 if 50.0 <= t < 70.0 else 200.0 for t in SECONDS]
    found = verdict(trail(SECONDS, kw), duty(39.0, 230.0), base=MINUTE)
    assert (found.outcome, found.from_s, found.to_s) == (SHOWN, 70.0, 300.0)


def test_a_minute_of_which_too_much_is_not_known_is_not_known():
    kw = [NAN if 130.0 <= t < 150.0 else 200.0 for t in SECONDS]
    made = trail(SECONDS, kw)
    assert verdict(made, duty(39.0, 200.0), base=MINUTE).outcome is OPEN
    assert verdict(made, duty(39.0, 200.0), base=MINUTE, gap_s=30.0).outcome is SHOWN
    seen = [t for t in SECONDS if not 130.0 < t < 150.0]
    made = trail(seen, [200.0] * len(seen), holes=(Hole(130.0, 150.0, "asleep"),))
    assert verdict(made, duty(39.0, 200.0), base=MINUTE).outcome is OPEN


def test_what_a_record_that_was_cut_off_would_have_shown_is_open():
    made = trail(SECONDS, [200.0] * 301, complete=False)
    assert verdict(made, duty(39.0, 600.0), base=MINUTE).outcome is OPEN
    made.complete = True
    assert verdict(made, duty(39.0, 600.0), base=MINUTE).outcome is NOT_MET
