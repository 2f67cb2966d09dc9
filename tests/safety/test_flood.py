"""Everything fails within a second: the first cause is named first, stays named, and the rest is counted."""

from benchctl.core.alarms import first_out
from benchctl.core.causes import BY_KEY
from benchctl.core.scenario import Fault
from tests.safety.world import HOLD, live

STORM = (
    Fault(10.0, "phase lost", "source", 2.0, during=HOLD),
    Fault(12.0, "source stops", "source", during=HOLD),
    Fault(12.0, "fan fails", "bank 1", during=HOLD),
    Fault(12.0, "mute", "bank 2", during=HOLD),
    Fault(12.0, "emergency stop", "bank 4", during=HOLD),
    Fault(12.0, "meter frozen", "source meter", during=HOLD),
)


def test_when_everything_fails_at_once_the_trip_names_what_came_first():
    seen = live(*STORM, until_s=60.0)
    alarms = seen.texts("alarm")
    assert len(alarms) >= 8
    assert len(alarms) == len(set(alarms))  # each once, however long it stands
    assert seen.texts("trip") == [BY_KEY["phase lost"].text]
    first = [a.row for a in first_out(seen.last.decision.state)]
    assert "phase lost" in first or "fan supply lost" in first  # bank 3's fans hang on that source: within a scan of it
    trip = seen.last.decision.state.trip
    assert trip is not None
    assert trip.row == "phase lost"
    assert all(s.load_kw == 0.0 for s in seen.since(43.0))
