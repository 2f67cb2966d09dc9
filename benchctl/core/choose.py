"""Which stages make up the level: from the stages that are closed now to those that shall be.

Theory. The level is chosen first and without regard to history (`best_level`); every level less than half a
smallest stage away from it, on the allowed side, is as good. Among the sets of stages that give such a level
these come first:

1. the present set: nothing moves;
2. sets reached by closings only when rising, by openings only when falling, the fewest pieces first;
3. sets that take the least kW the other way as well: the load swings by that for a moment.

Two sets that differ by openings only, or by closings only, are at least a smallest stage apart, so at most
one of them is within half a stage of the level: asked again for the same target, rule 1 applies and nothing
moves. Pieces of equal weight are taken so that phases balance and units share alike (`core/draft.py`). Where
single-phase stages leave the phases further apart than the limit, `core/balance.py` trades some.
"""

import math
from bisect import bisect_left
from dataclasses import dataclass
from functools import lru_cache

from benchctl.core.balance import balanced
from benchctl.core.draft import Draft, Pool
from benchctl.core.levels import Level, level_on
from benchctl.core.measure import Measure, measure
from benchctl.core.offer import Offer
from benchctl.core.program import Rounding
from benchctl.core.sums import nearest, sums_of

Parts = dict[int, int]  # weight -> how many


@dataclass(frozen=True, slots=True)
class Choice:
    """The loads of all units in order of the offers, and what they give.

    error_kw = level_kw - target. short: a minimum that cannot be reached. unbalance_percent: of the phases
    that are offered, largest distance from their mean in percent of the mean. moves: contactors switched and
    set points written.
    """

    loads: tuple[int, ...]
    level_kw: float
    error_kw: float
    short: bool
    phase_kw: tuple[float, float, float]
    unbalance_percent: float
    moves: int


def choose(
    offers: tuple[Offer, ...],
    present: tuple[int, ...],
    target_kw: float,
    rounding: Rounding,
    *,
    ceiling_kw: float = math.inf,
    unbalance_percent: float = 10.0,
) -> Choice:
    """The stages to close for a target.

    present: the loads now, in order of the offers; what is not offered is left out. Raises ValueError when
    offers and present differ in number, or target or ceiling is not a number.
    """
    m = measure(offers)
    return _choose(m, level_on(m, target_kw, rounding, ceiling_kw), present, max(target_kw, 0.0), unbalance_percent)


@lru_cache(maxsize=16)
def _choose(m: Measure, level: Level, present: tuple[int, ...], target_kw: float, unbalance_percent: float) -> Choice:
    """The choice once the level is known, remembered: through a hold the same question comes in every scan."""
    held = Draft(m, present)
    draft = held if _within(held, level) else _reach(held, level)
    if m.uneven and draft.unbalance_percent() > unbalance_percent:
        fresh = _reach(Draft(m, (0,) * len(m.offers)), level)
        draft = balanced(draft, fresh, level, unbalance_percent)
    if draft is not held:
        draft = Draft(m, draft.loads)  # sums afresh, without the noise of changes
    a, b, c = draft.phases
    error_kw = a + b + c - target_kw
    return Choice(
        tuple(draft.loads),
        a + b + c,
        error_kw,
        level.short and error_kw < -1e-6,
        (a, b, c),
        draft.unbalance_percent(),
        _moves(m, held.loads, draft.loads),
    )


def _within(draft: Draft, level: Level) -> bool:
    slack = draft.measure.slack if level.step else 0
    return level.low - slack <= draft.step <= level.high + slack


def _moves(m: Measure, old: list[int], new: list[int]) -> int:
    changed = [(o, a ^ b) for o, a, b in zip(m.offers, old, new, strict=True) if a != b]
    return sum([bits.bit_count() if o.kws else 1 for o, bits in changed])


def _reach(held: Draft, level: Level) -> Draft:
    """A draft at the level, reached from held by the rules above."""
    gap, up = level.step - held.step, level.step > held.step
    forth = held.pool(up)
    back: Pool = {}
    low, high = sorted((abs(level.low - held.step), abs(level.high - held.step)))
    counts = {w: len(pieces) for w, pieces in forth.items()}
    plan: tuple[Parts, Parts] | None
    if not level.step:
        plan = counts, {}
    elif parts := _few(forth, low, high, abs(gap)) or _many(counts, low, high, abs(gap)):
        plan = parts, {}
    else:
        back = held.pool(not up)
        plan = _least_back(forth, back, low, high, abs(gap))
    if plan is None:  # weights of set points do not quite add up: from nothing they do
        return _reach(Draft(held.measure, (0,) * len(held.loads)), level)
    draft = held.copy()
    draft.take(back, plan[1], -1 if up else 1)
    draft.take(forth, plan[0], 1 if up else -1)
    return draft


def _few(pool: Pool, low: int, high: int, aim: int) -> Parts | None:
    """One piece, or else two, with a sum in [low, high], nearest to aim."""
    weights = sorted(pool)
    one = _closest(weights, low, high, aim)
    if one is not None:
        return {one: 1}
    best: tuple[int, int, int] | None = None
    for first in weights:
        second = _closest(weights, max(low - first, first), high - first, aim - first)
        if second is None or (second == first and len(pool[first]) < 2):
            continue
        error = abs(first + second - aim)
        if best is None or error < best[0]:
            best = error, first, second
    if best is None:
        return None
    return {best[1]: 2} if best[1] == best[2] else {best[1]: 1, best[2]: 1}


def _closest(weights: list[int], low: int, high: int, aim: int) -> int | None:
    """The weight in [low, high] nearest to aim."""
    i = bisect_left(weights, aim)
    found = [w for w in weights[max(0, i - 1) : i + 1] if low <= w <= high]
    return min(found, key=lambda w: abs(w - aim)) if found else None


def _many(counts: Parts, low: int, high: int, aim: int) -> Parts | None:
    """Any number of pieces with a sum in [low, high], nearest to aim, largest pieces first."""
    sums = sums_of(counts.items(), limit=high)
    total = nearest(sums.bits, aim, low, high)
    return None if total is None else sums.parts(total)


def _least_back(forth: Pool, back: Pool, low: int, high: int, aim: int) -> tuple[Parts, Parts] | None:
    """Pieces forth and back with a difference in [low, high]: the smallest sum back, then nearest to aim."""
    ahead = sums_of((w, len(pieces)) for w, pieces in forth.items())
    behind = sums_of((w, len(pieces)) for w, pieces in back.items())
    found = []
    for gap in range(low, high + 1):
        both = ahead.bits >> gap & behind.bits
        if both:
            found.append(((both & -both).bit_length() - 1, abs(gap - aim), gap))
    if not found:
        return None
    there, _, gap = min(found)
    return ahead.parts(there + gap), behind.parts(there)
