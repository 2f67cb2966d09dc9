"""A rule set and a site → a program that would satisfy it there, for a person to go on editing.

Levels have a margin for a sag of the volts (P follows V²: 50 % needs 52.06 % for a sag of 2 %), holds a minute more
than is asked, so that one late scan does not cost the test. Habits are common practice, no source.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from benchctl.core.criteria import criterion, span
from benchctl.core.program import Hold, LoadIs, Program, Ramp, Rounding, Segment, Starts, Target
from benchctl.core.readings import BY_NAME
from benchctl.core.ruleset import (
    Autonomy,
    Duty,
    Fields,
    Measure,
    Readings,
    Rest,
    Rule,
    RuleSet,
    Stability,
    Steady,
    Transient,
    Unbroken,
)
from benchctl.core.site import Site
from benchctl.planning.chain import meters_site
from benchctl.planning.draft_blocks import Part, blocks
from benchctl.planning.draft_levels import alone, fall_percent, reasons, room_percent, set_percent
from benchctl.planning.draw import plan
from benchctl.planning.judge import judge
from benchctl.planning.judge_lines import mark
from benchctl.planning.judged import Standing
from benchctl.planning.present import of_nameplate
from benchctl.planning.time_checks import tells_power

SPARE_S = 60.0  # more than is asked of each hold, and of the source's rest
RAMP_S = 60.0  # for 25 % of the nameplate: 25 % steps and patience, practitioners' habit
SHORTEST_RAMP_S = 30.0
LADDER = (25.0, 50.0, 75.0, 100.0)  # where a rule set asks for no load of its own: a quick site test
LADDER_S = 600.0  # 10 to 15 min are usual
NO_LOAD_S, FIRST_S = 120.0, 30.0
STEP_PERCENT, NEAR_PERCENT = 25.0, 5.0  # of a warm-up, which ends a little below the first level


@dataclass(frozen=True, slots=True)
class Draft:
    """A program and the reasons for its parts."""

    program: Program
    parts: tuple[Part, ...]
    rules: RuleSet
    site: Site


def draft(rules: RuleSet, site: Site, name: str = "draft", ref: str = "") -> Draft:
    """A program for a rule set at a site. Whether the site can is the plan's to say. Raises nothing for valid nouns.

    ref: how the program's file names the rule set; its own name where empty. The site's own load stays on the source
    unless more can be shown without it.
    """
    head = replace(_head(rules, site, name), rule_sets=(ref or rules.name,))
    made = _drafted(rules, site, head)
    if site.site_load_reserve_kw > 0.0 and (left := _not_shown(rules, site, made.program)):
        bare = replace(site, site_load_reserve_kw=0.0)
        head = replace(_head(rules, bare, name), rule_sets=head.rule_sets, site_load_off=True)
        without = _drafted(rules, bare, head)
        if _not_shown(rules, site, without.program) < left:
            return replace(without, site=site)
    return made


def _not_shown(rules: RuleSet, site: Site, program: Program) -> int:
    """How many of the rules the plan of a program does not satisfy or cannot have shown there."""
    drawn = plan(site, program)
    judged = judge(site, program, drawn, rules).rules
    short = sum(j.standing in (Standing.CANNOT, Standing.NOT) for j in judged)
    return short if drawn.feasible else len(judged) + 1


def _drafted(rules: RuleSet, site: Site, head: Program) -> Draft:
    parts = [*_steady(rules, site), *_autonomy(rules, site, head)]
    top = _last(parts)
    changes = list(blocks(rules, site, top))
    parts += changes
    if (left := _last(parts)) > 0.0:
        parts.append(Part(_ramp(left, 0.0), ("Load off in a ramp: no rejection is meant.",)))
    in_band = head.trim
    parts = [replace(p, segment=_started(p.segment, in_band)) for p in parts]
    return Draft(replace(head, segments=tuple(p.segment for p in parts)), tuple(parts), rules, site)


def _head(rules: RuleSet, site: Site, name: str) -> Program:
    """Everything of the program but its segments."""
    kinds = {type(rule) for rule in rules.rules}
    names = [n for r in rules.rules if isinstance(r, Readings) for n in r.names]
    names += [r.reading for r in rules.rules if isinstance(r, Stability)]
    names += [n for r in rules.rules if isinstance(r, Fields) for n in r.names if n == "ambient_c"]
    every = [r.interval_s for r in rules.rules if isinstance(r, Readings)]
    every += [r.interval_s for r in rules.rules if isinstance(r, Stability) and r.reading in BY_NAME]
    rests = [r.for_s + SPARE_S for r in rules.rules if isinstance(r, Rest)]
    if site.nameplate.kind == "generating set":
        rests.append(site.limits.source_cooldown_s)
    head = Program(
        name=name,
        title=f"{rules.title}: {site.name}"[:300],
        segments=(),
        load_is=_counts(rules, site),
        rounding=Rounding.AT_LEAST if kinds & {Duty, Unbroken} else Rounding.NEAREST,
        source_cooldown_s=max(rests, default=None),
        reading_interval_s=min([rules.reading_interval_s, *every]),
        readings=tuple(dict.fromkeys(n for n in names if n in BY_NAME)),
    )
    return replace(head, trim=Transient not in kinds and tells_power(site, head))


def _counts(rules: RuleSet, site: Site) -> LoadIs:
    """The source's total where a meter tells it, except where the chain alone carries every minimum."""
    return LoadIs.SOURCE_TOTAL if meters_site(site) and not alone(rules, site) else LoadIs.CHAIN


