"""Single bits of blocks → integer masks and flags, gathered in runs: twenty contactors cost one shift. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.core.registers import Point
from benchctl.field.answer import Answers, Got
from benchctl.field.points import Plan


@dataclass(frozen=True, slots=True)
class Run:
    """Neighbouring bits of one place: `(place >> shift) & mask ^ flip`, moved to bit `to`."""

    block: int
    word: int  # index of the register, or -1: the whole bit block as one integer
    shift: int
    count: int
    to: int
    flip: int

    @property
    def mask(self) -> int:
        """Ones for the bits of the run."""
        return (1 << self.count) - 1

    @property
    def next(self) -> tuple[int, int, int, int]:
        """Block, register, bit and destination of a bit that would lengthen the run."""
        return self.block, self.word, self.shift + self.count, self.to + self.count


@dataclass(frozen=True, slots=True)
class Gather:
    """Several runs that make one mask. wanted: bits that some point gives; blocks: bit i = block i is needed."""

    runs: tuple[tuple[int, int, int, int, int, int, int, int], ...]
    wanted: int
    blocks: int


def gather(plan: Plan, points: Sequence[Point | None]) -> Gather | None:
    """Prepare a mask whose bit i is points[i]. None when no point is given."""
    runs: list[Run] = []
    wanted = 0
    for to, point in enumerate(points):
        if point is None:
            continue
        wanted |= 1 << to
        block, offset = plan.place(point)
        word, shift = (-1, offset) if point.space.bits else (offset, point.bit or 0)
        flip = int(point.inverted)
        last = runs[-1] if runs else None
        if last and last.next == (block, word, shift, to):
            runs[-1] = Run(block, word, last.shift, last.count + 1, last.to, last.flip | flip << last.count)
        else:
            runs.append(Run(block, word, shift, 1, to, flip))
    if not wanted:
        return None
    flat = tuple(
        (
            r.block,
            r.word,
            r.shift,
            r.mask,
            r.to,
            r.flip,
            r.shift if r.word < 0 else r.word,
            r.shift + r.count if r.word < 0 else r.word + 1,
        )
        for r in runs
    )
    return Gather(flat, wanted, sum({1 << r.block for r in runs}))


def collect(gathered: Gather, answers: Answers) -> tuple[int, int]:
    """(bits, known) from a device's answers, one per block of its plan or fewer from the end."""
    bits = known = 0
    known_blocks = len(answers)
    for block, word, shift, mask, to, flip, first, end in gathered.runs:
        if block >= known_blocks:
            continue
        answer = answers[block]
        if answer.got is not Got.OK:
            continue
        words = answer.words
        if word >= 0:
            place = words[word]
        elif len(words) == 1:
            place = words[0]
        else:
            place = 0
            for w in reversed(words):
                place = place << 16 | w
        value, valid = place >> shift & mask ^ flip, mask
        if answer.holes:
            valid = _without(answer.holes, first, end, word, mask)
        bits |= (value & valid) << to
        known |= valid << to
    return bits, known


def _without(holes: tuple[int, ...], first: int, end: int, word: int, mask: int) -> int:
    """The mask without bits whose address the device declared unavailable."""
    for hole in holes:
        if first <= hole < end:
            mask = 0 if word >= 0 else mask & ~(1 << hole - first)
    return mask
