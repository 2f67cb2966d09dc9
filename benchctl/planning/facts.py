"""What the plan says besides its figures: facts about this program at this site, and the cautions before load."""

from benchctl.core.legs import LegKind
from benchctl.core.profile import FanSupply
from benchctl.core.program import LoadIs, Program
from benchctl.core.site import Site
from benchctl.planning.links import follow_s, scan_period_s
from benchctl.planning.plan import Link, Loss, PlannedLeg, Stairs, Totals
from benchctl.planning.stops import names_of

RESISTIVE = (
    "resistive load only: unity power factor. The engine can be loaded fully; the reactive range of the "
    "alternator is not tested, and a program cannot ask for reactive load"
)

# Practitioners' habits; common practice, no source, unless a local code says so.
CAUTIONS: tuple[str, ...] = (
    "lock out, tag out and prove dead before any cable is touched; earth the frames of the units first",
    "prove phase rotation, and volts and connection against the units' rating, before load",
    "keep people, cables, walls and fuel out of the exhaust air; inlets clear; an exclusion zone round hot surfaces",
    "two people at least; agree who may stop the test, and try the hard-wired emergency stop before load",
    "fuel, fire watch and extinguisher; exhaust gas; weather; hearing, eye and arc-flash protection as assessed",
    "cables, protection and connection: a qualified person under the local code; this plan shows currents only",
    "benchctl is no safety device",
)


def notes(
    site: Site,
    program: Program,
    legs: tuple[PlannedLeg, ...],
    totals: Totals,
    stairs: tuple[Stairs, ...],
    loss: Loss | None,
    links: tuple[Link, ...],
) -> tuple[str, ...]:
    """Facts in the order in which a reader needs them."""
    told = [RESISTIVE]
    if program.start_at is not None:
        told.append(
            f"starts at {program.start_at} by the clock; whether that lies ahead is checked at the start of a run"
        )
    if program.load_is is LoadIs.SOURCE_TOTAL:
        told.append(
            f"targets count what the source carries: {site.site_load_reserve_kw:g} kW are taken off for the "
            "site's own load here, a run takes off what the meters tell"
        )
    told += _levels(totals, stairs)
    told += [_wait(leg) for leg in legs if leg.kind is LegKind.WAIT]
    told += [_supply(leg) for leg in legs if leg.kind is LegKind.LOSS]
    waiting = sum(leg.in_band for leg in legs)
    if waiting:
        told.append(
            f"{waiting} of the holds start in band: after {program.hold_start_timeout_s:g} s out of band each "
            "asks the operator; no program time passes until it starts"
        )
    if loss is not None:
        told.append(
            f"without the smallest unit ({loss.unit}, {loss.lost_kw:.1f} kW) {loss.left_kw:.1f} kW remain: "
            f"{'enough' if loss.peak_reachable else 'not enough'} for the peak of {totals.peak_kw:.1f} kW"
        )
    told += _fans(site)
    told += _course(site, program, links)
    return tuple(told)


def site_load_off(program: Program, own_kw: float) -> tuple[str, ...]:
    """What people do about the site's own load before a program that asks for none."""
    if not program.site_load_off or own_kw <= 0.0:
        return ()
    told = (
        f"the site's own load (up to {own_kw:g} kW) is to be off the source: before the start it goes back to its "
        "normal supply, and the meter at the source shows that it is gone; nothing here reckons with it, and what of "
        "it is on all the same is in the record, and counts"
    )
    return (told,)


def _wait(leg: PlannedLeg) -> str:
    return (
        f'row {leg.number} waits for the operator, {leg.wait_s:g} s at most: "{leg.prompt}"; if nobody answers: '
        f"{leg.if_silent.value}"
    )


def _supply(leg: PlannedLeg) -> str:
    after = f"is applied again in steps of {leg.step_kw:g} kW" if leg.step_kw else "stays on"
    return f"row {leg.number} waits for the loss of supply, {leg.wait_s:g} s at most with what follows; load {after}"


def _levels(totals: Totals, stairs: tuple[Stairs, ...]) -> list[str]:
    asked = (
        f"{totals.changes} changes of load between {totals.levels} different levels asked, no load included; the "
        f"chain itself has {totals.chain_levels} levels, its smallest change is {totals.smallest_kw:.1f} kW"
    )
    return [asked, *(stair.text for stair in stairs)]


def _fans(site: Site) -> list[str]:
    fans = [u.profile.fan for u in site.units]
    if not fans:
        return []
    last_s = (len(fans) - 1) * site.limits.fan_start_gap_s
    proof_s = max(f.proof_s for f in fans)
    start = (
        f"fans start {site.limits.fan_start_gap_s:g} s apart: the last after {last_s:g} s, all proven "
        f"{last_s + proof_s:g} s after the first at the latest; {sum(f.power_kw for f in fans):g} kW in all"
    )
    told = [start]
    fed = [u.name for u in site.units if u.profile.fan.supply is FanSupply.SOURCE]
    if fed:
        told.append(
            f"fans of {names_of(fed)} are fed by the source: its own load includes "
            f"{sum(f.power_kw for f in fans if f.supply is FanSupply.SOURCE):g} kW for them, and it must run "
            "until the units are cool"
        )
    return told


def _course(site: Site, program: Program, links: tuple[Link, ...]) -> list[str]:
    how = "computed from the links" if site.scan_period_s is None else "stated"
    told = [f"scan period {scan_period_s(site, links):g} s ({how})"]
    slowest = max((follow_s(u.profile) for u in site.units), default=0.0)
    told.append(f"a drop is off when the slowest unit has followed ({slowest:g} s after its order at the latest)")
    if program.check_load:
        told.append("a check load is applied before the program, to prove wiring and meters; it is no program time")
    if program.stage_check:
        told.append("every stage is closed alone before the program (stage check); it is no program time")
    return told
