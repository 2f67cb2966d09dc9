"""A rule set over a run: which judge judges which kind of rule. What is not judged by anybody is not demonstrated."""

from collections.abc import Callable, Sequence
from typing import Any

from benchctl.assessment.autonomy import autonomies
from benchctl.assessment.case import Case
from benchctl.assessment.papers import fields
from benchctl.assessment.readings import readings
from benchctl.assessment.rest import rest
from benchctl.assessment.stability import stability
from benchctl.assessment.steady import steady
from benchctl.assessment.steps import step
from benchctl.assessment.times import duties, unbroken
from benchctl.assessment.trail import Trail
from benchctl.assessment.transients import transients
from benchctl.assessment.verdict import Judgement, Outcome, Verdict, worst
from benchctl.core.editions import covers
from benchctl.core.ruleset import (
    Autonomy,
    Duty,
    Fields,
    Known,
    Origin,
    Readings,
    Rest,
    RuleSet,
    Stability,
    Steady,
    Step,
    Transient,
    Unbroken,
)

Judge = Callable[[Case, Sequence[Any]], list[Verdict]]


def _each(judge: Callable[[Case, Any], Verdict]) -> Judge:
    return lambda case, rules: [judge(case, rule) for rule in rules]


# In this order: duties leave behind where they lie, for those that say `during`.
JUDGES: dict[type[Any], Judge] = {
    Duty: duties,
    Unbroken: unbroken,
    Autonomy: _each(autonomies),
    Steady: _each(steady),
    Transient: lambda case, rules: transients(case.trail, rules),
    Stability: _each(stability),
    Rest: _each(rest),
    Readings: _each(readings),
    Fields: _each(fields),
    Step: _each(step),
}


def judge(trail: Trail, rules: RuleSet) -> Judgement:
    """The verdicts of one rule set, in the order of its file."""
    case = Case(trail, rules)
    verdicts: list[Verdict] = []
    for kind, judged in JUDGES.items():
        of_kind = [rule for rule in rules.rules if isinstance(rule, kind)]
        if of_kind:
            verdicts += judged(case, of_kind) if len(trail.t_s) else [_no_samples(rule) for rule in of_kind]
    order = {rule.key: k for k, rule in enumerate(rules.rules)}
    verdicts.sort(key=lambda verdict: order.get(verdict.key, len(order)))
    verdicts += _edition(rules)
    return Judgement(
        rules.name,
        rules.title,
        rules.document,
        rules.edition,
        rules.adopted,
        worst(tuple(verdict.outcome for verdict in verdicts)),
        tuple(verdicts),
        _notes(trail, rules),
    )


def _no_samples(rule: Any) -> Verdict:
    return Verdict(
        rule.key, rule.text or rule.key, Outcome.NOT_DEMONSTRATED, "the record holds no samples", rule.origin
    )


def _edition(rules: RuleSet) -> list[Verdict]:
    """Figures of another edition than the one adopted at the site show nothing of that one."""
    if covers(rules.edition, rules.adopted) is not False:
        return []
    why = (
        f"the figures here are those of {rules.document}, edition {rules.edition}, but {rules.adopted} is adopted at "
        "the site: what they show is not shown of that edition; judge the run by a rule set of it"
    )
    text = "the figures are of the edition that is adopted at the site"
    return [Verdict("edition", text, Outcome.NOT_DEMONSTRATED, why, Origin(known=Known.COMPUTED))]


def _notes(trail: Trail, rules: RuleSet) -> tuple[str, ...]:
    """What must be said wherever the judgement is shown."""
    notes = list(rules.notes)
    if not rules.adopted:
        notes.append("the edition adopted at the site is not stated")
    if rules.of_derated and trail.derated_kw is None:
        notes.append("percents of load are of the nameplate: the site file states no derated kW")
    if not trail.complete:
        notes.append("the record is not complete: the run was interrupted, or part of it could not be written")
    return tuple(notes)
