"""A run by hand for the tests of this room: a set of 500 kVA / 400 kW at 400 V, loaded to its rated kW and back.

Rated current 500 000 / (sqrt(3) x 400) = 721.7 A; 400 kW at unity power factor draw 577.35 A, 80 % of it.
"""

from array import array
from dataclasses import replace
from math import nan, sqrt
from pathlib import Path
from typing import Any

from benchctl.assessment.trail import Change, Hole, Noted, Stretch, Trail
from benchctl.assessment.verdict import Input, Judgement, Outcome, Verdict, Working
from benchctl.core.decision import Settings
from benchctl.core.program import Hold, Program, Ramp, Target
from benchctl.core.registers import RegisterMap
from benchctl.core.ruleset import Known, Origin
from benchctl.core.site import Nameplate, Wiring
from benchctl.report.dossier import Dossier
from benchctl.report.measures import Measures
from benchctl.report.recorded import Recorded, Told
from tests.record.bench import PROGRAM as BENCH_PROGRAM
from tests.record.bench import SITE, frames, recorded

PLATE = Nameplate("standby set", "generating set", 400.0, 500.0, 400.0, 50.0, Wiring.THREE_PHASE_4W, "ESP")
METER = replace(SITE.instruments[0], accuracy_class="0.5", serial="M-1", calibration_due="2027-06-30")
YARD = replace(SITE, title="Jürgen's <b>yard</b> & =co", nameplate=PLATE, instruments=(METER,), ambient_c=15.0)
PROGRAM = Program("climb", "Climb to 100 %", (Ramp(Target(400.0), 100.0), Hold(100.0), Ramp(Target(0.0), 10.0)))
MEMORY = Origin("7.13.4.3", Known.MEMORY)
VERDICTS = (
    Verdict(
        "full",
        "not less than 100 % for 60 min",
        Outcome.NOT_MET,
        "100 s at or above 400 kW",
        MEMORY,
        100.0,
        200.0,
        (Working("time in limits", 100.0, "s", "t2 − t1", (Input("t1", 100.0, "s", 100.0),), 99.0, 101.0),),
    ),
    Verdict("papers", "the record says what it must", Outcome.NOT_DEMONSTRATED, "empty: the witness", MEMORY),
    Verdict("rest", "source at no load for 5 min", Outcome.SHOWN, "6 min", Origin("8.4", Known.READ, "S1")),
)
JUDGEMENT = Judgement("acceptance", "Acceptance", "Some text", "2010", "", Outcome.NOT_MET, VERDICTS, ("a note",))


def kw_at(t_s: float) -> float:
    """A ramp of 100 s, a hold of 100 s, a ramp of 10 s down, then nothing."""
    if t_s < 100.0:
        return 4.0 * t_s
    return 400.0 if t_s < 200.0 else max(0.0, 400.0 - 40.0 * (t_s - 200.0))


def made_trail(**changes) -> Trail:
    """Two samples a second for 300 s, with a hole of 20 s in which nothing is known."""
    t_s = array("d", (i / 2 for i in range(600)))
    power = array("d", (nan if 120.0 < t < 140.0 else kw_at(t) for t in t_s))
    amps = array("d", (1000.0 * kw / (sqrt(3.0) * 400.0) for kw in power))
    steady = {400.0: array("d", [400.0] * 600), 50.0: array("d", [50.0] * 600)}
    keys: dict[str, Any] = {
        "t_s": t_s, "power_kw": power, "volts_v": steady[400.0], "hertz": steady[50.0], "amps_a": amps,
        "amps_b": amps, "amps_c": amps, "pair_ab": steady[400.0], "pair_bc": steady[400.0], "pair_ca": steady[400.0],
        "holes": (Hole(120.0, 140.0, "the meter was silent"),),
        "noted": (Noted(150.0, 1, (("oil_kpa", 420.0), ("coolant_c", 85.0)), "operator"),),
        "changes": (Change(200.0, 400.0, 0.0, "rejection"),),
        "stretches": (
            Stretch(0.0, 100.0, 1, "ramp", "", 400.0),
            Stretch(100.0, 200.0, 2, "hold", "full load", 400.0),
            Stretch(200.0, 210.0, 3, "ramp", "", 0.0),
        ),
        "papers": {"nameplate_kw": "400 kW", "operator": "operator"},
    }  # fmt: skip
    return Trail("2026-10-25T02:30:00+02:00", 400.0, 400.0, 50.0, **(keys | changes))


def made_run(**changes) -> Recorded:
    """What the record says besides."""
    t_s = array("d", (i / 2 for i in range(600)))
    events = (
        Told(0.0, "command", "", "operator", "take charge"),
        Told(160.0, "alarm", "bank 2", "", "bank 2: airflow lost", (("row", "airflow lost"),)),
        Told(161.0, "alarm", "", "", "the site needs the set", (("row", "site needs set"),)),
        Told(161.0, "trip", "", "", "the site needs the set", (("row", "site needs set"),)),
        Told(170.0, "returned to normal", "bank 2", "", "bank 2: airflow lost", (("row", "airflow lost"),)),
        Told(180.0, "command", "bank 2", "operator", "override cool-down (fans are wanted elsewhere)"),
        Told(190.0, "command", "", "witness", '=HYPERLINK("http://x","ok")'),
        Told(191.0, "command", "", "witness", "-5 kW drift noted"),
        Told(210.0, "unloaded", "", "", "all load is off"),
    )
    keys: dict[str, Any] = {
        "name": "yard-climb", "meta": {"kind": "live", "started": "2026-10-25T02:30:00+02:00", "tool": "0.1.0"},
        "condition": "closed", "outcome": "completed", "site": YARD, "program": PROGRAM, "scan_period_s": 0.5,
        "scans": 600, "begun_ns": 1_792_888_200_000_000_000, "sha256": "ab" * 32, "sealed": "2026-10-25T03:00:00+02:00",
        "events": events, "t_s": t_s, "target_kw": array("d", (kw_at(t) for t in t_s)),
        "delivered_kw": array("d", [nan] * 600), "hottest_c": array("d", (20.0 + t / 10 for t in t_s)),
    }  # fmt: skip
    return Recorded(**(keys | changes))


def made(
    run: Recorded | None = None, trail: Trail | None = None, units: str = "metric", judged=(JUDGEMENT,)
) -> Dossier:
    """A dossier of the two."""
    return Dossier(run or made_run(), trail or made_trail(), tuple(judged), (), None, Measures(units))


def texts(value) -> str:
    """All texts of a content, one after the other; pictures left out."""
    if isinstance(value, dict):
        return "\n".join(texts(v) for k, v in value.items() if k != "svg")
    if isinstance(value, list | tuple):
        return "\n".join(texts(v) for v in value)
    return str(value)


def sound() -> Settings:
    """Settings for a record on disk: the bench of the record's tests with registers that can be read."""
    registers = RegisterMap(tuple(replace(p, expect=None) for p in SITE.units[0].profile.registers.points))
    profile = replace(SITE.units[0].profile, registers=registers)
    return Settings.of(replace(SITE, units=tuple(replace(u, profile=profile) for u in SITE.units)), BENCH_PROGRAM)


def on_disk(folder: Path, count: int = 60) -> Path:
    """A closed, sealed record of so many scans."""
    return recorded(folder / "trial.run", frames(count, sound()), sound())
