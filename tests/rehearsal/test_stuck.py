"""A contactor that does not open: the rehearsal says so and comes to an end, with the load still on."""

from benchctl.core.decision import Event, Frame, Settings
from benchctl.core.program import Hold, LoadIs, Program, Ramp, Target
from benchctl.core.scenario import Fault, Scenario
from benchctl.files import read_site
from benchctl.rehearsal import Rehearsal
from benchctl.rehearsed import STUCK_S


def test_a_rehearsal_with_a_welded_contactor_ends_and_names_it():
    site, _ = read_site("northquay")
    segments = (Ramp(Target(440.0), 60.0), Hold(20.0), Ramp(Target(0.0), 20.0))
    program = Program("short", "short", segments, load_is=LoadIs.CHAIN, check_load=False)
    faults = tuple(Fault(60.0, "contactor will not open", "bank 1", float(stage)) for stage in range(1, 8))
    events: list[Event] = []
    times_s: list[float] = []

    def keep(frame: Frame) -> None:
        events.extend(frame.decision.events)
        times_s.append(frame.inputs.now_s)

    rehearsal = Rehearsal(Settings.of(site, program), Scenario(faults=faults), listeners=(keep,), with_bytes=False)
    last = rehearsal.run()
    assert last.decision.seen.loaded
    assert rehearsal.bench.truth()["units"][0]["kw"] > 0.0
    assert rehearsal.bench.truth()["units"][0]["fan_on"]
    assert any("a contactor does not open" in e.text for e in events)
    assert STUCK_S <= times_s[-1] <= 200.0 + STUCK_S
