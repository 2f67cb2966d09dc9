"""The blocks of a draft: sudden changes of load, as large as the rules ask and the site allows."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from benchctl.core.criteria import criterion
from benchctl.core.program import Block, Hold, Ramp, Segment, Target
from benchctl.core.ruleset import Direction, RuleSet, Transient
from benchctl.core.site import Site
from benchctl.planning.judge_lines import mark

PROOF = (50.0, 80.0, 100.0)  # blocks by which a public works specification has class G2 proven (S17)
PROOF_STEP = 20.0
EQUAL = (100.0, 50.0, 25.0, 20.0, 10.0, 5.0)  # of equal blocks, the largest that the site allows is taken
SETTLED = 12.0  # recovery times after a block, so that the settled value is seen; common practice
SHORTEST_S = 60.0


@dataclass(frozen=True, slots=True)
class Part:
    """A segment, and what a reader of the file is told before it."""

    segment: Segment
    says: tuple[str, ...] = ()


def blocks(rules: RuleSet, site: Site, was: float) -> Iterator[Part]:
    """From no load up in blocks and down again, for rule sets that judge sudden changes. was: percent before."""
    judged = [r for r in rules.rules if isinstance(r, Transient)]
    if not judged:
        return
    hold_s = max([SHORTEST_S, *(30.0 * math.ceil(SETTLED * r.recovery_s / 30.0) for r in judged)])
    up, down = ([r for r in judged if r.direction is way] for way in (Direction.UP, Direction.DOWN))
    levels = _levels(site, max((r.step_percent for r in up), default=0.0))
    if was > 0.0:
        over_s = max(30.0, 30.0 * math.ceil(was / 12.5 - 0.1))
        yield Part(Ramp(Target(0.0, percent=True), over_s), ("To no load, before the blocks.",))
        yield Part(Hold(hold_s, label="no load"))
    says = tuple(_says(rule) for rule in up)
    for level in levels:
        yield Part(Block(Target(level, percent=True), label=f"block to {level:g} %"), says)
        yield Part(Hold(hold_s))
        says = ()
    yield from _down(site, down, levels, hold_s)


def _down(site: Site, rules: list[Transient], levels: tuple[float, ...], hold_s: float) -> Iterator[Part]:
    """Down in the same blocks where the site allows them and the rules ask no more, else one declared rejection."""
    if not rules:
        return
    most = site.limits.largest_block_down_percent
    largest = max(b - a for a, b in pairwise((0.0, *levels)))
    says = [_says(rule) for rule in rules]
    if max(r.step_percent for r in rules) <= min(most, largest) and largest <= most:
        for level in (*reversed(levels[:-1]), 0.0):
            yield Part(Block(Target(level, percent=True), label=f"block to {level:g} %"), tuple(says))
            yield Part(Hold(hold_s))
            says = []
        return
    says.append("The whole load comes off at once: the set may trip on over-speed. Agree it with the maker before, and")
    says.append("put a wait before it where somebody must be clear of the set.")
    yield Part(Block(Target(0.0, percent=True), declared_rejection=True, label="rejection of full load"), tuple(says))
    yield Part(Hold(hold_s))


def _levels(site: Site, step: float) -> tuple[float, ...]:
    """Levels of the blocks up to 100 %: none larger than the site's largest block."""
    most = site.limits.largest_block_up_percent
    if step <= PROOF_STEP and most >= PROOF[0]:
        return PROOF
    size = next((s for s in EQUAL if s <= most), EQUAL[-1])
    return tuple(size * i for i in range(1, round(100.0 / size) + 1))


def _says(rule: Transient) -> str:
    return f"{rule.key}: {criterion(rule)} [{mark(rule.origin)}]"
