"""Trading stages between phases, where single-phase stages leave the phases of the source too far apart.

Theory. Two ways, and the better result stays. Trades: from a set at the level, exchange one or two closed
pieces for one or two open ones while the level stays as good, always the exchange that helps most. Phase by
phase: a share of the level is made by stages that load all phases alike, and each phase on its own makes a
third of the rest. Both are deterministic, and a set that no trade can better stays as it is, so asking again
moves nothing.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from itertools import combinations_with_replacement

from benchctl.core.draft import Draft, Phases, Piece, Pool, unbalance
from benchctl.core.levels import Level
from benchctl.core.sums import Sums, at_least, at_most, nearest, sums_of

_MOST_TRADES = 64
_MOST_HANDS = 120  # hands of two are tried against hands of two only where there are no more of them
_MOST_SHARES = 48  # how many shares of the stages that load all phases alike are tried
_GAIN = 1e-6  # percent; less is floating point noise

Weighed = tuple[tuple[int, Piece], ...]  # pieces with their weights
Hand = tuple[int, Weighed, Phases]  # weight of one or two pieces, the pieces, their kW on phases


def balanced(draft: Draft, fresh: Draft, level: Level, limit_percent: float) -> Draft:
    """The draft with its phases traded to within the limit, or the best of what can be found for it.

    fresh: a draft at the level that does not depend on what is closed now. Moves nothing where nothing helps.
    """
    best = _traded(draft, level, limit_percent)
    if best.unbalance_percent() <= limit_percent:
        return best
    for other in (fresh, _by_phase(fresh, level)):
        if other is not None:
            traded = _traded(other, level, limit_percent)
            if traded.unbalance_percent() < best.unbalance_percent() - _GAIN:
                best = traded
    return best


def _traded(draft: Draft, level: Level, limit_percent: float) -> Draft:
    draft = draft.copy()
    for _ in range(_MOST_TRADES):
        trade = _best_trade(draft, level) if draft.unbalance_percent() > limit_percent else None
        if trade is None:
            break
        for weight, piece in trade[0]:
            draft.change(weight, piece, -1)
        for weight, piece in trade[1]:
            draft.change(weight, piece, 1)
    return draft


def _best_trade(draft: Draft, level: Level) -> tuple[Weighed, Weighed] | None:
    """The exchange of closed for open pieces that helps most, of the smallest exchanges that help at all."""
    shut, free = _hands(draft, up=False), _hands(draft, up=True)
    for give, take in ((0, 0), (0, 1), (1, 0), (1, 1)):
        if give and take and max(len(shut[1]), len(free[1])) > _MOST_HANDS:
            break
        found = _best_exchange(draft, level, shut[give], free[take])
        if found is not None:
            return found
    return None


def _best_exchange(draft: Draft, level: Level, shut: list[Hand], free: list[Hand]) -> tuple[Weighed, Weighed] | None:
    low, high, live = level.low - draft.step, level.high - draft.step, draft.measure.live
    weights = [hand[0] for hand in free]
    best, found = draft.unbalance_percent() - _GAIN, None
    for lost, out, lost_kw in shut:
        for i in range(bisect_left(weights, low + lost), bisect_right(weights, high + lost)):
            gained_kw = free[i][2]
            after = unbalance([draft.phases[p] + gained_kw[p] - lost_kw[p] for p in live])
            if after < best:
                best, found = after, (out, free[i][1])
    return found


def _hands(draft: Draft, up: bool) -> tuple[list[Hand], list[Hand]]:
    """Hands of one piece and of two, by weight. Of pieces alike two stand for all."""
    kinds: dict[tuple[int, Phases], list[Piece]] = {}
    for weight, pieces in draft.pool(up).items():
        for piece in pieces:
            kinds.setdefault((weight, piece[2]), []).append(piece)

    def share(piece: Piece) -> tuple[float, int, int]:
        loaded = draft.steps[piece[0]] / draft.measure.capacity[piece[0]]
        return loaded if up else -loaded, piece[0], piece[1]

    first = [(weight, sorted(pieces, key=share)[:2]) for (weight, _), pieces in sorted(kinds.items())]
    ones: list[Hand] = [(weight, ((weight, pieces[0]),), pieces[0][2]) for weight, pieces in first]
    twos: list[Hand] = []
    for (w1, p1), (w2, p2) in combinations_with_replacement(first, 2):
        if p1 is p2 and len(p1) < 2:
            continue
        one, two = p1[0], p2[0] if p1 is not p2 else p1[1]
        (a, b, c), (d, e, f) = one[2], two[2]
        twos.append((w1 + w2, ((w1, one), (w2, two)), (a + d, b + e, c + f)))
    return ones, sorted(twos, key=lambda hand: hand[0])


def _by_phase(fresh: Draft, level: Level) -> Draft | None:
    """A set that makes a share of the level by stages alike on all phases and the rest phase by phase."""
    empty = Draft(fresh.measure, (0,) * len(fresh.loads))
    pools = _phase_pools(empty)
    sums = [sums_of((w, len(pieces)) for w, pieces in pool.items()) for pool in pools]
    best: tuple[float, tuple[int, ...]] | None = None
    alike = at_most(sums[-1].bits, level.high)
    for _ in range(_MOST_SHARES):
        if alike is None:
            break
        for totals in _thirds(sums[:-1], level.low - alike, level.high - alike):
            percent = unbalance([total + alike / len(totals) for total in totals])
            if best is None or percent < best[0]:
                best = percent, (*totals, alike)
        alike = at_most(sums[-1].bits, alike - 1)
    if best is None:
        return None
    for pool, made, total in zip(pools, sums, best[1], strict=True):
        empty.take(pool, made.parts(total), 1)
    return empty


def _phase_pools(empty: Draft) -> list[Pool]:
    """Pieces of each live phase alone, and last those of all live phases; others are left to trades."""
    live = empty.measure.live
    pools: list[Pool] = [{} for _ in range(len(live) + 1)]
    for weight, pieces in empty.pool(up=True).items():
        for piece in pieces:
            loaded = [i for i, phase in enumerate(live) if piece[2][phase] > 0.0]
            if len(loaded) in (1, len(live)):
                pools[loaded[0] if len(loaded) == 1 else -1].setdefault(weight, []).append(piece)
    return pools


def _thirds(sums: list[Sums], low: int, high: int) -> Iterator[tuple[int, ...]]:
    """Sums, one of each, that are near to each other and together in [low, high]."""
    if high < 0:
        return
    low = max(low, 0)
    share = (low + high) // 2 // len(sums)
    if len(sums) == 1:
        found = nearest(sums[0].bits, share, low, high)
        if found is not None:
            yield (found,)
        return
    parts = {at_most(sums[0].bits, share), at_least(sums[0].bits, share)}
    for part in sorted(part for part in parts if part is not None):
        for rest in _thirds(sums[1:], low - part, high - part):
            yield part, *rest
