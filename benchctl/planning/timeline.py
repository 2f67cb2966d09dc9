"""A program's legs along program time: what is asked of the chain, what it gives, how much energy that is.

The target of a ramp moves on a straight line, so the energy asked is the mean of its ends times its length: exact, not
integrated. Levels on the way are found scan by scan as a run does it (in at most MOST_SAMPLES places of a long ramp).
With targets that count the source's total, the chain is asked for what the site-load reserve leaves.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

from benchctl.core.legs import Leg, LegKind, staircase_kw
from benchctl.core.program import LoadIs, Program, Repeat, Segment, Staircase
from benchctl.planning.chain import Chain, site_kw
from benchctl.planning.plan import PlannedLeg, Stairs

MOST_SAMPLES = 4_000
SHORTEST_SCAN_S = 0.01
SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class Way:
    """What a ramp does between its ends: mean of the given kW, and how many different levels."""

    mean_kw: float
    levels: int


def asked_kw(target_kw: float, program: Program, reserve_kw: float) -> float:
    """What a target asks of the chain in kW."""
    return max(0.0, target_kw - reserve_kw) if program.load_is is LoadIs.SOURCE_TOTAL else target_kw


def loss_s(leg: Leg, before_kw: float) -> float:
    """Longest time of an expected loss of supply in seconds: until it comes, then held and re-applied in steps."""
    steps = math.ceil(before_kw / leg.step_kw - 1e-9) if leg.reapply and leg.step_kw > 0.0 else 0
    return leg.timeout_s + leg.held_s + max(0, steps - 1) * leg.step_s


def way(chain: Chain, from_kw: float, to_kw: float, length_s: float, scan_s: float) -> Way:
    """The levels of a ramp between two asked kW, sampled once a scan, both ends included."""
    samples = 1 if from_kw == to_kw else max(1, min(MOST_SAMPLES, math.ceil(length_s / max(scan_s, SHORTEST_SCAN_S))))
    kws = [chain.given_kw(from_kw)]
    kws += [chain.given_kw(from_kw + (to_kw - from_kw) * i / samples) for i in range(1, samples)]
    kws.append(chain.given_kw(to_kw))
    mean_kw = math.fsum((a + b) / 2.0 for a, b in pairwise(kws)) / samples
    return Way(mean_kw, len({round(kw, 6) for kw in kws}))


def timeline(program: Program, legs: tuple[Leg, ...], chain: Chain, scan_s: float) -> tuple[PlannedLeg, ...]:
    """One row for each leg, in order."""
    reserve_kw = site_kw(chain.site)
    ways: dict[tuple[float, float, float], Way] = {}
    rows: list[PlannedLeg] = []
    start_s, target_kw = 0.0, 0.0
    for number, leg in enumerate(legs, start=1):
        was_kw = asked_kw(target_kw, program, reserve_kw) if number > 1 else 0.0
        target_kw = target_kw if leg.to_kw is None else leg.to_kw
        level = chain.level(asked_kw(target_kw, program, reserve_kw))
        ramped = leg.kind is LegKind.RAMP and leg.length_s > 0.0
        begin_kw = was_kw if ramped else level.asked_kw
        key = (begin_kw, level.asked_kw, leg.length_s)
        if key not in ways:
            ways[key] = way(chain, *key, scan_s)
        hours = leg.length_s / SECONDS_PER_HOUR
        wait_s = {LegKind.WAIT: leg.timeout_s, LegKind.LOSS: loss_s(leg, level.asked_kw)}.get(leg.kind, 0.0)
        rows.append(PlannedLeg(
            number, leg.segment, leg.kind, leg.label, leg.line, start_s, leg.length_s, wait_s, target_kw, was_kw, level,
            ways[key].levels, (begin_kw + level.asked_kw) / 2.0 * hours, ways[key].mean_kw * hours,
            leg.rejection, leg.starts.value == "in band", leg.band_percent, leg.prompt, leg.if_silent,
            leg.step_kw if leg.reapply else 0.0, leg.step_s))
        start_s += leg.length_s
    return tuple(rows)


def stairs(program: Program, nameplate_kw: float) -> tuple[Stairs, ...]:
    """Every staircase of the program, those inside repeats once."""
    found: list[Stairs] = []

    def look(segment: Segment, number: int) -> None:
        if isinstance(segment, Staircase):
            kws = staircase_kw(segment.start.kw(nameplate_kw), segment.end.kw(nameplate_kw), segment.steps)
            found.append(Stairs(number, segment.steps, kws))
        elif isinstance(segment, Repeat):
            for inner in segment.segments:
                look(inner, number)

    for number, segment in enumerate(program.segments, start=1):
        look(segment, number)
    return tuple(found)
