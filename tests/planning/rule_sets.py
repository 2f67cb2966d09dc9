"""Rule sets built from nouns for the tests of planning: our own invention."""

from benchctl.core.program import Program
from benchctl.core.ruleset import Duty, Known, Origin, Rule, RuleSet
from benchctl.core.site import Site
from benchctl.planning import plan
from benchctl.planning.judge import judge
from benchctl.planning.judged import Judged, PlanVerdict

OURS = Origin(known=Known.PRACTICE)


def rule_set(*rules: Rule) -> RuleSet:
    """A rule set of these rules."""
    return RuleSet("test", "A test", "none", "none", rules)


def duty(key: str, percent: float | None, minutes: float, most: float | None = None) -> Duty:
    """At least so many percent for so many minutes."""
    return Duty(key, percent, most, 60.0 * minutes, OURS)


def verdict(site: Site, program: Program, *rules: Rule) -> PlanVerdict:
    """A plan judged by rules."""
    return judge(site, program, plan(site, program), rule_set(*rules))


def judged(site: Site, program: Program, *rules: Rule) -> Judged:
    """The last of the rules, judged."""
    return verdict(site, program, *rules).rules[-1]
