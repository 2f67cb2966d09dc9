"""A set of loads being worked out: its weight, its fall on phases and units, its change piece by piece.

A piece is one stage, or a number of steps of a set point, that may be added or removed. Pieces of equal
weight differ only in their unit and their phases: the unit with the smaller share of its own capacity, and
the weaker phases, come first.
"""

import heapq
from collections.abc import Iterable, Mapping

from benchctl.core.measure import Measure
from benchctl.core.sums import doublings

Phases = tuple[float, float, float]
Piece = tuple[int, int, Phases]  # unit, change of its load, kW on phases
Ranked = tuple[float, Piece]
Pool = dict[int, list[Piece]]  # weight -> pieces that may be added (or removed)


class Draft:
    """Loads of all units, open to change. Loads are clipped to what is offered."""

    __slots__ = ("loads", "measure", "phases", "steps")

    def __init__(self, measure: Measure, loads: Iterable[int]) -> None:
        offers = measure.offers
        self.measure = measure
        self.loads = [o.clip(load) for o, load in zip(offers, loads, strict=True)]
        self.steps = [measure.weight(u, load) for u, load in enumerate(self.loads)]
        kws = [o.phase_kw(load) for o, load in zip(offers, self.loads, strict=True)]
        self.phases = [sum([kw[phase] for kw in kws]) for phase in range(3)]

    @property
    def step(self) -> int:
        """The level in whole numbers of the measure."""
        return sum(self.steps)

    def copy(self) -> "Draft":
        """A copy that may be changed."""
        new = object.__new__(Draft)
        new.measure = self.measure
        new.loads, new.steps, new.phases = self.loads[:], self.steps[:], self.phases[:]
        return new

    def pool(self, up: bool) -> Pool:
        """Pieces that may be added (up) or removed, by weight."""
        found: Pool = {}
        for unit, (load, weights) in enumerate(zip(self.loads, self.measure.weights, strict=True)):
            offer = self.measure.offers[unit]
            wanted = offer.usable & ~load if up else load
            for i, weight in enumerate(weights):
                if wanted >> i & 1:
                    found.setdefault(weight, []).append((unit, 1 << i, offer.phases[i]))
            for steps in doublings(offer.steps - load if up else load) if not weights else ():
                a, b, c = (share * steps * offer.step_kw for share in offer.step_share)
                found.setdefault(self.measure.step_weight(unit, steps), []).append((unit, steps, (a, b, c)))
        return found

    def change(self, weight: int, piece: Piece, sign: int) -> None:
        """Add (sign 1) or remove (sign -1) one piece."""
        unit, change, (a, b, c) = piece
        self.loads[unit] += sign * change
        self.steps[unit] += sign * weight
        if self.measure.slack and not self.measure.weights[unit]:
            self.steps[unit] = self.measure.step_weight(unit, self.loads[unit])
        phases = self.phases
        phases[0], phases[1], phases[2] = phases[0] + sign * a, phases[1] + sign * b, phases[2] + sign * c

    def take(self, pool: Pool, parts: Mapping[int, int], sign: int) -> None:
        """Add or remove as many pieces of each weight as parts says; weak phases, idle units first."""
        for weight in sorted(parts, reverse=True):
            pieces, count = pool[weight], parts[weight]
            if count == len(pieces):
                for piece in pieces:
                    self.change(weight, piece, sign)
            elif not self.measure.uneven:
                heap = self._ranked(weight, pieces, sign)
                for _ in range(count):
                    self._take_top(heap, weight, sign)
            else:
                self._take_by_phase(weight, pieces, count, sign)

    def _take_by_phase(self, weight: int, pieces: list[Piece], count: int, sign: int) -> None:
        kinds: dict[Phases, list[Piece]] = {}
        for piece in pieces:
            kinds.setdefault(piece[2], []).append(piece)
        heaps = {phases: self._ranked(weight, alike, sign) for phases, alike in kinds.items()}
        for _ in range(count):
            key = min(heaps, key=lambda p: (round(self._spread(p, sign), 6), heaps[p][0]))
            self._take_top(heaps[key], weight, sign)
            if not heaps[key]:
                del heaps[key]

    def _ranked(self, weight: int, pieces: list[Piece], sign: int) -> list[Ranked]:
        heap = [(self._rank(piece[0], weight, sign), piece) for piece in pieces]
        heapq.heapify(heap)
        return heap

    def _take_top(self, heap: list[Ranked], weight: int, sign: int) -> None:
        """Take the first piece. A rank grows as its unit gives pieces: the top is brought up to date first."""
        while heap[0][0] < (rank := self._rank(heap[0][1][0], weight, sign)):
            heapq.heapreplace(heap, (rank, heap[0][1]))
        self.change(weight, heapq.heappop(heap)[1], sign)

    def _rank(self, unit: int, weight: int, sign: int) -> float:
        """Share of its own capacity that a unit would carry; when removing, the most loaded comes first."""
        return (sign * self.steps[unit] + (weight if sign > 0 else 0)) / self.measure.capacity[unit]

    def _spread(self, phases: Phases, sign: int) -> float:
        """Sum of squares of the phases' distance from their mean, if such a piece were changed."""
        kws = [self.phases[p] + sign * phases[p] for p in self.measure.live]
        mean = sum(kws) / len(kws)
        return sum([(kw - mean) ** 2 for kw in kws])

    def unbalance_percent(self) -> float:
        """Largest distance of a live phase's kW from their mean, in percent of the mean; 0 without load."""
        return unbalance([self.phases[p] for p in self.measure.live])


def unbalance(kws: list[float]) -> float:
    """100 max|x - mean| / mean, 0 without load: `electrical.unbalance.nema_percent` without its checks."""
    mean = sum(kws) / len(kws) if kws else 0.0
    return 100.0 * max(max(kws) - mean, mean - min(kws)) / mean if mean > 1e-9 else 0.0
