"""A common measure for what the units of a chain offer, so that levels are whole numbers.

Theory. Where all units share one voltage factor, rated watts have a greatest common divisor and every level
is a whole multiple of it, exactly, at any volts. Where factors differ (units of different rated volts, units
that correct for volts themselves, burnt elements), weights are rounded to 1 W, and in very large chains to at
most 0.1 kW; `hidden_kw` and `excess_kw` then say by how much a true sum can be above or below its rounded
one, and limits keep that distance. A set point of n steps counts as weights of 1, 2, 4, ... steps, so that
every whole number of steps can be made.
"""

import math
from collections import Counter
from dataclasses import dataclass
from functools import lru_cache

from benchctl.core.offer import Offer
from benchctl.core.sums import Sums, all_sums, doublings

_MOST_STEPS = 600_000  # keeps the arithmetic of a chain of four well below a millisecond


@dataclass(frozen=True, slots=True, eq=False)
class Measure:
    """The whole-number picture of a chain's offers. weights: per unit and stage; 0 where not usable."""

    offers: tuple[Offer, ...]
    unit_kw: float  # kW of one
    weights: tuple[tuple[int, ...], ...]
    sums: Sums
    total: int
    total_kw: float
    smallest_kw: float  # infinite when nothing is offered
    hidden_kw: float  # true kW may be this much above the measured
    excess_kw: float  # ... and this much below
    live: tuple[int, ...]  # phases on which anything is offered

    def kw(self, step: int) -> float:
        """kW of a level; full load is exact."""
        return self.total_kw if step == self.total else step * self.unit_kw

    def step_weight(self, unit: int, steps: int) -> int:
        """Weight of a number of set-point steps of a unit."""
        return round(steps * self.offers[unit].step_kw / self.unit_kw)


@lru_cache(maxsize=16)
def measure(offers: tuple[Offer, ...]) -> Measure:
    """The common measure of a chain's offers."""
    scales = {o.scale for o in offers if o.usable or o.steps}
    factor = scales.pop() if len(scales) == 1 else 1.0
    pieces: Counter[float] = Counter()
    for o in offers:
        pieces.update([kw for i, kw in enumerate(o.kws) if o.usable >> i & 1])
        pieces.update([n * o.step_kw for n in doublings(o.steps)])
    unit_kw = _unit_kw(pieces, factor)
    whole = {kw: max(1, round(kw / unit_kw)) for kw in pieces}
    merged: Counter[int] = Counter()
    for kw, count in pieces.items():
        merged[whole[kw]] += count
    weights = tuple([tuple([whole[kw] if o.usable >> i & 1 else 0 for i, kw in enumerate(o.kws)])
                     for o in offers])
    off = {kw: kw - whole[kw] * unit_kw for kw in pieces}
    off = {kw: d if abs(d) > 1e-9 * kw else 0.0 for kw, d in off.items()}
    return Measure(
        offers, unit_kw, weights, all_sums(tuple(sorted(merged.items()))),
        total=sum(w * n for w, n in merged.items()), total_kw=math.fsum(o.full_kw for o in offers),
        smallest_kw=min((o.smallest_kw for o in offers), default=math.inf),
        hidden_kw=sum(n * max(0.0, off[kw]) for kw, n in pieces.items()),
        excess_kw=sum(n * max(0.0, -off[kw]) for kw, n in pieces.items()),
        live=_live(offers),
    )


def _unit_kw(pieces: Counter[float], factor: float) -> float:
    """kW of one: the exact common divisor, or the finest of 1 W, 10 W, 0.1 kW that keeps arithmetic small."""
    watts = [round(1000.0 * kw / factor) for kw in pieces]
    exact = all(abs(1000.0 * kw / factor - w) < 1e-6 * w for kw, w in zip(pieces, watts, strict=True))
    total_kw = sum(kw * n for kw, n in pieces.items())
    divisor = math.gcd(*watts) if exact and watts else 1
    if not pieces or (exact and total_kw / (divisor * factor / 1000.0) <= _MOST_STEPS):
        return divisor * factor / 1000.0
    return next((u for u in (0.001, 0.01) if total_kw / u <= _MOST_STEPS), 0.1)


def _live(offers: tuple[Offer, ...]) -> tuple[int, ...]:
    most = [o.phase_kw(o.usable if o.kws else o.steps) for o in offers]
    return tuple(phase for phase in range(3) if any(kw[phase] > 0.0 for kw in most))
