"""A plan, and what rule sets say of it, as plain values, for screens that draw them instead of reading their lines."""

import math
from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import Any

from benchctl.core.legs import LegKind
from benchctl.core.program import LoadIs, Program
from benchctl.core.ruleset import RuleSet
from benchctl.core.site import Site
from benchctl.planning.chain import Chain, site_kw
from benchctl.planning.judge import judge
from benchctl.planning.judge_lines import verdict_rows
from benchctl.planning.plan import Plan, PlannedLeg
from benchctl.planning.present import present
from benchctl.planning.timeline import asked_kw

MOST_CORNERS = 400
MOST_PLACES = 200  # of one ramp that are looked at
ALL_PLACES = 4000  # of all ramps

Corner = tuple[float, float, float]  # program time in seconds, kW asked of the chain, kW given by the stages


def drawn(plan: Plan, site: Site, program: Program) -> dict[str, Any]:
    """`legs`, `graph`, `findings`, `cautions` and `readings` of an answer to `program`."""
    return {
        "legs": [_leg(leg) for leg in plan.legs],
        "graph": [[round(v, 3) for v in corner] for corner in graph(plan, site, program)],
        "findings": [
            {"severity": f.severity.value, "text": f.text, "line": f.line, "leg": f.number} for f in plan.findings
        ],
        "cautions": list(plan.cautions),
        "readings": list(program.readings),
    }


def promised(plan: Plan, site: Site, program: Program, rule_sets: Iterable[RuleSet]) -> list[dict[str, Any]]:
    """`verdicts` of an answer: a mapping a rule set, with `rules`; keys as in the rows of `plan --json`."""
    told: list[dict[str, Any]] = []
    for rules in rule_sets:
        *parts, whole = verdict_rows(judge(site, program, plan, rules))
        told.append({**whole, "rules": parts})
    return told


def _leg(leg: PlannedLeg) -> dict[str, Any]:
    level = leg.level
    return {
        "number": leg.number,
        "segment": leg.segment,
        "kind": leg.kind.value,
        "label": leg.label,
        "line": leg.line,
        "start_s": leg.start_s,
        "length_s": leg.length_s,
        "wait_s": leg.wait_s,
        "from_kw": leg.from_kw,
        "target_kw": leg.target_kw,
        "asked_kw": level.asked_kw,
        "given_kw": level.given_kw,
        "side": level.side.value,
        "short": level.short,
        "source_kw": level.source_kw,
        "amps": list(level.phase_amps),
        "prompt": leg.prompt,
    }


def graph(plan: Plan, site: Site, program: Program) -> list[Corner]:
    """Corner points of what is asked and what is given along program time, the stairs of ramps included.

    Between two points both are straight lines. Where there are more than MOST_CORNERS, they are thinned out.
    """
    site = present(site, program)
    chain = Chain(site, program)
    reserve_kw = site_kw(site) if program.load_is is LoadIs.SOURCE_TOTAL else 0.0
    made: list[Corner] = [(0.0, 0.0, 0.0)]
    target_kw = 0.0
    ramps = sum(_ramped(leg) for leg in plan.legs)
    most = min(MOST_PLACES, max(1, ALL_PLACES // max(1, ramps)))
    for leg in plan.legs:
        if _ramped(leg):
            made += _ramp(leg, chain, target_kw, reserve_kw, most)
        else:
            made.append((leg.start_s, leg.asked_kw, leg.level.given_kw))
            made.append((leg.end_s, leg.asked_kw, leg.level.given_kw))
        target_kw = leg.target_kw
    return thinned([c for i, c in enumerate(made) if i == 0 or c != made[i - 1]], MOST_CORNERS)


def _ramped(leg: PlannedLeg) -> bool:
    return leg.kind is LegKind.RAMP and leg.length_s > 0.0


def _ramp(leg: PlannedLeg, chain: Chain, from_kw: float, reserve_kw: float, most: int) -> Iterator[Corner]:
    """Two points for each stair: before and after."""
    places = max(1, min(most, math.ceil(leg.length_s)))
    given_kw = chain.given_kw(asked_kw(from_kw, reserve_kw))
    yield leg.start_s, leg.from_kw, given_kw
    for i in range(1, places + 1):
        share = i / places
        now_kw = asked_kw(from_kw + (leg.target_kw - from_kw) * share, reserve_kw)
        next_kw = chain.given_kw(now_kw)
        if next_kw != given_kw or i == places:
            at_s = leg.start_s + leg.length_s * share
            yield at_s, now_kw, given_kw
            yield at_s, now_kw, next_kw
        given_kw = next_kw


def thinned(corners: list[Corner], most: int) -> list[Corner]:
    """At most so many of the corners, extremes kept. most: at least 4.

    Of each of equal spans of time the first, the lowest, the highest and the last stay: so a level that lasts longer
    than such a span keeps both its ends.
    """
    if len(corners) <= most:
        return corners
    first_s, spans = corners[0][0], most // 4
    span_s = (corners[-1][0] - first_s) / spans or 1.0
    kept: list[Corner] = []
    for _, part in groupby(corners, lambda corner: min(int((corner[0] - first_s) / span_s), spans - 1)):
        mine = list(part)
        places = range(len(mine))
        lowest, highest = min(places, key=lambda i: mine[i][2]), max(places, key=lambda i: mine[i][2])
        kept += [mine[i] for i in sorted({0, lowest, highest, len(mine) - 1})]
    return kept
