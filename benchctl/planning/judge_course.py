"""What the source carries along program time, as far as a plan knows it: from so many to so many kW.

The site's own load comes and goes between nothing and its reserve. Where a target counts the source's total and a
meter tells that load, the chain makes up for it, some scans later; else it comes on top.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from benchctl.core.legs import LegKind
from benchctl.core.program import LoadIs, Program, Rounding
from benchctl.core.ruleset import RuleSet
from benchctl.core.site import Instrument, Site
from benchctl.planning.chain import fans_kw, meters_site
from benchctl.planning.plan import Plan, PlannedLeg
from benchctl.planning.present import base_kw, present

FINE_KW = 1e-6
FINE_S = 1e-6


@dataclass(frozen=True, slots=True)
class Stretch:
    """A leg as the source sees it. held: at one level throughout. broken: nobody knows the load (loss of supply)."""

    from_s: float
    to_s: float
    low_kw: float
    high_kw: float
    leg: PlannedLeg
    held: bool = False
    broken: bool = False

    @property
    def length_s(self) -> float:
        """Program time."""
        return self.to_s - self.from_s


@dataclass(frozen=True, slots=True)
class Span:
    """Program time from and to."""

    from_s: float
    to_s: float

    @property
    def length_s(self) -> float:
        """Its length."""
        return self.to_s - self.from_s


@dataclass(slots=True)
class Scene:
    """All that a rule is judged by. placed: where each duty has found its time; of the duties judged so far.

    sure: times of the duties that hold whatever the site's own load does, empty where one of them has none.
    """

    site: Site
    program: Program
    plan: Plan
    rules: RuleSet
    course: tuple[Stretch, ...] = ()
    placed: dict[str, Span] = field(default_factory=dict)
    sure: dict[str, Span] = field(default_factory=dict)

    @property
    def nameplate_kw(self) -> float:
        """What no load, rated load and sudden changes are counted by."""
        return self.site.nameplate.power_kw

    @property
    def base_kw(self) -> float:
        """What percents of duties are of: the nameplate's kW, or the derated ones where the rule set says so."""
        return base_kw(self.rules, self.site)

    @property
    def meters(self) -> tuple[Instrument, ...]:
        """Meters that see the source's terminals."""
        return tuple(i for i in self.site.instruments if i.role == "meter" and i.place == "source")

    @property
    def told(self) -> frozenset[str]:
        """Names of quantities that some meter at the source tells."""
        return frozenset(name for meter in self.meters for name in meter.reports)

    @property
    def sampling_s(self) -> float:
        """Time from one new value of the source's meter to the next in the record: its refresh or the scan."""
        refresh_s = min((m.refresh_s for m in self.meters), default=self.plan.scan_period_s)
        return max(refresh_s, self.plan.scan_period_s)

    @property
    def idle_kw(self) -> float:
        """The most that the source carries while the chain gives nothing: the site's own load and fans on it."""
        return self.site.site_load_reserve_kw + fans_kw(self.site)

    @property
    def swing_kw(self) -> float:
        """How far the source falls for a moment when the site's own load goes off, before the chain has followed."""
        return self.site.site_load_reserve_kw if self.program.load_is is LoadIs.SOURCE_TOTAL else 0.0

    def tells_power(self) -> bool:
        """True when a meter tells the source's kW."""
        return "power_kw" in self.told or {"power_a_kw", "power_b_kw", "power_c_kw"} <= self.told


def scene(site: Site, program: Program, plan: Plan, rules: RuleSet) -> Scene:
    """Everything that the rules are judged by."""
    site = present(site, program)
    return Scene(site, program, plan, rules, tuple(_course(site, program, plan)))


def _course(site: Site, program: Program, plan: Plan) -> Iterator[Stretch]:
    was = (0.0, site.site_load_reserve_kw)
    for leg in plan.legs:
        now = _carried(site, program, leg)
        ramped = leg.kind is LegKind.RAMP and leg.length_s > 0.0
        low_kw, high_kw = (min(was[0], now[0]), max(was[1], now[1])) if ramped else now
        held, broken = leg.kind is LegKind.HOLD, leg.kind is LegKind.LOSS
        yield Stretch(leg.start_s, leg.end_s, low_kw, high_kw, leg, held, broken)
        was = now


def _carried(site: Site, program: Program, leg: PlannedLeg) -> tuple[float, float]:
    """Least and most kW of the source at a leg's end."""
    reserve_kw, given_kw = site.site_load_reserve_kw, leg.level.given_kw
    if program.load_is is LoadIs.CHAIN or not meters_site(site):
        return given_kw, given_kw + reserve_kw + fans_kw(site)
    if leg.target_kw < reserve_kw:  # the chain fills up to the target; the site's own load may be more
        return leg.target_kw, max(reserve_kw, leg.target_kw)
    total_kw = given_kw + reserve_kw
    sure = program.rounding is Rounding.AT_LEAST and not leg.level.short
    return (min(leg.target_kw, total_kw) if sure else total_kw), total_kw


Meets = Callable[[Stretch], bool]


def spans(course: tuple[Stretch, ...], meets: Meets, from_s: float = 0.0) -> tuple[Span, ...]:
    """Unbroken times in which every leg meets something, none of them before from_s."""
    found: list[Span] = []
    begin_s: float | None = None
    end_s = 0.0
    for stretch in course:
        good = not stretch.broken and meets(stretch)
        if good and begin_s is None:
            begin_s = stretch.from_s
        if not good and begin_s is not None:
            found.append(Span(begin_s, end_s))
            begin_s = None
        end_s = stretch.to_s
    if begin_s is not None:
        found.append(Span(begin_s, end_s))
    return tuple(Span(max(s.from_s, from_s), s.to_s) for s in found if s.to_s > from_s)


def first_of(found: tuple[Span, ...], for_s: float) -> Span | None:
    """The first so many seconds among some spans."""
    return next((Span(s.from_s, s.from_s + for_s) for s in found if s.length_s >= for_s - FINE_S), None)


def longest(found: tuple[Span, ...]) -> float:
    """Length of the longest, 0 without any."""
    return max((s.length_s for s in found), default=0.0)
