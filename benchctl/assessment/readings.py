"""Readings at their interval: from the first load to the last no two may lie farther apart than the interval.

A reading counts at the time when it was taken, however late it was typed in. What is missing is a finding each.
"""

import itertools
from bisect import bisect_left, bisect_right
from dataclasses import dataclass

from benchctl.assessment.case import Case
from benchctl.assessment.gauged import loaded_span, times
from benchctl.assessment.verdict import Input, Outcome, Verdict, Working
from benchctl.assessment.words import clock, length
from benchctl.core.readings import BY_NAME
from benchctl.core.ruleset import MEASURED, Readings

LISTED = 4


@dataclass(frozen=True, slots=True)
class Gap:
    """No reading between two times: longer than allowed."""

    name: str
    from_s: float
    to_s: float


def readings(case: Case, rule: Readings) -> Verdict:
    """All names of the rule at its interval."""
    what = f"readings each {length(rule.interval_s)} (late by at most {length(rule.late_s)})"
    text = f"{rule.text}: {what}" if rule.text else what
    span = loaded_span(case.trail)
    if span is None:
        return Verdict(rule.key, text, Outcome.NOT_DEMONSTRATED, "there was no load", rule.origin)
    absent, gaps, inputs = [], [], []
    for name in rule.names:
        known = times(case.trail, name)
        first = bisect_left(known, span[0] - rule.interval_s / 2.0)
        taken = known[first : bisect_right(known, span[1] + rule.late_s)]
        called = _called(name)
        inputs.append(Input(f"readings of {called}", float(len(taken)), ""))
        if not taken:
            absent.append(called)
            continue
        gaps += _gaps(called, taken, span, rule)
    parts = [f"no reading of {', '.join(absent)}"] if absent else []
    parts += [f"{g.name}: none from {clock(g.from_s)} to {clock(g.to_s)}" for g in gaps[:LISTED]]
    parts += [f"and {len(gaps) - LISTED} more"] if len(gaps) > LISTED else []
    outcome = Outcome.NOT_DEMONSTRATED if parts else Outcome.SHOWN
    why = (
        "; ".join(parts)
        or f"{len(rule.names)} names, none farther apart than that from {clock(span[0])} to {clock(span[1])}"
    )
    why += _late(case)
    working = Working(
        "missing readings",
        float(len(absent) + len(gaps)),
        "",
        f"times under load without one for longer than {length(rule.interval_s + rule.late_s)}, and names without any",
        tuple(inputs),
    )
    return Verdict(rule.key, text, outcome, why, rule.origin, *span, (working,))


def _gaps(name: str, taken_s: list[float], span: tuple[float, float], rule: Readings) -> list[Gap]:
    first_s = span[0] + (rule.late_s if rule.at_start else rule.interval_s + rule.late_s)
    found = [Gap(name, span[0], taken_s[0])] if taken_s[0] > first_s else []
    longest_s = rule.interval_s + rule.late_s
    for before_s, now_s in itertools.pairwise((*taken_s, span[1])):
        if now_s - before_s > longest_s:
            found.append(Gap(name, before_s, now_s))
    return found


def _late(case: Case) -> str:
    """Corrections are told: the readings that they replace stay in the record."""
    corrected = [f"{n.number}" for n in case.trail.noted if n.corrected]
    late = [f"reading {n.number} {n.late}" for n in case.trail.noted if n.late and not n.corrected]
    told = f"; corrected, the first entry stays in the record: reading {', '.join(corrected)}" if corrected else ""
    return told + (f"; not in the sealed record but beside it: {', '.join(late)}" if late else "")


def _called(name: str) -> str:
    return BY_NAME[name].text if name in BY_NAME else MEASURED.get(name, name)
