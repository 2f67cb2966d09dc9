"""A plan judged against a rule set before anything is switched on: rule by rule, by one table."""

from collections.abc import Callable
from typing import Any

from benchctl.core.criteria import criterion
from benchctl.core.editions import covers
from benchctl.core.program import Program
from benchctl.core.ruleset import (
    Autonomy,
    Duty,
    Fields,
    Known,
    Origin,
    Readings,
    Rest,
    Rule,
    RuleSet,
    Stability,
    Steady,
    Step,
    Transient,
    Unbroken,
)
from benchctl.core.site import Site
from benchctl.planning.judge_course import Scene, scene
from benchctl.planning.judge_load import Found, autonomy, duty, least, rest, surely, unbroken
from benchctl.planning.judge_seen import fields, readings, stability, steady, step
from benchctl.planning.judge_sudden import transient
from benchctl.planning.judged import Judged, PlanVerdict, Standing, worst
from benchctl.planning.plan import Plan

JUDGES: dict[type[Any], Callable[[Scene, Any], Found]] = {
    Duty: duty,
    Unbroken: unbroken,
    Steady: steady,
    Transient: transient,
    Stability: stability,
    Rest: rest,
    Readings: readings,
    Fields: fields,
    Step: step,
    Autonomy: autonomy,
}


def judge(site: Site, program: Program, plan: Plan, rules: RuleSet) -> PlanVerdict:
    """One rule set over one plan. Duties are placed in their order, before what is asked during them."""
    seen = scene(site, program, plan, rules)
    seen.sure = surely(seen)
    placed = {rule.key: _judged(seen, rule) for rule in rules.rules if isinstance(rule, Duty)}
    judged = tuple(placed[rule.key] if isinstance(rule, Duty) else _judged(seen, rule) for rule in rules.rules)
    notes = rules.notes if rules.rules else (*rules.notes, "this rule set has no rules: nothing can be shown by it")
    judged = (*judged, *_edition(rules))
    return PlanVerdict(
        rules.name,
        rules.title,
        rules.document,
        rules.edition,
        rules.adopted,
        worst(tuple(j.standing for j in judged)),
        least(rules, site),
        judged,
        notes,
    )


def _edition(rules: RuleSet) -> tuple[Judged, ...]:
    """Figures of another edition than the one adopted at the site show nothing of that one."""
    if covers(rules.edition, rules.adopted) is not False:
        return ()
    why = (
        f"the figures are those of edition {rules.edition}, {rules.adopted} is adopted: take a rule set of that edition"
    )
    text = "the figures are of the edition that is adopted at the site"
    return (Judged("edition", "edition", text, Standing.CANNOT, why, Origin(known=Known.COMPUTED)),)


def _judged(seen: Scene, rule: Rule) -> Judged:
    standing, why, at = JUDGES[type(rule)](seen, rule)
    return Judged(
        rule.key,
        type(rule).__name__.lower(),
        criterion(rule),
        standing,
        why,
        rule.origin,
        at.from_s if at else None,
        at.to_s if at else None,
    )
