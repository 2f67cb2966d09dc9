"""Runs that go wrong, rehearsed and recorded, and what assessment and report say of them."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from benchctl.assessment.verdict import Judgement, Verdict
from benchctl.core.decision import Frame, Settings
from benchctl.core.program import Hold, LoadIs, Program, Ramp, Rounding, Segment, Target
from benchctl.core.reading import InstrumentReading, Outcome
from benchctl.core.scenario import Answer, Fault, Scenario
from benchctl.files import read_site
from benchctl.record.recorder import Recorder
from benchctl.rehearsal import Rehearsal
from benchctl.report.content import content
from benchctl.report.dossier import Dossier
from benchctl.report.make import open_run
from benchctl.report.measures import clock
from tests.report.made import texts

BEGUN_S = 1_790_000_000.0  # 2026-09-21T14:13:20Z
SCAN_S = 2.0
SITE = read_site("northquay")[0]
QUIET = replace(SITE, simulation=replace(SITE.simulation, site_load_kw=0.0), site_load_reserve_kw=0.0)
YES = Answer("answer", to="prompts", text="yes")
Cut = Callable[[list[Frame]], Iterable[Frame]]


def percent(value: float) -> Target:
    return Target(value, percent=True)


def held(share: float, minutes: float) -> Hold:
    return Hold(60.0 * minutes, percent(share))


def program(*segments: Segment, cooldown_s: float = 360.0, **changes) -> Program:
    """A program by the source's total, up and down in half a minute; readings at the set each quarter of an hour."""
    first = next(s.at for s in segments if isinstance(s, Hold) and s.at)
    made = Program(
        "wrong",
        "A run",
        (Hold(10.0, percent(0.0)), Ramp(first, 30.0), *segments, Ramp(percent(0.0), 30.0)),
        load_is=LoadIs.SOURCE_TOTAL,
        rounding=Rounding.AT_LEAST,
        source_cooldown_s=cooldown_s,
        readings=("oil_kpa", "coolant_c", "ambient_c"),
    )
    return replace(made, **changes)


def rehearsed(made: Program, *faults: Fault, answers: tuple[Answer, ...] = ()) -> tuple[Settings, list[Frame]]:
    """Rehearse on the ferry terminal, its own load off."""
    settings = Settings.of(QUIET, made, SCAN_S)
    frames: list[Frame] = []
    scenario = Scenario("wrong", faults=faults, answers=(*answers, YES))
    Rehearsal(settings, scenario, seed=1, wall_s=BEGUN_S, listeners=(frames.append,), with_bytes=False).run()
    return settings, frames


@dataclass(frozen=True, slots=True)
class Told:
    """What assessment and report say of a run."""

    dossier: Dossier
    report: str
    front: str

    @property
    def judged(self) -> Judgement:
        return self.dossier.judgements[0]

    def verdict(self, key: str) -> Verdict:
        return next(v for v in self.judged.verdicts if v.key == key)

    def minutes(self, key: str) -> float:
        """Between the two times of a verdict."""
        found = self.verdict(key)
        assert found.from_s is not None
        assert found.to_s is not None
        return (found.to_s - found.from_s) / 60.0

    def says(self, key: str) -> bool:
        """Whether the report has the verdict's why and both its times, since the begin and by the clock."""
        found = self.verdict(key)
        times = [t for t in (found.from_s, found.to_s) if t is not None]
        whole = [part for t in times for part in (clock(t), self.dossier.time(t))]
        return all(text in self.report for text in (found.why, *whole))


def told(
    folder: Path, run: tuple[Settings, list[Frame]], *rule_sets: str, cut: Cut = list, outcome: str = "completed"
) -> Told:
    """Record the frames that `cut` leaves, numbered anew, then assess and report."""
    settings, frames = run
    path = folder / "wrong.run"
    recorder = Recorder(path, settings, {"started": "2026-09-21T16:13:20+02:00"}, ())
    for number, frame in enumerate(cut(frames)):
        recorder.write(replace(frame, number=number))
    assert recorder.close(outcome, {}), recorder.problem
    dossier = open_run(path, rule_sets)
    drawn = content(dossier).plain()
    return Told(dossier, texts(drawn), texts(drawn["front"]))


def without_kw(frames: list[Frame]) -> list[Frame]:
    """As if no meter had been read: nobody has written down what load there was."""
    silent = InstrumentReading(Outcome.SILENT)
    return [
        replace(f, inputs=replace(f.inputs, instruments=tuple(silent for _ in f.inputs.instruments))) for f in frames
    ]


def loaded_until(frames: list[Frame]) -> float:
    """When the last load was seen."""
    return max(f.inputs.now_s for f in frames if (f.decision.seen.source_kw or 0.0) > 8.0)