def _started(segment: Segment, in_band: bool) -> Segment:
    """A continuous hold begins in band where trim brings the load there."""
    if in_band and isinstance(segment, Hold) and segment.continuous:
        return replace(segment, starts=Starts.IN_BAND)
    return segment


def _steady(rules: RuleSet, site: Site) -> Iterator[Part]:
    """Warm-up and duties, or a ladder where no load is asked for."""
    duties = [r for r in rules.rules if isinstance(r, Duty)]
    whole = [r for r in rules.rules if isinstance(r, Unbroken)]
    if not duties and not whole:
        if not any(isinstance(r, Autonomy) for r in rules.rules):
            yield from _ladder(rules, site)
        return
    yield from _before(rules)
    fall = 0.0 if alone(rules, site) else fall_percent(site)
    levels = [set_percent(site, *_of_nameplate(rules, site, d), fall) for d in duties or whole[:1]]
    was = 0.0
    for part in _warm_up(rules, levels[0]):
        yield part
        was = _percent(part.segment, was)
    asked: list[Duty | Unbroken] = [*duties] or [whole[0]]
    for i, (rule, level) in enumerate(zip(asked, levels, strict=True)):
        says = [f"{rule.key}: {criterion(rule)} [{mark(rule.origin)}]", *reasons(rules, site, rule, level)]
        hold_s = _hold_s(rules, rule, last=i == len(asked) - 1)
        if hold_s > rule.for_s + SPARE_S:
            says.append(f"Held for {span(hold_s)}, because readings are to agree at the end.")
        yield Part(_ramp(was, level), tuple(says))
        yield Part(Hold(hold_s, continuous=True, label=rule.key.replace("_", " ")))
        was = level


def _of_nameplate(rules: RuleSet, site: Site, rule: Duty | Unbroken) -> tuple[float | None, float | None]:
    """Least and most of a rule in percent of the nameplate."""
    levels = (rule.at_least_percent, rule.at_most_percent if isinstance(rule, Duty) else None)
    least, most = (None if x is None else of_nameplate(rules, site, x) for x in levels)
    return least, most


def _before(rules: RuleSet) -> Iterator[Part]:
    """No load first, where it is compared with or where a reading is due at the first load."""
    if any(_ends(r) for r in rules.rules):
        yield Part(Hold(NO_LOAD_S, Target(0.0, percent=True), label="no load"), ("No load, to compare with.",))
    elif any(isinstance(r, Readings) and r.at_start for r in rules.rules):
        says = ("The first reading falls due here, before load.",)
        yield Part(Hold(FIRST_S, Target(0.0, percent=True), label="before load"), says)


