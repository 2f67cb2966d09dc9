"""Rules about load and time: duties, unbroken time, rest, autonomy; and what duties come to at the least."""

import math

from benchctl.core.criteria import span
from benchctl.core.ruleset import Autonomy, Duty, Readings, Rest, RuleSet, SampleBase, Unbroken
from benchctl.core.site import Site
from benchctl.planning.judge_course import FINE_KW, Meets, Scene, Span, Stretch, first_of, longest, spans
from benchctl.planning.judged import Least, Standing
from benchctl.planning.margins import SAG_PERCENT, corrects_for_volts, sag_factor
from benchctl.planning.present import base_words

Found = tuple[Standing, str, Span | None]
NO_METER = "no meter at the source tells its kW"
REMEDY = (
    "Give it back to its normal supply and let the source run on without: before the test, and say so in the program "
    "(site_load: off), or by hand when the banks are off"
)


def meets_duty(scene: Scene, rule: Duty, fall_kw: float = 0.0) -> Meets:
    """Whether a stretch lies within a duty's levels, though it may fall by so many kW for a moment."""
    low = -math.inf if rule.at_least_percent is None else rule.at_least_percent * scene.base_kw / 100.0
    high = math.inf if rule.at_most_percent is None else rule.at_most_percent * scene.base_kw / 100.0
    return lambda s: s.low_kw - fall_kw >= low - FINE_KW and s.high_kw <= high + FINE_KW and s.high_kw > 0.0


def duty(scene: Scene, rule: Duty) -> Found:
    """The first time after the duty before it in which the load lies within its levels long enough."""
    after_s = max((s.to_s for s in scene.placed.values()), default=0.0)
    found = spans(scene.course, meets_duty(scene, rule), after_s)
    placed = scene.sure.get(rule.key) or first_of(found, rule.for_s)
    if placed is None:
        return Standing.NOT, _short(scene, longest(found), rule.for_s, after_s), None
    scene.placed[rule.key] = placed
    return *_loaded(scene, rule.at_least_percent, placed), placed


def surely(scene: Scene) -> dict[str, Span]:
    """Times of all duties that hold whatever the site's own load does; none where one has no such time."""
    placed: dict[str, Span] = {}
    after_s = 0.0
    for rule in scene.rules.rules:
        if isinstance(rule, Duty):
            span_of = first_of(spans(scene.course, meets_duty(scene, rule, scene.swing_kw), after_s), rule.for_s)
            if span_of is None:
                return {}
            placed[rule.key], after_s = span_of, span_of.to_s
    return placed


def unbroken(scene: Scene, rule: Unbroken) -> Found:
    """One time without a break at or above the level."""
    least_kw = rule.at_least_percent * scene.base_kw / 100.0
    found = spans(scene.course, lambda s: s.low_kw >= least_kw - FINE_KW)
    sure = spans(scene.course, lambda s: s.low_kw - scene.swing_kw >= least_kw - FINE_KW)
    placed = first_of(sure, rule.for_s) or first_of(found, rule.for_s)
    if placed is None:
        return Standing.NOT, _short(scene, longest(found), rule.for_s, 0.0), None
    return *_loaded(scene, rule.at_least_percent, placed), placed


def _short(scene: Scene, longest_s: float, for_s: float, after_s: float) -> str:
    where = " after the duty before it" if after_s > 0.0 else ""
    most_kw = max((s.low_kw for s in scene.course if s.from_s >= after_s), default=0.0)
    share = 100.0 * most_kw / scene.base_kw
    if longest_s <= 0.0:
        return f"the program is never there{where}; it surely puts {share:.1f} % on the source at most"
    return f"the longest such time{where} is {span(longest_s)} of program time, {span(for_s)} are asked"


def _loaded(scene: Scene, least_percent: float | None, placed: Span) -> tuple[Standing, str]:
    if not scene.tells_power():
        return Standing.CANNOT, NO_METER
    if least_percent is None:
        return Standing.SATISFIED, ""
    within = [s for s in scene.course if s.to_s > placed.from_s and s.from_s < placed.to_s]
    low_kw = min((s.low_kw for s in within), default=0.0)
    fallen_kw = low_kw - scene.swing_kw
    if fallen_kw < least_percent * scene.base_kw / 100.0 - FINE_KW and scene.rules.sample_base is SampleBase.SCAN:
        return Standing.CANNOT, _swing(scene, 100.0 * fallen_kw / scene.base_kw)
    return Standing.SATISFIED, _margin(scene, low_kw, least_percent)


