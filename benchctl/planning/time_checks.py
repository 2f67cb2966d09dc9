"""Checks of the program's steps and times: blocks, ramps, holds, prompts, and the meters that they need."""

import math
from collections.abc import Iterator

from benchctl.core.legs import LegKind
from benchctl.core.levels import smallest_kw
from benchctl.core.program import LoadIs, Program, Rounding, Silence
from benchctl.core.site import Site, Unit
from benchctl.planning.chain import meters_site
from benchctl.planning.found import Found, first_of_each
from benchctl.planning.plan import Plan, PlannedLeg

FINE_KW = 1e-6


def _step_legs(plan: Plan) -> Iterator[PlannedLeg]:
    """Legs that move the load at once."""
    for leg in plan.legs:
        if leg.change_kw and (leg.kind is not LegKind.RAMP or leg.length_s <= 0.0):
            yield leg


def _percent(site: Site, kw: float) -> float:
    return 100.0 * kw / site.nameplate.power_kw


def block_up(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A step up larger than the largest block: a run cuts it."""
    most_kw = site.nameplate.power_kw * site.limits.largest_block_up_percent / 100.0

    def found() -> Iterator[tuple[str, PlannedLeg, float]]:
        for leg in _step_legs(plan):
            if leg.change_kw > most_kw + FINE_KW:
                yield (
                    (
                        f"{leg.change_kw:.1f} kW at once ({_percent(site, leg.change_kw):.0f} %) are more than the "
                        f"largest block of {most_kw:g} kW ({site.limits.largest_block_up_percent:g} %): a run puts "
                        f"{most_kw:g} kW on first and the rest as the set settles, within "
                        f"{_parts_s(site, leg.change_kw, most_kw):.0f} s; that is no block test of the "
                        "whole"
                    ),
                    leg,
                    leg.change_kw,
                )

    yield from first_of_each(found())


def _parts_s(site: Site, change_kw: float, most_kw: float) -> float:
    """Seconds that a run takes for a step above the largest block: one block more in each settling time."""
    return (change_kw / most_kw - 1.0) * site.limits.settle_s if most_kw > 0.0 else math.inf


def rejection_undeclared(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A block down larger than the largest block must be declared a rejection."""
    yield from _rejections(
        site,
        plan,
        (LegKind.BLOCK,),
        "declare it (declared_rejection: true) if a load rejection is meant, else go down in parts",
    )


def step_down(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A hold or step that takes more off at once than the largest block."""
    yield from _rejections(site, plan, (LegKind.RAMP, LegKind.HOLD), "a ramp down spares the set")


def _rejections(site: Site, plan: Plan, kinds: tuple[LegKind, ...], advice: str) -> Iterator[Found]:
    most_kw = site.nameplate.power_kw * site.limits.largest_block_down_percent / 100.0

    def found() -> Iterator[tuple[str, PlannedLeg, float]]:
        for leg in _step_legs(plan):
            if leg.kind in kinds and -leg.change_kw > most_kw + FINE_KW and not leg.rejection:
                yield (
                    (
                        f"{-leg.change_kw:.1f} kW off at once ({_percent(site, -leg.change_kw):.0f} %) are more than "
                        f"the largest block down of {most_kw:g} kW ({site.limits.largest_block_down_percent:g} %): "
                        f"the set may trip on over-speed; {advice}"
                    ),
                    leg,
                    leg.change_kw,
                )

    yield from first_of_each(found())


def rejection_declared(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A declared rejection is told, so that nobody is surprised."""
    most_kw = site.nameplate.power_kw * site.limits.largest_block_down_percent / 100.0

    def found() -> Iterator[tuple[str, PlannedLeg, float]]:
        for leg in _step_legs(plan):
            if leg.rejection and -leg.change_kw > most_kw + FINE_KW:
                yield (
                    (
                        f"declared load rejection of {-leg.change_kw:.1f} kW ({_percent(site, -leg.change_kw):.0f} "
                        "%): the set may trip on over-speed"
                    ),
                    leg,
                    leg.change_kw,
                )

    yield from first_of_each(found())


def steep_ramp(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A ramp that moves more than the largest block in a settling time."""
    limits, plate_kw = site.limits, site.nameplate.power_kw

    def found() -> Iterator[tuple[str, PlannedLeg, float]]:
        for leg in plan.legs:
            if leg.kind is not LegKind.RAMP or leg.length_s <= 0.0:
                continue
            percent = limits.largest_block_up_percent if leg.change_kw > 0.0 else limits.largest_block_down_percent
            moved_kw = abs(leg.change_kw) * min(1.0, limits.settle_s / leg.length_s)
            if moved_kw > plate_kw * percent / 100.0 + FINE_KW:
                yield (
                    (
                        f"the ramp moves {moved_kw:.1f} kW within the {limits.settle_s:g} s that the set needs to "
                        f"settle, more than the largest block of {plate_kw * percent / 100.0:g} kW ({percent:g} "
                        "%)"
                    ),
                    leg,
                    leg.change_kw,
                )

    yield from first_of_each(found())


def hold_unsettled(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A hold shorter than settling shows nothing steady."""
    yield from _short(plan, 0.0, site.limits.settle_s, "the set needs {:g} s to settle")


def hold_unread(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A hold shorter than the reading interval has readings at its ends only."""
    yield from _short(
        plan,
        site.limits.settle_s,
        program.reading_interval_s,
        "the reading interval is {:g} s: there are readings at its begin and end only",
    )


def _short(plan: Plan, least_s: float, most_s: float, why: str) -> Iterator[Found]:
    short = [
        leg
        for leg in plan.legs
        if leg.kind is LegKind.HOLD and leg.asked_kw > 0.0 and least_s <= leg.length_s < most_s and leg.length_s > 0.0
    ]
    if short:
        shortest = min(short, key=lambda leg: leg.length_s)
        rows = f"{len(short)} holds are short, the shortest takes" if len(short) > 1 else "the hold takes"
        yield f"{rows} {shortest.length_s:g} s; {why.format(most_s)}", shortest


def band_kw(site: Site, program: Program, leg: PlannedLeg) -> tuple[float, float]:
    """Lowest and highest kW of the chain that count as in band.

    ±2 % and never finer than 3/4 of the smallest stage; for minima from the target up to 5 % or one stage above it
    (common practice, no source).
    """
    stage_kw = min((smallest_kw(u.profile) for u in site.units), default=0.0)
    if program.rounding is Rounding.AT_LEAST:
        return leg.asked_kw, leg.asked_kw + max(0.05 * leg.target_kw, stage_kw)
    share = site.limits.hold_band_percent if leg.band_percent is None else leg.band_percent
    half_kw = max(leg.target_kw * share / 100.0, 0.75 * stage_kw)
    return leg.asked_kw - half_kw, leg.asked_kw + half_kw


def never_in_band(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A hold that starts in band whose level lies outside of it."""

    def found() -> Iterator[tuple[str, PlannedLeg, float]]:
        for leg in plan.legs:
            low_kw, high_kw = band_kw(site, program, leg)
            inside = low_kw - FINE_KW <= leg.level.given_kw <= high_kw + FINE_KW
            if leg.kind is LegKind.HOLD and leg.in_band and not inside:
                yield (
                    (
                        f"starts in band, but the stages give {leg.level.given_kw:.1f} kW and the band is "
                        f"{low_kw:.1f} to {high_kw:.1f} kW: the operator would be asked after "
                        f"{program.hold_start_timeout_s:g} s"
                    ),
                    leg,
                    leg.asked_kw,
                )

    yield from first_of_each(found())


def tells_power(site: Site, program: Program) -> bool:
    """True when what the target counts is measured: delivered kW, or the source's."""
    places = {i.place for i in site.instruments if i.role == "meter"}
    by_units = bool(site.units) and all(_own_power(u) for u in site.units)
    if program.load_is is LoadIs.SOURCE_TOTAL:
        return "source" in places or (bool({"site load"} & places) and (by_units or "chain" in places))
    return by_units or "chain" in places or "source" in places


def _own_power(unit: Unit) -> bool:
    reports = unit.profile.reports
    return "power_kw" in reports or {"power_a_kw", "power_b_kw", "power_c_kw"} <= reports


def band_unmeasured(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A hold that starts in band needs a meter."""
    legs = [leg for leg in plan.legs if leg.in_band]
    if legs and not tells_power(site, program):
        what = "the source's kW" if program.load_is is LoadIs.SOURCE_TOTAL else "delivered kW"
        yield f"a hold starts in band, but nothing measures {what}: it would never start by itself", legs[0]


def trim_unmeasured(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """Trim needs a meter."""
    if program.trim and not tells_power(site, program):
        yield "trim is asked for, but nothing measures what the target counts: trim stays off", None


def total_unmeasured(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """Targets of the source's total without a meter of the site's load."""
    if program.load_is is LoadIs.SOURCE_TOTAL and not meters_site(site):
        yield (
            (
                f"targets count the source's total, but no meter tells the site's own load: it is taken as "
                f"{site.site_load_reserve_kw:g} kW throughout"
            ),
            None,
        )


def silent_go_on(site: Site, program: Program, plan: Plan) -> Iterator[Found]:
    """A prompt that goes on by itself proves nobody's presence; one that stays may stay for ever."""
    told = {
        Silence.GO_ON: "goes on by itself if nobody answers: nobody need be there",
        Silence.STAY: "stays open if nobody answers: load may stay on without end",
    }
    for silence, text in told.items():
        waits = [leg for leg in plan.legs if leg.kind is LegKind.WAIT and leg.if_silent is silence]
        loaded = [leg for leg in waits if leg.asked_kw > 0.0]
        if loaded:
            yield f"the prompt under load {text}", loaded[0]
