"""The whole bench in a simulated world that misbehaves: real frames, virtual time, and what was really so beside it.

What a hazard's test looks at is the truth of the world (contactors, kW, fans, air), never what the bench believes.
"""

from dataclasses import dataclass, field

from benchctl.core.causes import BY_KEY
from benchctl.core.decision import Frame, Settings
from benchctl.core.program import Hold, LoadIs, Program, Ramp, Segment, Target
from benchctl.core.scenario import Answer, Fault, Scenario
from benchctl.core.site import Site
from benchctl.files import read_site
from benchctl.rehearsal import Rehearsal
from tests.laws.observer import first_memory, watch

YES = Answer("answer", to="prompts", after_s=4.0, text="yes")
UP, HOLD, DOWN = 1, 2, 3  # the segments of `short`


def short(
    kw: float = 300.0, hold_s: float = 60.0, *, source_total: bool = False, trim: bool = False, check_load: bool = False
) -> Program:
    """Up to a level in twenty seconds, there for a while, and down."""
    segments: tuple[Segment, ...] = (Ramp(Target(kw), 20.0), Hold(hold_s), Ramp(Target(0.0), 10.0))
    load_is = LoadIs.SOURCE_TOTAL if source_total else LoadIs.CHAIN
    return Program("short", "short", segments, load_is, trim=trim, check_load=check_load)


@dataclass(frozen=True, slots=True)
class Sight:
    """One scan, and the world as it really was when the scan had been written."""

    frame: Frame
    load_kw: float
    source_kw: float
    kw: tuple[float, ...]
    fan_on: tuple[bool, ...]
    air: tuple[bool, ...]
    exhaust_c: tuple[float, ...]

    @property
    def at_s(self) -> float:
        return self.frame.inputs.now_s

    @property
    def segment(self) -> int:
        return self.frame.decision.state.leg + 1


@dataclass
class Watched:
    """A listener: every scan beside the truth, and what the observer finds."""

    site: Site
    sights: list[Sight] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)
    rehearsal: Rehearsal | None = None

    def __post_init__(self) -> None:
        self._memory = first_memory(self.site)

    def __call__(self, frame: Frame) -> None:
        assert self.rehearsal is not None
        truth = self.rehearsal.bench.truth()
        of = {name: tuple(u[name] for u in truth["units"]) for name in ("kw", "fan_on", "airflow", "exhaust_c")}
        self.sights.append(
            Sight(
                frame, truth["load_kw"], truth["source"]["kw"], of["kw"], of["fan_on"], of["airflow"], of["exhaust_c"]
            )
        )
        self._memory, said = watch(self._memory, frame.inputs, frame.decision.orders, self.site)
        self.broken += [f"{frame.inputs.now_s:.1f} s: {law}" for law in said]

    def texts(self, kind: str) -> list[str]:
        """The texts of one kind of event, in their order."""
        return [e.text for s in self.sights for e in s.frame.decision.events if e.kind == kind]

    def alarmed_s(self, key: str) -> float | None:
        """When a row of the table of causes was first told; None: never."""
        assert key in BY_KEY
        for s in self.sights:
            if any(e.kind == "alarm" and dict(e.data).get("row") == key for e in s.frame.decision.events):
                return s.at_s
        return None

    def since(self, at_s: float) -> list[Sight]:
        return [s for s in self.sights if s.at_s >= at_s]

    @property
    def last(self) -> Frame:
        return self.sights[-1].frame

    @property
    def outcome(self) -> str:
        return self.last.decision.state.outcome


def live(
    *faults: Fault, answers: tuple[Answer, ...] = (YES,), program: Program | None = None, until_s: float = 900.0
) -> Watched:
    """Rehearse on the shipped site with real frames, to its end or until a time; no law may be broken."""
    site = read_site("northquay")[0]
    watched = Watched(site)
    settings = Settings.of(site, program or short())
    rehearsal = watched.rehearsal = Rehearsal(settings, Scenario("s", "", faults, answers), listeners=(watched,))
    over = rehearsal.operator.over
    rehearsal.operator.over = lambda frame: over(frame) or frame.inputs.now_s > until_s  # type: ignore[method-assign]
    rehearsal.run()
    assert watched.broken == []
    assert watched.last.fault == ""
    return watched