def _swing(scene: Scene, fallen_percent: float) -> str:
    """What happens when the site's own load goes off at once, in words."""
    return (
        f"the site's own load of up to {scene.swing_kw:g} kW comes and goes: when it goes off, the source carries "
        f"{fallen_percent:.1f} % until the chain has followed, and every scan counts; take it off (site_load: off), "
        "carry the minimum by the chain alone (load_is: chain), or agree another sample base with the authority"
    )


def _margin(scene: Scene, low_kw: float, least_percent: float) -> str:
    """How much of a minimum is left, and whether volts may sag."""
    told = f"the least planned is {low_kw:.1f} kW, {100.0 * low_kw / scene.base_kw:.1f} %"
    if base := base_words(scene.rules, scene.site):
        told += f"; {base}"
    least_kw = least_percent * scene.base_kw / 100.0
    if corrects_for_volts(scene.site) or low_kw * sag_factor(SAG_PERCENT) >= least_kw - FINE_KW:
        return told
    until = " until trim has made up for it" if scene.program.trim else ""
    return f"{told}; with volts {SAG_PERCENT:g} % low it would be missed{until}"


def rest(scene: Scene, rule: Rest) -> Found:
    """The source at no load after the last load."""
    asked_s = scene.program.source_cooldown_s or 0.0
    idle_s = 0.0
    for stretch in reversed(scene.course):
        if stretch.leg.target_kw > 0.0 or stretch.leg.from_kw > 0.0:
            break
        idle_s += stretch.length_s
    most_kw = rule.no_load_percent * scene.nameplate_kw / 100.0
    if asked_s + idle_s < rule.for_s - FINE_KW:
        have = span(asked_s + idle_s) if asked_s + idle_s else "nothing"
        return Standing.NOT, f"the program asks for {have} of source_cooldown, {span(rule.for_s)} are asked", None
    if not scene.tells_power():
        return Standing.CANNOT, NO_METER, None
    if scene.idle_kw > most_kw + FINE_KW:
        return Standing.CANNOT, f"{own_load(scene)}; more than {most_kw:g} kW are no rest. {REMEDY}", None
    return Standing.SATISFIED, f"{span(asked_s + idle_s)} at no load are planned", None


def own_load(scene: Scene) -> str:
    """What stays on the source when the chain is off, in words."""
    share = 100.0 * scene.idle_kw / scene.nameplate_kw
    return f"the site's own load and fans on the source, up to {scene.idle_kw:g} kW ({share:.1f} %), may stay on"


def autonomy(scene: Scene, rule: Autonomy) -> Found:
    """Constant kW to the end of its time."""
    want_kw = rule.load_percent * scene.base_kw / 100.0
    most_kw = want_kw * rule.tolerance_percent / 100.0 + FINE_KW

    def constant(stretch: Stretch) -> bool:
        return stretch.low_kw >= want_kw - most_kw and stretch.high_kw <= want_kw + most_kw

    found = spans(scene.course, constant)
    placed = first_of(found, rule.for_s)
    if placed is None:
        return Standing.NOT, _short(scene, longest(found), rule.for_s, 0.0), None
    if not scene.tells_power():
        return Standing.CANNOT, NO_METER, placed
    if scene.swing_kw > most_kw:
        return Standing.CANNOT, _swing(scene, 100.0 * (want_kw - scene.swing_kw) / scene.base_kw), placed
    if rule.end_volts_v is not None:
        return Standing.CANNOT, "no instrument of the site file tells the direct volts at the battery", placed
    return Standing.SATISFIED, f"constant within {rule.tolerance_percent:g} % as planned", placed


def least(rules: RuleSet, site: Site) -> Least:
    """Time, energy and readings of the duties alone: levels as asked, nothing between them, a reading at t = 0."""
    parts = [(rule.at_least_percent or 0.0, rule.for_s) for rule in rules.rules if isinstance(rule, Duty)]
    parts += [(rule.load_percent, rule.for_s) for rule in rules.rules if isinstance(rule, Autonomy)]
    length_s = math.fsum(for_s for _, for_s in parts)
    for rule in rules.rules:
        if isinstance(rule, Unbroken) and rule.for_s > length_s:
            parts.append((rule.at_least_percent, rule.for_s - length_s))
            length_s = rule.for_s
    energy_kwh = math.fsum(share * site.nameplate.power_kw / 100.0 * for_s / 3600.0 for share, for_s in parts)
    every_s = min((r.interval_s for r in rules.rules if isinstance(r, Readings)), default=rules.reading_interval_s)
    return Least(length_s, energy_kwh, math.floor(length_s / every_s + 1e-9) + 1 if length_s else 0)
