"""The whole way: a rehearsal with real frames is recorded, verified, replayed and exported."""

import csv
import io

import pytest

from benchctl.core.decision import Frame, Settings
from benchctl.core.program import Hold, Program, Ramp, Target
from benchctl.files import read_scenario, read_site
from benchctl.record.export import POINT, csv_lines
from benchctl.record.reader import Reader
from benchctl.record.recorder import Recorder
from benchctl.record.replay import replay
from benchctl.record.verify import verify
from benchctl.rehearsal import Rehearsal


@pytest.mark.parametrize("with_bytes", [pytest.param(True, marks=pytest.mark.slow), False])
def test_a_rehearsal_replays_to_the_same_orders_and_states(tmp_path, with_bytes):
    site, files = read_site("northquay")
    scenario, _ = read_scenario("fan-failure", site)
    program = Program("short", "Short", (Ramp(Target(100.0), 5.0), Hold(20.0)), check_load=False)
    settings = Settings.of(site, program)
    recorder = Recorder(tmp_path / "a.run", settings, {}, files)
    made: list[Frame] = []
    rehearsal = Rehearsal(
        settings,
        scenario,
        seed=5,
        wall_s=1_790_000_000.0,
        with_bytes=with_bytes,
        listeners=(recorder.write, made.append),
        health=lambda: recorder.health,
    )
    rehearsal.run()
    assert recorder.close("done", {}), recorder.problem
    assert recorder.problem == ""
    assert max(f.decision.seen.delivered_kw or 0.0 for f in made) > 90.0
    with Reader(tmp_path / "a.run") as reader:
        scans = list(reader.scans())
        assert [s.inputs(site) for s in scans] == [f.inputs for f in made]
        assert {s.row["shape"] for s in scans} == {"sweep" if with_bytes else "readings"}
        found = replay(reader)
        assert (found.compared, found.gaps, found.difference) == (len(made), 0, None)
        rows = list(csv.DictReader(io.StringIO("".join(csv_lines(reader, POINT)).removeprefix("\ufeff"), newline="")))
    assert [float(r["delivered_kw"]) if r["delivered_kw"] else None for r in rows] == [
        f.decision.seen.delivered_kw for f in made
    ]
    assert verify(tmp_path / "a.run").intact
