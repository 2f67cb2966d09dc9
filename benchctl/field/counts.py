"""How the requests to one device ended, counted as their answers come in."""

from dataclasses import dataclass

from benchctl.core.orders import Write
from benchctl.field.answer import GATEWAY_CODES, Answer, Got

# Exceptions after which a write may yet be in force: acknowledged but slow, or a gateway that heard nothing back.
PERHAPS_DONE = frozenset({5}) | GATEWAY_CODES


@dataclass(slots=True)
class Counts:
    """Requests to one device and how they ended."""

    reads: int = 0
    writes: int = 0
    timeouts: int = 0
    exceptions: int = 0
    bad: int = 0

    def read(self, answer: Answer) -> Answer:
        """Count the answer to a read, and hand it on."""
        if answer.got is not Got.NOT_ASKED:
            self.reads += 1
            self._count(answer)
        return answer

    def write(self, answer: Answer) -> Write:
        """Count the answer to a write. Only an acknowledgement is done, only a refusal is surely not in force."""
        if answer.got is Got.NOT_ASKED:
            return Write.NOT_SENT
        self.writes += 1
        self._count(answer)
        if answer.got is Got.OK:
            return Write.DONE
        refused = answer.got is Got.EXCEPTION and answer.code not in PERHAPS_DONE
        return Write.REFUSED if refused else Write.UNKNOWN

    def _count(self, answer: Answer) -> None:
        if answer.got is Got.OK:
            return
        self.timeouts += answer.got is Got.SILENT
        self.exceptions += answer.got is Got.EXCEPTION
        self.bad += answer.got is Got.BAD
