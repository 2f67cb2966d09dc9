"""What is missing or expired: papers, calibrations, readings, time. A report with any of it is not complete."""

from datetime import date

from benchctl.core.papers import PAPERS
from benchctl.core.site import Instrument, Unit
from benchctl.record.late import NOT_USED
from benchctl.report.dossier import Dossier
from benchctl.report.measures import clock
from benchctl.report.sections.happened import unknown
from benchctl.report.words import say

# What a record that an inspector accepts must say, in any case: nobody's rule set alone asks for it.
ALWAYS = (
    "nameplate_kw", "nameplate_kva", "nameplate_v", "nameplate_hz", "power_factor", "serial", "ambient_c",
    "cool_down_start", "cool_down_end", "operator", "witness", "as_found", "as_left",
)  # fmt: skip


def missing(dossier: Dossier) -> tuple[str, ...]:
    """Sentences, the gravest first. Empty: the report is complete."""
    return (
        *_record(dossier),
        *_papers(dossier),
        *_instruments(dossier),
        *_readings(dossier),
        *_holes(dossier),
        *_unknown(dossier),
        *_doubts(dossier),
    )


def _record(dossier: Dossier) -> list[str]:
    return [] if dossier.run.sealed else [say("not sealed")]


def _papers(dossier: Dossier) -> list[str]:
    papers, flaws = dossier.trail.papers, dossier.trail.flaws
    told = [say("lacks", what=PAPERS[name]) for name in ALWAYS if not papers.get(name, "").strip()]
    return told + [f"{PAPERS.get(name, name)}: {why}" for name, why in flaws.items() if name not in COVERED]


COVERED = ("calibration", "instruments")  # told of each instrument by name


def _instruments(dossier: Dossier) -> list[str]:
    run, told = dossier.run, []
    day = dossier.begun.date()
    for instrument in run.site.instruments:
        due = instrument.calibration_due
        if instrument.role == "meter" and not due:
            told.append(say("no calibration", name=instrument.name))
        elif due and date.fromisoformat(due) < day:
            told.append(say("expired", name=instrument.name, due=due))
        if instrument.role == "meter" and not instrument.accuracy_class:
            told.append(say("no class", name=instrument.name))
    devices: tuple[Unit | Instrument, ...] = (*run.site.units, *run.site.instruments)
    bare = [d.name for d in devices if not d.serial and not run.serials.get(d.name)]
    return [*told, say("no device serial", names=", ".join(bare))] if bare else told


def _readings(dossier: Dossier) -> list[str]:
    program = dossier.run.program
    if program is not None and not program.readings and not dossier.trail.noted:
        return [say("no readings asked")]
    missed = len(dossier.run.of("reading missed"))
    return [say("readings missed", count=missed)] if missed else []


def _holes(dossier: Dossier) -> list[str]:
    holes = dossier.trail.holes
    if len(holes) > 3:
        total_s = sum(hole.to_s - hole.from_s for hole in holes)
        return [say("holes", count=len(holes), length=clock(total_s))]
    return [say("hole", begin=clock(h.from_s), end=clock(h.to_s)) for h in holes]


def _unknown(dossier: Dossier) -> list[str]:
    """Times without kW of the source: a meter that was silent, stood still, or was never there."""
    found = unknown(dossier)
    if not found:
        return []
    length_s = sum(hole.to_s - hole.from_s for hole in found)
    return [say("unknown kW", begin=clock(found[0].from_s), count=len(found), length=clock(length_s))]


def _doubts(dossier: Dossier) -> list[str]:
    """What is there but proves nothing: kW that contradict themselves, captures that could not be used."""
    doubts = dossier.trail.doubts
    told = [say("doubt", begin=clock(doubts[0].from_s), count=len(doubts), why=doubts[0].why)] if doubts else []
    unused = {"capture not used": "capture", NOT_USED: "late"}
    return told + [say(unused[e.what], why=e.text) for e in dossier.trail.entries if e.what in unused]
