"""Checks of the load: can the chain give it, may the source carry it."""

import math
from collections.abc import Iterator

from benchctl.core.levels import offer
from benchctl.core.program import LoadIs, Program, Rounding
from benchctl.core.site import Site
from benchctl.planning.chain import fans_kw, meters_site, site_kw, volts_ratio
from benchctl.planning.found import Found, first_of_each
from benchctl.planning.margins import SAG_PERCENT
from benchctl.planning.plan import Plan, PlannedLeg
from benchctl.planning.stops import names_of

AMPLE_KW = 1e-6
MOST_UNITS = 1000  # beyond it a proposal to add units helps nobody
NO_OVERLOAD = ("COP", "LTP", "ESP", "DCP")  # ISO 8528-1, second hand; DCP from memory
PRIME_OVER_PERCENT, PRIME_OVER_S = 110.0, 3600.0  # PRP: 10 % for 1 h in 12 h (second hand)
AVERAGE_PERCENT = 70.0  # of ESP and PRP over 24 h unless agreed with the maker (second hand)
CHECK_SHARE = 0.08  # of the transformers' kW that a check load must reach: 2 % class at a quarter of the load; CPNS


def _kw(value: float) -> str:
    return f"{value:.1f}"


def capacity(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """The chain must give the peak at the site's volts."""
    short_kw = plan.totals.peak_kw - plan.available_kw
    if short_kw <= AMPLE_KW or not site.units:
        return
    peak = max(plan.legs, key=lambda leg: leg.asked_kw)
    text = (
        f"the program asks the chain for {_kw(peak.asked_kw)} kW; the units give {_kw(plan.available_kw)} kW at "
        f"{site.nameplate.volts:g} V (rated {_kw(plan.rated_kw)} kW at their own volts): {_kw(short_kw)} kW are "
        f"missing{_remedy(site, peak.asked_kw)}"
    )
    yield text, peak


def _remedy(site: Site, peak_kw: float) -> str:
    """What would be enough: rated kW, and a whole number of equal units where they are equal."""
    profiles = {u.profile.name: u.profile for u in site.units}
    if len(profiles) != 1:
        return ""
    profile = next(iter(profiles.values()))
    ratio = volts_ratio(site.nameplate, profile)
    each_kw = offer(profile, profile.full_load, ratio).full_kw if ratio <= profile.highest_v_ratio + 1e-9 else 0.0
    if each_kw <= 0.0:
        return ""
    count = math.ceil(peak_kw / each_kw - 1e-9)
    rated_kw = peak_kw * profile.rated_kw / each_kw
    proposal = f", needs {count} banks ({_kw(count * each_kw)} kW)" if count <= MOST_UNITS else ""
    return f"; {_kw(rated_kw)} kW rated at {profile.rated_v:g} V are needed{proposal}"


def above_limit(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """Nothing may be asked above the source's upper limit."""
    measured = program.load_is is LoadIs.CHAIN and meters_site(site)
    extra_kw = fans_kw(site) + (0.0 if measured or program.load_is is LoadIs.SOURCE_TOTAL else site_kw(site))

    def found() -> Iterator[tuple[str, PlannedLeg, float]]:
        for leg in plan.legs:
            asked_kw = leg.target_kw if program.load_is is LoadIs.SOURCE_TOTAL else leg.target_kw + extra_kw
            if leg.target_kw > 0.0 and asked_kw > plan.limit_kw + AMPLE_KW:
                yield _limit_text(site, program, plan, leg, asked_kw), leg, asked_kw

    yield from first_of_each(found())


def _limit_text(site: Site, program: Program, plan: Plan, leg: PlannedLeg, asked_kw: float) -> str:
    plate = site.nameplate
    over = f" with site load and fans ({_kw(asked_kw)} kW)" if asked_kw > leg.target_kw + AMPLE_KW else ""
    prime = ""
    if plate.rating_class == "PRP" and asked_kw <= plate.power_kw * PRIME_OVER_PERCENT / 100.0 + AMPLE_KW:
        prime = "; a PRP set may carry 110 % for 1 h in 12 h if the site file states upper_percent: 110"
    return (
        f"{_kw(leg.target_kw)} kW{over} are above the source's upper limit of {_kw(plan.limit_kw)} kW "
        f"({site.limits.upper_percent:g} % of {plate.power_kw:g} kW){prime}"
    )


def site_load_on_top(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """With targets of the chain, the site's own load comes on top."""
    if program.load_is is not LoadIs.CHAIN or not meters_site(site) or site_kw(site) <= 0.0:
        return
    peak_kw = plan.totals.peak_kw + fans_kw(site)
    if peak_kw <= plan.limit_kw + AMPLE_KW < peak_kw + site_kw(site):
        yield (
            (
                f"targets count the chain alone: with the site's own load of up to {site_kw(site):g} kW the source "
                f"would carry {_kw(peak_kw + site_kw(site))} kW; a run then stays at the upper limit of "
                f"{_kw(plan.limit_kw)} kW and gives less than asked"
            ),
            None,
        )


def site_load_exceeds(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A target of the source's total below the site's own load leaves nothing for the chain."""
    if program.load_is is not LoadIs.SOURCE_TOTAL:
        return

    def found() -> Iterator[tuple[str, PlannedLeg, float]]:
        for leg in plan.legs:
            if 0.0 < leg.target_kw < site_kw(site):
                yield (
                    (
                        f"{_kw(leg.target_kw)} kW in all are less than the site's own load may be ({site_kw(site):g} "
                        "kW): the chain then gives nothing"
                    ),
                    leg,
                    leg.target_kw,
                )

    yield from first_of_each(found())


def minimum_missed(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """An at-least program needs a level at or above each target, below the source's limit."""

    def found() -> Iterator[tuple[str, PlannedLeg, float]]:
        for leg in plan.legs:
            if leg.level.short and leg.asked_kw <= plan.available_kw + AMPLE_KW:
                yield (
                    (
                        f"no level lies between the {_kw(leg.asked_kw)} kW asked as a minimum and the upper limit of "
                        f"the source; {_kw(leg.level.given_kw)} kW would be given"
                    ),
                    leg,
                    leg.asked_kw,
                )

    if program.rounding is Rounding.AT_LEAST:
        yield from first_of_each(found())


def overload_class(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """Classes without overload above 100 %."""
    plate = site.nameplate
    if plate.rating_class in NO_OVERLOAD and plan.totals.peak_source_kw > plate.power_kw * 1.000001:
        share = 100.0 * plan.totals.peak_source_kw / plate.power_kw
        yield (
            (
                f"{plate.rating_class} has no overload in ISO 8528-1 (second hand): the source carries up to "
                f"{share:.1f} % here, stages, site load and fans counted"
            ),
            None,
        )


def prime_overload(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """PRP: 110 % for 1 h in 12 h."""
    plate = site.nameplate
    if plate.rating_class != "PRP":
        return
    over = [leg for leg in plan.legs if leg.length_s > 0.0 and leg.target_kw > plate.power_kw * 1.000001]
    worst_s = max((math.fsum(_overlap_s(other, leg.start_s) for other in over) for leg in over), default=0.0)
    if worst_s > PRIME_OVER_S + 1e-6:
        yield (
            (
                f"the source is above 100 % for {worst_s / 3600.0:.2f} h within 12 h; a PRP set may be for 1 h in 12 "
                "h (second hand)"
            ),
            over[0],
        )


def _overlap_s(leg: PlannedLeg, begin_s: float) -> float:
    """Seconds of a leg within the 12 h from begin_s."""
    return max(0.0, min(leg.end_s, begin_s + 12.0 * 3600.0) - max(leg.start_s, begin_s))


def class_average(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """ESP and PRP: 70 % on average over 24 h."""
    average = plan.totals.average_percent
    if average is not None and average > AVERAGE_PERCENT:
        yield (
            (
                f"average load {average:.1f} % over the program (less than 30 % counted as 30 %, stopped time not "
                f"counted); {site.nameplate.rating_class} allows 70 % on average over 24 h unless the maker agrees "
                "(second hand)"
            ),
            None,
        )


def over_current(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """No phase above the over-current limit."""
    yield from _current(site, plan, site.limits.over_current_percent, math.inf)


def high_current(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A phase above the rated amps."""
    yield from _current(site, plan, 100.0, site.limits.over_current_percent)


def _current(site: Site, plan: Plan, above_percent: float, to_percent: float) -> Iterator[Found]:
    rated = site.nameplate.rated_amps

    def found() -> Iterator[tuple[str, PlannedLeg, float]]:
        for leg in plan.legs:
            amps = max(leg.level.phase_amps)
            if above_percent < 100.0 * amps / rated <= to_percent:
                phase = "ABC"[leg.level.phase_amps.index(amps)]
                yield f"phase {phase} gives the chain {amps:.0f} A, rated are {rated:.0f} A", leg, leg.asked_kw

    if rated > 0.0:
        yield from first_of_each(found())


def unbalance(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """Single-phase stages may leave the phases unequal."""

    def found() -> Iterator[tuple[str, PlannedLeg, float]]:
        for leg in plan.legs:
            if leg.level.unbalance_percent > site.limits.unbalance_percent + 1e-9:
                a, b, c = leg.level.phase_kw
                yield (
                    (
                        f"phases carry {a:.1f}, {b:.1f}, {c:.1f} kW: {leg.level.unbalance_percent:.0f} % from their "
                        f"mean, the limit is {site.limits.unbalance_percent:g} %"
                    ),
                    leg,
                    leg.asked_kw,
                )

    yield from first_of_each(found())


def sag(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """The peak should stay reachable when volts sag a little."""
    lost = [m for m in plan.margins if not m.reachable and m.asked_kw <= plan.available_kw + AMPLE_KW]
    if lost:
        yield (
            (
                f"with volts {SAG_PERCENT:g} % low the chain cannot give {_kw(lost[-1].asked_kw)} kW any more "
                f"({100 * (1 - SAG_PERCENT / 100) ** 2:.2f} % of {_kw(plan.available_kw)} kW for resistors)"
            ),
            None,
        )


def margin(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A minimum set without margin is missed as soon as volts sag."""
    if program.rounding is Rounding.AT_LEAST and any(m.set_kw > m.asked_kw for m in plan.margins) and not program.trim:
        top = plan.margins[-1]
        yield (
            (
                f"a minimum without margin: with volts {SAG_PERCENT:g} % low a setting of {_kw(top.asked_kw)} kW "
                f"delivers {_kw(top.sagged_kw)} kW; set {_kw(top.set_kw)} kW to deliver it, or ask for trim (each "
                "level: see margins)"
            ),
            None,
        )


def unit_lost(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """Without its smallest unit the chain may miss the peak."""
    if plan.loss is not None and not plan.loss.peak_reachable and plan.totals.peak_kw <= plan.available_kw + AMPLE_KW:
        yield (
            (
                f"with {plan.loss.unit} lost {_kw(plan.loss.left_kw)} kW remain: the peak of "
                f"{_kw(plan.totals.peak_kw)} kW cannot be reached"
            ),
            None,
        )


def nothing_asked(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A program that asks for no load."""
    if plan.totals.peak_kw <= 0.0:
        yield "the program asks the chain for no load at all", None


def no_time(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A program without a length."""
    if plan.totals.length_s <= 0.0:
        yield "the program has no length: every segment takes no program time", None


def check_load(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """The check load must be seen by the meter."""
    if not program.check_load:
        return
    root = 3.0**0.5 if len(site.nameplate.wiring.phases) == 3 else 1.0
    for instrument in site.instruments:
        if instrument.role != "meter" or instrument.place not in ("source", "chain") or not instrument.ct_primary_a:
            continue
        ct_kw = root * site.nameplate.volts * instrument.ct_primary_a / 1000.0
        small = [
            u.name
            for u in site.units
            if u.profile.rated_kw * volts_ratio(site.nameplate, u.profile) ** 2 < CHECK_SHARE * ct_kw
        ]
        if small:
            yield (
                (
                    f"{instrument.name}: its transformers are rated {ct_kw:.0f} kW; a check load below "
                    f"{CHECK_SHARE * ct_kw:.0f} kW proves nothing there, and {names_of(small)} cannot give "
                    "that"
                ),
                None,
            )
        break
