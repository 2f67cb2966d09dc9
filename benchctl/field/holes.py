"""Addresses that a map declares and a device does not have: found by halves, read around, told as holes."""

from collections.abc import Callable, Generator, Sequence
from typing import TypeVar

from benchctl.core.registers import Space
from benchctl.field.answer import Answer, Got
from benchctl.field.modbus import Question
from benchctl.field.points import Block

NO_SUCH_ADDRESS = 2

T = TypeVar("T")
Steps = Generator[Question, Answer, T]  # questions one by one, given the answers; what came of it
Ask = Callable[[Block], Steps[Answer]]  # one read request


def existing(
    ask: Ask,
    block: Block,
    values: Sequence[tuple[int, int]],
    absent: list[tuple[Space, int]],
) -> Steps[tuple[Block, ...] | None]:
    """The parts of a refused block that the device does answer. None: not found out.

    values: (first, end) addresses of the values in the block. absent: addresses that do not exist are added, each once.
    """
    half = len(values) // 2
    found: list[Block] = []
    for part in (values[:half], values[half:]):
        run = Block(block.space, part[0][0], max(end for _, end in part) - part[0][0])
        answer = yield from ask(run)
        if answer.got is Got.OK:
            found.append(run)
        elif answer.got is not Got.EXCEPTION or answer.code != NO_SUCH_ADDRESS:
            return None
        elif len(part) == 1:
            absent += [(block.space, a) for a in range(*part[0]) if (block.space, a) not in absent]
        else:
            inner = yield from existing(ask, block, part, absent)
            if inner is None:
                return None
            found += inner
    return tuple(found)


def read_parts(ask: Ask, block: Block, runs: Sequence[Block]) -> Steps[Answer]:
    """One answer from the parts of a block; what lies between them are its holes."""
    bits = block.space.bits
    places = [0] * block.count
    known = [False] * block.count
    for run in runs:
        answer = yield from ask(run)
        if answer.got is not Got.OK:
            return answer
        for i in range(run.count):
            at = run.first - block.first + i
            places[at] = answer.words[i >> 4] >> (i & 15) & 1 if bits else answer.words[i]
            known[at] = True
    words = (
        tuple(sum(b << i for i, b in enumerate(places[n : n + 16])) for n in range(0, block.count, 16))
        if bits
        else tuple(places)
    )
    return Answer(Got.OK, words, holes=tuple(i for i, k in enumerate(known) if not k))
