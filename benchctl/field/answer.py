"""What came back for one planned block: words, or why there are none."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from benchctl.core.reading import Outcome


class Got(Enum):
    """How one read request ended."""

    NOT_ASKED = 0  # resting, not due, cut short or past the deadline
    OK = 1
    EXCEPTION = 2  # the device refused; Answer.code is its Modbus exception code
    SILENT = 3
    BAD = 4  # a reply that failed our checks of function, length, unit or transaction
    DOWN = 5  # no connection, or it was lost while waiting


@dataclass(frozen=True, slots=True)
class Answer:
    """One block's answer.

    words: registers as received, or bits 16 a word, the lowest address in bit 0 of word 0.
    holes: offsets in the block that the device declared unavailable; their words are 0 and mean nothing.
    """

    got: Got
    words: tuple[int, ...] = ()
    code: int = 0
    holes: tuple[int, ...] = ()


Answers = tuple[Answer, ...]  # one per block of a device's plan

NOT_ASKED = Answer(Got.NOT_ASKED)
SILENT = Answer(Got.SILENT)
BAD = Answer(Got.BAD)
DOWN = Answer(Got.DOWN)

GATEWAY_CODES = frozenset({10, 11})  # the gateway has no path to the unit, or the unit does not answer it


def outcome(answers: Answers, always: Sequence[int]) -> Outcome:
    """How the reads of a device ended; `always` are the indices of the blocks that every scan asks for."""
    for index, answer in enumerate(answers):
        if (answer.got is not Got.OK or answer.holes) and (answer.got is not Got.NOT_ASKED or index in always):
            break
    else:  # nearly every scan of nearly every device ends here
        heard = always and always[0] < len(answers) and answers[always[0]].got is Got.OK
        return Outcome.OK if heard else Outcome.NOT_ASKED
    asked = [a.got for a in answers if a.got is not Got.NOT_ASKED]
    if not asked:
        return Outcome.NOT_ASKED
    if Got.OK in asked:
        return Outcome.PART
    if any(a.got is Got.EXCEPTION and a.code in GATEWAY_CODES for a in answers):
        return Outcome.GATEWAY
    if Got.EXCEPTION in asked or Got.BAD in asked:
        return Outcome.REFUSED
    return Outcome.DOWN if Got.SILENT not in asked else Outcome.SILENT
