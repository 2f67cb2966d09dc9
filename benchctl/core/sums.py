"""Which sums a set of weights can make: the arithmetic under levels and the choice of stages.

Theory. A set of whole numbers is kept as the bits of one integer: bit k is set when k can be made. Adding a
weight w that may be used once is `bits | bits << w`; n equal weights take about log2(n) such steps (1, 2, 4,
... of them at a time). So every sum of a chain is known exactly, not sampled, in a few dozen operations on
long integers. `partial[i]` keeps what the i smallest weights alone can make: walking it downward tells which
weights make a given sum, largest first, which also keeps the number of pieces small.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache


@dataclass(frozen=True, slots=True, eq=False)
class Sums:
    """Everything that weights can make. weights: distinct, ascending, positive; counts: uses of each."""

    weights: tuple[int, ...]
    counts: tuple[int, ...]
    partial: tuple[int, ...]

    @property
    def bits(self) -> int:
        """Bit k is set when k can be made; bit 0 always is."""
        return self.partial[-1]

    def parts(self, total: int) -> dict[int, int]:
        """How many of each weight make total, largest first. Raises ValueError if total cannot be made."""
        if total < 0 or not self.bits >> total & 1:
            raise ValueError(f"{total} is not among the sums")
        found: dict[int, int] = {}
        for i in range(len(self.weights) - 1, -1, -1):
            weight, below = self.weights[i], self.partial[i]
            count = min(self.counts[i], total // weight)
            while not below >> (total - count * weight) & 1:
                count -= 1
            if count:
                found[weight] = count
                total -= count * weight
        return found


def doublings(count: int) -> list[int]:
    """1, 2, 4, ... and a rest: subsets of these make every whole number from 0 to count."""
    found, share = [], 1
    while count > 0:
        found.append(min(share, count))
        count -= share
        share *= 2
    return found


def sums_of(pieces: Iterable[tuple[int, int]], limit: int | None = None) -> Sums:
    """Sums of (weight, count) pieces with distinct positive weights; sums above limit are left out."""
    ordered = sorted(pieces)
    mask = -1 if limit is None else (1 << limit + 1) - 1
    bits, partial = 1, [1]
    for weight, count in ordered:
        for share in doublings(count):
            bits |= bits << weight * share & mask
        partial.append(bits)
    return Sums(tuple(w for w, _ in ordered), tuple(n for _, n in ordered), tuple(partial))


@lru_cache(maxsize=32)
def all_sums(pieces: tuple[tuple[int, int], ...]) -> Sums:
    """`sums_of` all pieces, remembered: a chain's levels are asked for in every scan and seldom change."""
    return sums_of(pieces)


def at_most(bits: int, x: int) -> int | None:
    """The largest member not above x; None if there is none."""
    found = (bits & (1 << x + 1) - 1).bit_length() - 1 if x >= 0 else -1
    return found if found >= 0 else None


def at_least(bits: int, x: int) -> int | None:
    """The smallest member not below x; None if there is none."""
    x = max(x, 0)
    rest = bits >> x
    return x + (rest & -rest).bit_length() - 1 if rest else None


def nearest(bits: int, aim: float, low: int, high: int) -> int | None:
    """The member of [low, high] nearest to aim; of two equally near ones the lower. None if there is none."""
    lower, upper = at_most(bits, min(int(aim // 1), high)), at_least(bits, max(-int(-aim // 1), low))
    if lower is not None and lower < low:
        lower = None
    if upper is not None and upper > high:
        upper = None
    if lower is None or upper is None:
        return upper if lower is None else lower
    return lower if aim - lower <= upper - aim + 1e-9 else upper
