"""The chain at the site's volts: what each unit offers, and the level it gives for an asked kW.

Amps are sums of phasors: an element between two lines draws a current in phase with that line-to-line voltage, so its
share of a phase's amps is larger than its share of the kW alone would give (Kirchhoff's current law, any textbook of
alternating current). Balanced units reduce to I = P / (sqrt(3) U).
"""

import cmath
import math
from dataclasses import dataclass, field

from benchctl.core import levels
from benchctl.core.choose import choose
from benchctl.core.connection import volts_share
from benchctl.core.offer import Offer
from benchctl.core.profile import FanSupply, Profile
from benchctl.core.program import LoadIs, Program
from benchctl.core.site import Nameplate, Site, Wiring
from benchctl.electrical.heat import AIR_20C_KG_M3, density_ratio, rise_k
from benchctl.planning.plan import Level, Phases

LOWEST_M, HIGHEST_M = -1000.0, 11_000.0  # where the standard atmosphere's formula holds


def unit_volts(plate: Nameplate, profile: Profile) -> float:
    """Volts that a unit's rated volts are compared with, at the nameplate's volts."""
    return plate.volts * volts_share(plate, profile)


def volts_ratio(plate: Nameplate, profile: Profile) -> float:
    """Site volts over rated volts of a unit."""
    return unit_volts(plate, profile) / profile.rated_v


def offers_at(site: Site, share: float = 1.0) -> tuple[Offer, ...]:
    """What the units offer with everything healthy at a share of the site's volts.

    A unit that the volts would overload by its highest ratio offers nothing: no stage of it may close.
    """
    offers = []
    for unit in site.units:
        ratio = share * volts_ratio(site.nameplate, unit.profile)
        usable = unit.profile.full_load if ratio <= unit.profile.highest_v_ratio + 1e-9 else 0
        offers.append(levels.offer(unit.profile, usable, ratio))
    return tuple(offers)


def fans_kw(site: Site) -> float:
    """kW of the fans that the source under test feeds."""
    return math.fsum(u.profile.fan.power_kw for u in site.units if u.profile.fan.supply is FanSupply.SOURCE)


def site_kw(site: Site) -> float:
    """kW of the site's own load that the plan counts on the source."""
    return site.site_load_reserve_kw


def limit_kw(site: Site) -> float:
    """The most that the source may carry in kW: its upper limit."""
    return site.nameplate.power_kw * site.limits.upper_percent / 100.0


def meters_site(site: Site) -> bool:
    """True when a meter tells what the site itself draws: one at the source, or one of the site's load."""
    return any(i.role == "meter" and i.place in ("source", "site load") for i in site.instruments)


def besides_kw(site: Site, program: Program) -> float:
    """What the source carries besides the chain in kW: the site's reserve and the fans that it feeds.

    Where a meter tells the source's total and the target counts it, the fans are part of what is measured.
    """
    fed_kw = 0.0 if program.load_is is LoadIs.SOURCE_TOTAL and meters_site(site) else fans_kw(site)
    return site_kw(site) + fed_kw


def ceiling_kw(site: Site, program: Program) -> float:
    """The most that the chain may carry in kW: the source's upper limit less the fans and the site's load.

    Where a meter tells the site's load and the target does not count it, a run reckons with what is measured; the
    reserve is then no part of the ceiling.
    """
    measured = program.load_is is LoadIs.CHAIN and meters_site(site)
    besides = besides_kw(site, program) - (site_kw(site) if measured else 0.0)
    return max(0.0, limit_kw(site) - besides)


def phasors(plate: Nameplate) -> tuple[complex, complex, complex]:
    """Line-to-neutral volts of phases A, B, C; zero where the source has no such phase."""
    if plate.wiring is Wiring.SINGLE_PHASE_2W:
        return complex(plate.volts), 0j, 0j
    if plate.wiring is Wiring.SINGLE_PHASE_3W:
        return complex(plate.volts / 2.0), complex(-plate.volts / 2.0), 0j
    leg = plate.volts / math.sqrt(3.0)
    return complex(leg), cmath.rect(leg, -2.0 * math.pi / 3.0), cmath.rect(leg, 2.0 * math.pi / 3.0)


