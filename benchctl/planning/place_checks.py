"""Checks of the place: do the units suit the source, do the links keep the scan, who watches."""

import math
from collections.abc import Iterator

from benchctl.core.profile import FanSupply, Profile
from benchctl.core.program import Program
from benchctl.core.site import Nameplate, Site, Unit, Wiring
from benchctl.planning.chain import unit_volts, volts_ratio
from benchctl.planning.found import Found
from benchctl.planning.links import shortest_period_s
from benchctl.planning.plan import Plan
from benchctl.planning.stops import names_of

NEAR = 0.04  # share by which a ratio may miss sqrt(3) or 2 and still be named
WEAK_RATIO = 0.65  # below it a unit gives less than half of its rated kW: probably a wrong tap
CONNECTIONS = (
    (math.sqrt(3.0), "the square root of 3: wye and delta, or volts to neutral and between lines, exchanged"),
    (2.0, "2: series and parallel halves exchanged"),
)
FULL_LINK = 0.8  # share of the scan period from which a link has little room for a repeated request; CPNS


def no_units(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A chain needs a unit."""
    if not site.units:
        yield "the site has no units: nothing can be loaded", None


def _kinds(site: Site) -> Iterator[tuple[Profile, str]]:
    """Each profile once, with the names of its units."""
    names: dict[str, list[str]] = {}
    profiles: dict[str, Profile] = {}
    for unit in site.units:
        names.setdefault(unit.profile.name, []).append(unit.name)
        profiles[unit.profile.name] = unit.profile
    for key, profile in profiles.items():
        yield profile, names_of(names[key])


def _guess(ratio: float) -> str:
    """Names the wrong connection that a ratio of volts looks like."""
    for factor, name in CONNECTIONS:
        if abs(max(ratio, 1.0 / ratio) / factor - 1.0) < NEAR:
            return f" (the ratio is near {name}?)"
    return ""


def volts_too_high(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """No stage of a unit may close above its highest ratio of volts."""
    for profile, names in _kinds(site):
        ratio = volts_ratio(site.nameplate, profile)
        if ratio > profile.highest_v_ratio + 1e-9:
            yield (
                (
                    f"{names}: rated {profile.rated_v:g} V, the site has {unit_volts(site.nameplate, profile):g} V = "
                    f"{100 * ratio:.1f} %, at most {100 * profile.highest_v_ratio:g} % may be; at this ratio a stage "
                    f"gives {100 * ratio * ratio:.0f} % of its kW{_guess(ratio)}"
                ),
                None,
            )


def volts_too_low(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A unit far below its rated volts gives little; often a connection is wrong."""
    for profile, names in _kinds(site):
        ratio = volts_ratio(site.nameplate, profile)
        if ratio < WEAK_RATIO:
            yield (
                (
                    f"{names}: rated {profile.rated_v:g} V at {unit_volts(site.nameplate, profile):g} V: each kW "
                    f"rated gives {ratio * ratio:.2f} kW{_guess(ratio)}"
                ),
                None,
            )


def hertz_of_fed_fans(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """Fans fed by the source must be made for its hertz."""
    yield from _hertz(site, FanSupply.SOURCE)


def hertz_of_units(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """Units made for other hertz: resistors do not mind, fans with a supply of their own follow that."""
    yield from _hertz(site, FanSupply.SEPARATE)


def _hertz(site: Site, supply: FanSupply) -> Iterator[Found]:
    for unit in site.units:
        profile = unit.profile
        if profile.fan.supply is supply and profile.hertz and site.nameplate.hertz not in profile.hertz:
            made = " or ".join(f"{h:g}" for h in profile.hertz)
            tail = "; its fans are fed by the source" if supply is FanSupply.SOURCE else ""
            yield f"{unit.name}: made for {made} Hz, the source has {site.nameplate.hertz:g} Hz{tail}", None


def phases(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """Every unit needs phases, and for stages to neutral a neutral, that the source has."""
    for unit in site.units:
        fault = _phase_fault(site.nameplate, unit)
        if fault:
            yield f"{unit.name}: {fault}; the source is {site.nameplate.wiring.value}", None


def _phase_fault(plate: Nameplate, unit: Unit) -> str:
    profile, live = unit.profile, plate.wiring.phases
    if profile.phases > len(live):
        return f"needs {profile.phases} phases"
    for stage in profile.stages:
        where = ["abc".index(letter) for letter in stage.across]
        if profile.phases != 3 and len(where) == 3:
            continue
        missing = [p for p in where if p not in live]
        if missing and not (plate.wiring is Wiring.SINGLE_PHASE_2W and len(where) == 3):
            return f"stage {stage.name} lies across {stage.across.upper()}"
        if len(where) == 1 and not plate.wiring.has_neutral:
            return f"stage {stage.name} lies between {stage.across.upper()} and neutral"
    return ""


def scan_too_short(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """The stated scan period must hold every link's requests."""
    if site.scan_period_s is None:
        return
    for link in plan.links:
        if link.scan_s > site.scan_period_s + 1e-9:
            yield (
                (
                    f"link {link.place}: {link.requests + link.feeds} requests take {link.scan_s:.3g} s, the stated "
                    f"scan period is {site.scan_period_s:g} s; the shortest that works for this site is "
                    f"{shortest_period_s(plan.links):g} s"
                ),
                None,
            )


def link_full(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A link that fills the scan has no room for a request that is asked again."""
    for link in plan.links:
        share = link.scan_s / plan.scan_period_s if plan.scan_period_s > 0.0 else math.inf
        if FULL_LINK < share <= 1.0 + 1e-9:
            yield f"link {link.place} is busy for {100 * share:.0f} % of each scan: no room for a late reply", None


def scan_slow(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A scan slower than stale values would find every value stale."""
    if plan.scan_period_s > site.limits.stale_s:
        yield (
            (
                f"a scan takes {plan.scan_period_s:g} s, but values are stale after {site.limits.stale_s:g} s: use "
                "more sockets, or state a longer stale time"
            ),
            None,
        )


def watchdog_starved(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A unit's watchdog must be fed at least twice in its time."""
    for unit in site.units:
        dog = unit.profile.watchdog
        if dog is None:
            continue
        gap_s = plan.scan_period_s if dog.fed_by == "any request" else max(dog.feed_every_s, plan.scan_period_s)
        if 2.0 * gap_s > dog.time_s:
            yield (
                (
                    f"{unit.name}: its watchdog drops the load after {dog.time_s:g} s, it would be fed every "
                    f"{gap_s:g} s; one lost request must not drop the load"
                ),
                None,
            )


def attended_only(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """Without watchdogs somebody must be there."""
    bare = _without_watchdog(site)
    if bare and not site.attendance.unattended:
        yield f"{names_of(bare)}: no watchdog, load stays on if this computer stops: attended operation only", None


def unattended_bare(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """An unattended run needs a watchdog in every unit."""
    bare = _without_watchdog(site)
    if bare and site.attendance.unattended:
        yield (
            (
                f"the site allows unattended runs, but {names_of(bare)} would keep the load if this computer stops: "
                "attended operation only"
            ),
            None,
        )


def _without_watchdog(site: Site) -> list[str]:
    return [u.name for u in site.units if u.profile.watchdog is None]


def resumes(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """Units that take load up again by themselves hit the source with a block."""
    names = [u.name for u in site.units if u.profile.watchdog is not None and u.profile.watchdog.on_return == "resumes"]
    if names:
        yield f"{names_of(names)}: load comes back by itself when contact returns after a drop by the watchdog", None


def calibration(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A meter without calibration date proves little."""
    for instrument in site.instruments:
        if instrument.role == "meter" and not instrument.calibration_due:
            yield f"{instrument.name}: no calibration date in the site file; the report will say so", None


def fed_fans(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """Where the source feeds fans, it must run until the units are cool."""
    fed = [u for u in site.units if u.profile.fan.supply is FanSupply.SOURCE]
    longest_s = max((u.profile.cooldown.minimum_s for u in fed), default=0.0)
    if fed and (program.source_cooldown_s or 0.0) < longest_s:
        yield (
            (
                f"the source feeds the fans of {names_of([u.name for u in fed])}: do not stop it before they are cool, "
                f"{longest_s:g} s after the last load at least; the program asks for "
                f"{program.source_cooldown_s or 0.0:g} s at no load"
            ),
            None,
        )


def air_unknown(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """Without flow or rise in the profile, blocked air shows late."""
    for profile, names in _kinds(site):
        if profile.fan.flow_m3_s is None and profile.expected_rise_k is None:
            yield f"{names}: neither air flow nor rise is known; only the unit's own trip bounds the exhaust", None
