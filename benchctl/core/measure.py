"""A common measure for what the units of a chain offer, so that levels are whole numbers.

Theory. Where all units share one voltage factor, rated watts have a greatest common divisor and every level
is a whole multiple of it, exactly, at any volts. Factors of units of different rated volts differ by the
square of a ratio of rated volts, a fraction of small numbers whatever the volts are: their watts have a common
divisor as well. Where there is none, or it is too fine to reckon with (units that correct for volts
themselves beside others that do not, burnt elements, odd volts in a large chain), pieces are rounded to 1 W,
from 100 kW up to 10 W, from 1000 kW up to 0.1 kW. `hidden_kw` and `excess_kw` then say by how much a true sum
can be above or below its rounded one: at most half a rounding for each piece. Limits keep that distance, so a
level that is less than `hidden_kw` below a ceiling or maximum, or less than `excess_kw` above a minimum, may
not be used. A set point of n steps counts as weights of 1, 2, 4, ... steps, so that every whole number of
steps can be made; where they are rounded, each of its pieces, and the whole, may be off by one more.
"""

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from benchctl.core.offer import Offer
from benchctl.core.sums import Sums, all_sums, doublings

_MOST_STEPS = 100_000  # keeps the arithmetic of a chain of four below a millisecond
_MOST_PARTS = 10_000  # of a fraction between voltage factors: enough for (400 / 415)² = 6400 / 6889


@dataclass(frozen=True, slots=True, eq=False)
class Measure:
    """The whole-number picture of a chain's offers. weights: per unit and stage; 0 where not usable."""

    offers: tuple[Offer, ...]
    unit_kw: float  # kW of one
    weights: tuple[tuple[int, ...], ...]
    sums: Sums
    total: int
    total_kw: float
    smallest: int  # weight of the smallest stage or step; 0 when nothing is offered
    hidden_kw: float  # true kW may be this much above the measured
    excess_kw: float  # ... and this much below
    slack: int  # by how much weights of a set point may fail to add up; 0 where they are exact
    capacity: tuple[int, ...]  # per unit: weight of everything that it offers
    live: tuple[int, ...]  # phases on which anything is offered
    uneven: bool  # some stages do not load the phases alike

    def kw(self, step: int) -> float:
        """kW of a level; full load is exact."""
        return self.total_kw if step == self.total else step * self.unit_kw

    def step_weight(self, unit: int, steps: int) -> int:
        """Weight of a number of set-point steps of a unit."""
        return max(1, round(steps * self.offers[unit].step_kw / self.unit_kw)) if steps else 0

    def weight(self, unit: int, load: int) -> int:
        """Weight of a unit's load, stages that are not usable left out."""
        weights = self.weights[unit]
        if not weights:
            return self.step_weight(unit, load)
        return sum([w for i, w in enumerate(weights) if load >> i & 1])


@lru_cache(maxsize=16)
def measure(offers: tuple[Offer, ...]) -> Measure:
    """The common measure of a chain's offers."""
    alike = Counter(offers)
    pieces: Counter[float] = Counter()
    for o, units in alike.items():
        for kw in _pieces(o):
            pieces[kw] += units
    total_kw = sum([o.full_kw * n for o, n in alike.items()])
    unit_kw = _divisor_kw(alike)
    if unit_kw * _MOST_STEPS < total_kw:
        unit_kw = next((u for u in (0.001, 0.01) if total_kw / u <= _MOST_STEPS), 0.1)
    whole = {kw: max(1, round(kw / unit_kw)) for kw in pieces}
    off = {kw: kw - whole[kw] * unit_kw for kw in pieces}
    off = {kw: d if abs(d) > 1e-9 * kw else 0.0 for kw, d in off.items()}
    merged: Counter[int] = Counter()
    for kw, count in pieces.items():
        merged[whole[kw]] += count
    weights = {o: tuple([whole[kw] if o.usable >> i & 1 else 0 for i, kw in enumerate(o.kws)]) for o in alike}
    capacity = {o: sum([whole[kw] for kw in _pieces(o)]) for o in alike}
    inexact = {o: n for o, n in alike.items() if o.steps and any(off[kw] for kw in _pieces(o))}
    slack = sum([n * (len(_pieces(o)) + 1) for o, n in inexact.items()])
    return Measure(
        offers,
        unit_kw,
        tuple([weights[o] for o in offers]),
        all_sums(tuple(sorted(merged.items()))),
        total=sum([w * n for w, n in merged.items()]),
        total_kw=total_kw,
        smallest=min(merged, default=0),
        hidden_kw=sum([n * max(0.0, off[kw]) for kw, n in pieces.items()]) + slack * unit_kw,
        excess_kw=sum([n * max(0.0, -off[kw]) for kw, n in pieces.items()]) + slack * unit_kw,
        slack=slack,
        capacity=tuple([capacity[o] for o in offers]),
        live=_live(alike),
        uneven=any(o.uneven for o in alike),
    )


def _pieces(offer: Offer) -> list[float]:
    """kW of all usable stages, or of the doubling shares of a set point."""
    if offer.kws:
        return [kw for i, kw in enumerate(offer.kws) if offer.usable >> i & 1]
    return [n * offer.step_kw for n in doublings(offer.steps)]


def _divisor_kw(offers: Iterable[Offer]) -> float:
    """The greatest common divisor of all pieces in kW; 0 where there is none."""
    by_scale: dict[float, set[int]] = {}
    for o in offers:
        for kw in _pieces(o):
            rated_w = round(1000.0 * kw / o.scale)
            if abs(1000.0 * kw / o.scale - rated_w) >= 1e-6 * rated_w:
                return 0.0
            by_scale.setdefault(o.scale, set()).add(rated_w)
    if not by_scale:
        return 1.0
    base = max(by_scale)
    shares = {scale: _fraction(scale / base) for scale in by_scale}
    common = math.lcm(*[share.denominator for share in shares.values()])
    rated = [int(shares[scale] * common) * math.gcd(*watts) for scale, watts in by_scale.items()]
    return math.gcd(*rated) * base / 1000.0 / common if all(shares.values()) else 0.0


@lru_cache(maxsize=256)
def _fraction(ratio: float) -> Fraction:
    """The ratio of two voltage factors as a fraction of small numbers; 0 where it is none."""
    found = Fraction(ratio).limit_denominator(_MOST_PARTS)
    return found if abs(float(found) - ratio) <= 1e-12 * ratio else Fraction(0)


def _live(offers: Iterable[Offer]) -> tuple[int, ...]:
    most = [o.phase_kw(o.usable if o.kws else o.steps) for o in offers]
    return tuple(phase for phase in range(3) if any(kw[phase] > 0.0 for kw in most))
