"""What is not read in its text says so wherever it is used: in a plan, in an assessment, in the report.

The marks are those of the rule sets' files; that they are told is our own rule. A trail without samples is judged, so
that every rule of every shipped rule set has a verdict.
"""

import pytest

from benchctl.assessment.judge import judge
from benchctl.cli.assess import lines
from benchctl.core.ruleset import Known
from benchctl.files import names, read_program, read_rule_set, read_site
from benchctl.planning import plan
from benchctl.planning.judge import judge as judged_before
from benchctl.planning.judge_lines import verdict_lines
from benchctl.report.content import content
from benchctl.report.parts import Judged, Table
from benchctl.report.words import say
from tests.report.made import made, made_trail

RULE_SETS = [name for name in names("ruleset") if name != "empty"]


def flat(lines_of) -> str:
    return " ".join(" ".join(lines_of).split())


@pytest.mark.parametrize("name", RULE_SETS)
def test_a_limit_that_is_not_certain_says_so(name):
    rules = read_rule_set(name)[0]
    trail = made_trail()
    judgement = judge(trail, rules)
    drawn = content(made(trail=trail, judged=(judgement,)))
    blocks = [b for s in drawn.sections for b in s.blocks]
    in_report = [b for b in blocks if isinstance(b, Judged)]
    assert len(in_report) == len(judgement.verdicts) >= len(rules.rules)
    for block, verdict in zip(in_report, judgement.verdicts, strict=True):
        for part in (verdict.origin.known.value, verdict.origin.source, verdict.origin.clause, verdict.origin.note):
            assert part in block.source
    assessed = flat(lines(judgement, trail, brief=True))
    site, program = read_site("northquay")[0], read_program("ladder")[0]
    planned = flat(verdict_lines(judged_before(site, program, plan(site, program), rules)))
    for rule in rules.rules:
        assert f"limit {rule.origin.known.value}" in assessed
        marked = "; ".join(
            p for p in (rule.origin.clause, rule.origin.known.value, rule.origin.source, rule.origin.note) if p
        )
        assert f"[{marked}]" in planned


def test_the_report_counts_the_limits_that_were_not_read():
    rules = read_rule_set("nfpa110-acceptance")[0]
    trail = made_trail()
    judgement = judge(trail, rules)
    shaky = [v for v in judgement.verdicts if v.origin.known not in (Known.READ, Known.COMPUTED)]
    drawn = content(made(trail=trail, judged=(judgement,)))
    section = next(s for s in drawn.sections if s.title == say("limits"))
    rows = next(b for b in section.blocks if isinstance(b, Table)).rows
    told = say("uncertain", count=len(shaky), total=len(rows))
    assert told in [getattr(b, "text", "") for b in section.blocks]
    assert len([row for row in rows if row[3].startswith(("from memory", "quoted", "common"))]) == len(shaky) > 0
