"""Rehearsals that are recorded, for tests of what is read out of a record afterwards."""

from dataclasses import replace
from pathlib import Path

from benchctl.core.decision import Frame, Settings
from benchctl.core.program import Block, Hold, LoadIs, Program, Ramp, Rounding, Starts, Target
from benchctl.core.scenario import Scenario
from benchctl.files import read_site
from benchctl.record.recorder import Recorder
from benchctl.rehearsal import Rehearsal

PROGRAM = Program(
    "short",
    "Short",
    (
        Ramp(Target(35, percent=True), 5.0),
        Hold(60.0, starts=Starts.IN_BAND, label="low"),
        Block(Target(60, percent=True)),
        Hold(40.0, starts=Starts.IN_BAND),
    ),
    load_is=LoadIs.SOURCE_TOTAL,
    rounding=Rounding.AT_LEAST,
    check_load=False,
    reading_interval_s=30.0,
    readings=("coolant_c",),
    source_cooldown_s=60.0,
)


def rehearsed(
    path: Path, scenario: Scenario | None = None, program: Program = PROGRAM, *, with_bytes: bool = False
) -> list[Frame]:
    """Rehearse on the ferry terminal without its own load, record it; returns the frames."""
    site, files = read_site("northquay")
    quiet = replace(site, simulation=replace(site.simulation, site_load_kw=0.0), site_load_reserve_kw=0.0)
    settings = Settings.of(quiet, program)
    recorder = Recorder(path, settings, {}, files)
    frames: list[Frame] = []
    rehearsal = Rehearsal(
        settings,
        scenario,
        seed=1,
        wall_s=1_790_000_000.0,
        listeners=(recorder.write, frames.append),
        health=lambda: recorder.health,
        with_bytes=with_bytes,
    )
    rehearsal.run()
    assert recorder.close("completed", {}), recorder.problem
    return frames
