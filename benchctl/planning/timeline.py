"""A program's legs along program time: what is asked of the chain, what it gives, how much energy that is.

The target of a ramp moves on a straight line, so the energy asked of the chain is known exactly, without integration.
Levels on the way are found scan by scan as a run does it (in at most MOST_SAMPLES places of a long ramp). With targets
that count the source's total, the chain is asked for what the site-load reserve leaves.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

from benchctl.core.legs import Leg, LegKind, staircase_kw
from benchctl.core.program import LoadIs, Program, Repeat, Segment, Staircase, Starts
from benchctl.planning.chain import Chain, site_kw
from benchctl.planning.plan import PlannedLeg, Stairs

MOST_SAMPLES = 4_000
SHORTEST_SCAN_S = 0.01


@dataclass(frozen=True, slots=True)
class Way:
    """What happens during a leg: mean of the asked and of the given kW, and how many different levels are given."""

    asked_kw: float
    given_kw: float
    levels: int


def asked_kw(target_kw: float, reserve_kw: float) -> float:
    """What a target asks of the chain in kW; reserve_kw is what it counts besides the chain."""
    return max(0.0, target_kw - reserve_kw)


def mean_asked_kw(from_kw: float, to_kw: float, reserve_kw: float) -> float:
    """Mean of max(0, target - reserve) while the target moves on a straight line: exact, in kW."""
    low, high = sorted((from_kw - reserve_kw, to_kw - reserve_kw))
    if low >= 0.0:
        return (low + high) / 2.0
    return 0.0 if high <= 0.0 else high / (high - low) * high / 2.0


def loss_s(leg: Leg, before_kw: float) -> float:
    """Longest time of an expected loss of supply in seconds: until it comes, then held and re-applied in steps."""
    steps = math.ceil(before_kw / leg.step_kw - 1e-9) if leg.reapply and leg.step_kw > 0.0 else 0
    return leg.timeout_s + leg.held_s + max(0, steps - 1) * leg.step_s


def way(chain: Chain, from_kw: float, to_kw: float, reserve_kw: float, scans: int) -> Way:
    """A leg whose target moves from one kW to another in so many scans, both ends included."""
    samples = 1 if from_kw == to_kw else min(MOST_SAMPLES, scans)
    targets = [from_kw, *(from_kw + (to_kw - from_kw) * i / samples for i in range(1, samples)), to_kw]
    kws = [chain.given_kw(asked_kw(target_kw, reserve_kw)) for target_kw in targets]
    mean_kw = math.fsum((a + b) / 2.0 for a, b in pairwise(kws)) / samples
    return Way(mean_asked_kw(from_kw, to_kw, reserve_kw), mean_kw, len({round(kw, 6) for kw in kws}))


def timeline(program: Program, legs: tuple[Leg, ...], chain: Chain, scan_s: float) -> tuple[PlannedLeg, ...]:
    """One row for each leg, in order."""
    reserve_kw = site_kw(chain.site) if program.load_is is LoadIs.SOURCE_TOTAL else 0.0
    ways: dict[tuple[float, float, int], Way] = {}
    rows: list[PlannedLeg] = []
    start_s, target_kw = 0.0, 0.0
    for number, leg in enumerate(legs, start=1):
        was_kw, target_kw = target_kw, target_kw if leg.to_kw is None else leg.to_kw
        ramped = leg.kind is LegKind.RAMP and leg.length_s > 0.0
        scans = max(1, math.ceil(leg.length_s / max(scan_s, SHORTEST_SCAN_S)))
        key = (was_kw if ramped else target_kw, target_kw, scans if ramped else 1)
        if key not in ways:
            ways[key] = way(chain, key[0], target_kw, reserve_kw, key[2])
        level = chain.level(asked_kw(target_kw, reserve_kw))
        wait_s = {LegKind.WAIT: leg.timeout_s, LegKind.LOSS: loss_s(leg, level.asked_kw)}.get(leg.kind, 0.0)
        rows.append(
            PlannedLeg(
                number=number,
                segment=leg.segment,
                kind=leg.kind,
                label=leg.label,
                line=leg.line,
                start_s=start_s,
                length_s=leg.length_s,
                wait_s=wait_s,
                target_kw=target_kw,
                from_kw=asked_kw(was_kw, reserve_kw),
                level=level,
                levels=ways[key].levels,
                mean_kw=ways[key].asked_kw,
                given_kwh=ways[key].given_kw * leg.length_s / 3600.0,
                rejection=leg.rejection,
                in_band=leg.starts is Starts.IN_BAND,
                band_percent=leg.band_percent,
                prompt=leg.prompt,
                if_silent=leg.if_silent,
                step_kw=leg.step_kw if leg.reapply else 0.0,
                step_s=leg.step_s,
            )
        )
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