def stage_amps(plate: Nameplate, across: str, phase_kw: Phases) -> tuple[complex, complex, complex]:
    """Current phasors that a resistive stage draws from A, B, C in amperes at the nameplate's volts."""
    volts = phasors(plate)
    amps = [0j, 0j, 0j]
    if len(across) == 2:
        one, other = "abc".index(across[0]), "abc".index(across[1])
        between = volts[one] - volts[other]
        if abs(between) > 0.0:
            current = 1000.0 * sum(phase_kw) / between.conjugate()
            amps[one], amps[other] = current, -current
        return amps[0], amps[1], amps[2]
    for i in range(3):
        if abs(volts[i]) > 0.0:
            amps[i] = 1000.0 * phase_kw[i] / volts[i].conjugate()
    return amps[0], amps[1], amps[2]


def phase_amps(site: Site, offers: tuple[Offer, ...], loads: tuple[int, ...]) -> Phases:
    """Amps of phases A, B, C that the units' loads draw at the nameplate's volts and unity power factor."""
    total = [0j, 0j, 0j]
    for unit, offer, load in zip(site.units, offers, loads, strict=True):
        if not offer.kws:
            parts = [("abc", offer.phase_kw(load))]
        else:
            parts = [(s.across, offer.phases[i]) for i, s in enumerate(unit.profile.stages) if load >> i & 1]
        for across, kws in parts:
            for i, current in enumerate(stage_amps(site.nameplate, across, kws)):
                total[i] += current
    return abs(total[0]), abs(total[1]), abs(total[2])


def air_m3_s(site: Site) -> float | None:
    """Air that all fans move in m3/s, or None when a profile does not tell."""
    flows = [u.profile.fan.flow_m3_s for u in site.units]
    return None if None in flows or not flows else math.fsum(f for f in flows if f is not None)


@dataclass(slots=True)
class Chain:
    """The chain of a site at the site's volts, for one program; remembers the levels it has found."""

    site: Site
    program: Program
    offers: tuple[Offer, ...] = ()
    ceiling_kw: float = 0.0
    _found: dict[float, Level] = field(default_factory=dict)
    _kws: dict[float, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.offers = offers_at(self.site)
        self.ceiling_kw = ceiling_kw(self.site, self.program)

    @property
    def available_kw(self) -> float:
        """kW that all units give at the site's volts."""
        return levels.offers_kw(self.offers)

    def given_kw(self, asked_kw: float) -> float:
        """The best level for an asked kW."""
        if asked_kw not in self._kws:
            self._kws[asked_kw] = levels.best_level_kw(self.offers, asked_kw, self.program.rounding, self.ceiling_kw)
        return self._kws[asked_kw]

    def level(self, asked_kw: float) -> Level:
        """The level for an asked kW with the stages that make it up, chosen from no load."""
        if asked_kw not in self._found:
            self._found[asked_kw] = self._level(asked_kw)
        return self._found[asked_kw]

    def _level(self, asked_kw: float) -> Level:
        site = self.site
        chosen = choose(
            self.offers,
            (0,) * len(self.offers),
            asked_kw,
            self.program.rounding,
            ceiling_kw=self.ceiling_kw,
            unbalance_percent=site.limits.unbalance_percent,
        )
        phases = [o.phase_kw(load) for o, load in zip(self.offers, chosen.loads, strict=True)]
        a, b, c = (math.fsum(p[i] for p in phases) for i in range(3))
        given_kw = math.fsum((a, b, c))
        rises = [self._rise_k(u.profile, sum(p)) for u, p in zip(site.units, phases, strict=True)]
        return Level(
            asked_kw,
            given_kw,
            chosen.short,
            (a, b, c),
            phase_amps(site, self.offers, chosen.loads),
            _unbalance_percent(site.nameplate, (a, b, c)),
            given_kw + besides_kw(site, self.program),
            air_m3_s(site),
            max((k for k in rises if k is not None), default=None),
        )

    def _rise_k(self, profile: Profile, kw: float) -> float | None:
        thin = density_ratio(min(max(self.site.altitude_m, LOWEST_M), HIGHEST_M))
        if profile.expected_rise_k is not None:
            return profile.expected_rise_k * kw / profile.rated_kw / thin
        if profile.fan.flow_m3_s:
            return rise_k(kw, profile.fan.flow_m3_s, AIR_20C_KG_M3 * thin)
        return None


def _unbalance_percent(plate: Nameplate, kws: Phases) -> float:
    """Largest deviation of a live phase's kW from their mean, in percent of the mean."""
    live = [kws[i] for i in plate.wiring.phases]
    mean = sum(live) / len(live)
    return 100.0 * max(abs(kw - mean) for kw in live) / mean if mean > 0.0 else 0.0
