"""What a scan decides, and the frame in which everything of one scan is told."""

from dataclasses import dataclass, field
from typing import Any

from benchctl.core.inputs import Inputs
from benchctl.core.legs import Leg, lay_out, peak_kw
from benchctl.core.levels import smallest_kw
from benchctl.core.orders import Orders, UnitWrites
from benchctl.core.program import LoadIs, Program
from benchctl.core.seen import Seen
from benchctl.core.site import Site
from benchctl.core.state import InstrumentState, State, UnitState


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened. kind is one word for filters; unit is an index or -1; data holds plain values."""

    kind: str
    text: str
    unit: int = -1
    who: str = ""
    data: tuple[tuple[str, Any], ...] = ()


@dataclass(frozen=True, slots=True)
class Settings:
    """What does not change during a run: the site, the program and what follows from them."""

    site: Site
    program: Program | None = None
    scan_period_s: float = 0.5
    legs: tuple[Leg, ...] = ()
    peak_kw: float = 0.0
    rated_kw: float = 0.0  # of all units
    stage_kw: float = 0.0  # the smallest change of load that any unit can make, at rated volts

    @property
    def counts_source(self) -> bool:
        """True when targets count what the source carries, the site's own load included."""
        return self.program is not None and self.program.load_is is LoadIs.SOURCE_TOTAL

    @staticmethod
    def of(site: Site, program: Program | None = None, scan_period_s: float | None = None) -> "Settings":
        """Settings for a site and a program; the scan period is the site's, or 0.5 s."""
        legs = lay_out(program, site.nameplate.power_kw) if program else ()
        stage_kw = min(smallest_kw(u.profile) for u in site.units)
        period_s = scan_period_s or site.scan_period_s or 0.5
        return Settings(site, program, period_s, legs, peak_kw(legs), site.rated_kw, stage_kw)


def first_state(settings: Settings) -> State:
    """Nothing known, nothing ours, full cool-down owed by every unit."""
    units = tuple(
        UnitState(owed_s=u.profile.cooldown.minimum_s, near_s=u.profile.cooldown.near_s) for u in settings.site.units
    )
    return State(
        units, tuple(InstrumentState() for _ in settings.site.instruments), volts_v=settings.site.nameplate.volts
    )


@dataclass(frozen=True, slots=True)
class Decision:
    """The result of one scan. permissives: (text, True | False | None) rows, only while they matter."""

    state: State
    orders: Orders
    events: tuple[Event, ...]
    seen: Seen
    permissives: tuple[tuple[str, bool | None], ...] = ()


@dataclass(frozen=True, slots=True)
class Frame:
    """Everything of one scan. sweep: the raw words behind inputs, or None where there are no bytes."""

    number: int
    wall_s: float  # seconds since 1970, UTC
    inputs: Inputs
    decision: Decision
    writes: tuple[UnitWrites, ...]  # outcome of this scan's orders; an input of the next scan
    sweep: Any = None
    spread_s: float | None = None  # measured spread of a block's acknowledgements
    fault: str = ""  # decide raised: what it said
    extra: tuple[tuple[str, Any], ...] = field(default=())
