"""What a record must say besides its measurements: each is there, or its absence is a finding with its name."""

from benchctl.assessment.case import Case
from benchctl.assessment.verdict import Input, Outcome, Verdict, Working
from benchctl.core.papers import PAPERS
from benchctl.core.ruleset import Fields


def missing(papers: dict[str, str], names: tuple[str, ...]) -> tuple[str, ...]:
    """Names whose paper is not there or empty."""
    return tuple(name for name in names if not papers.get(name, "").strip())


def fields(case: Case, rule: Fields) -> Verdict:
    """Every paper that the rule names. Empty ones are listed, and so are those that have expired."""
    papers, flaws = case.trail.papers, case.trail.flaws
    absent = missing(papers, rule.names)
    flawed = tuple(name for name in rule.names if name in flaws and name not in absent)
    inputs = tuple(Input(called(name), papers.get(name, "").strip() or None) for name in rule.names)
    count = len(rule.names) - len(absent) - len(flawed)
    working = Working("papers", float(count), "", f"papers that are there, of {len(rule.names)} asked for", inputs)
    parts = []
    if absent:
        parts.append("empty: " + ", ".join(called(name) for name in absent))
    parts += [f"{called(name)}: {flaws[name]}" for name in flawed]
    outcome = Outcome.NOT_DEMONSTRATED if parts else Outcome.SHOWN
    why = "; ".join(parts) or f"all {len(rule.names)} are there"
    return Verdict(rule.key, rule.text or "the record says what it must", outcome, why, rule.origin, working=(working,))


def called(name: str) -> str:
    """What people call a paper."""
    return PAPERS.get(name, name)