def _needs_rated(rules: RuleSet) -> bool:
    return any(_ends(r) or isinstance(r, Transient) for r in rules.rules)


def _ends(rule: Rule) -> bool:
    return isinstance(rule, Steady) and rule.measure in (Measure.DROOP, Measure.REGULATION)


def _warm_up(rules: RuleSet, first: float) -> Iterator[Part]:
    """Quarters of the nameplate below the first level, each held for the warm-up time."""
    if rules.warm_up_s <= 0.0 or first <= 0.0:
        return
    says = (f"Warm-up, {span(rules.warm_up_s)} at each quarter below the first level: common practice.",)
    steps = max(1, math.ceil((first - NEAR_PERCENT) / STEP_PERCENT - 1e-9) - 1)
    was = 0.0
    for i in range(1, steps + 1):
        level = min(i * STEP_PERCENT, first)
        yield Part(_ramp(was, level), says if i == 1 else ())
        yield Part(Hold(rules.warm_up_s, label="warming up"))
        was = level


def _ladder(rules: RuleSet, site: Site) -> Iterator[Part]:
    """A quarter at a time, for rule sets that ask for no load of their own."""
    yield Part(Hold(NO_LOAD_S, Target(0.0, percent=True), label="no load"), ("No load, to compare with.",))
    longest_s = max([LADDER_S, *(r.over_s + SPARE_S for r in rules.rules if isinstance(r, Steady))])
    levels = [level for level in LADDER if level <= room_percent(site) or _needs_rated(rules)]
    was = 0.0
    for level in levels:
        says = ("The rule set asks for no load of its own: a ladder of quarters, common practice.",) if not was else ()
        yield Part(_ramp(was, level), says)
        top_s = max(longest_s, _stable_s(rules, "") + SPARE_S) if level == levels[-1] else longest_s
        yield Part(Hold(top_s, label=f"{level:g} %"))
        was = level


def _autonomy(rules: RuleSet, site: Site, head: Program) -> Iterator[Part]:
    """Constant kW for the time and a minute more."""
    was = 0.0
    for rule in rules.rules:
        if isinstance(rule, Autonomy):
            says = f"{rule.key}: {criterion(rule)} [{mark(rule.origin)}]"
            level = of_nameplate(rules, site, rule.load_percent)
            yield Part(_ramp(was, level), (says,))
            yield Part(Hold(rule.for_s + SPARE_S, continuous=head.trim, label=rule.key.replace("_", " ")))
            was = level


def _stable_s(rules: RuleSet, key: str) -> float:
    """Time that the readings which are to agree during a duty take; key "" = those that name no duty."""
    rows = [r for r in rules.rules if isinstance(r, Stability) and r.during == key]
    return max(((r.count - 1) * r.interval_s for r in rows), default=0.0)


def _hold_s(rules: RuleSet, rule: Duty | Unbroken, *, last: bool) -> float:
    need_s = max(rule.for_s, _stable_s(rules, rule.key), _stable_s(rules, "") if last else 0.0)
    over_s = max((r.over_s for r in rules.rules if isinstance(r, Steady) and r.during in ("", rule.key)), default=0.0)
    return max(need_s, over_s) + SPARE_S


def _ramp(was: float, to: float) -> Ramp:
    over_s = max(SHORTEST_RAMP_S, 30.0 * math.ceil(abs(to - was) / 25.0 * RAMP_S / 30.0 - 0.1))
    return Ramp(Target(to, percent=True), over_s)


def _percent(segment: Segment, was: float) -> float:
    """Where a segment leaves the target."""
    match segment:
        case Hold(at=None):
            return was
        case Hold(at=Target(value=value)) | Ramp(to=Target(value=value)):
            return value
    target = getattr(segment, "to", None)
    return target.value if isinstance(target, Target) else was


def _last(parts: list[Part]) -> float:
    level = 0.0
    for part in parts:
        level = _percent(part.segment, level)
    return level
