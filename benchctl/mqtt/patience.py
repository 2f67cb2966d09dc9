"""How long to wait before a broker is tried again. Pure; all of it common practice, no source.

The wait doubles from one second to eight and is drawn from its upper half, so that two hundred benches do not come
back in the same moment, but all within ten seconds. A broker that lets in and throws out again and again (another
client goes by the same name, or its rules forbid something) is told once, and the wait goes on to double, to a minute.
"""

from dataclasses import dataclass, field

FIRST_S, LONGEST_S, THROWN_OUT_S = 1.0, 8.0, 60.0
LASTED_S = 60.0  # a connection that lived so long was a good one
THROWN_OUT = 3  # lost connections within LASTED_S that are more than bad luck


@dataclass(slots=True)
class Patience:
    """Of one publisher or listener. Times in seconds of a clock that does not go back."""

    failures: int = 0  # tries in a row that did not come through
    thrown_out: int = 0  # connections in a row that did not last
    _losses_s: list[float] = field(default_factory=list)
    _warned: bool = False

    def wait_s(self, chance: float) -> float:
        """Seconds until the next try. chance: a random number from 0 to 1."""
        longest_s, count = LONGEST_S, self.failures
        if self.thrown_out >= THROWN_OUT:
            longest_s, count = THROWN_OUT_S, self.thrown_out
        return min(longest_s, FIRST_S * 2.0 ** min(count, 10)) * (0.5 + 0.5 * chance)

    def failed(self) -> bool:
        """A try did not come through. True when that is worth a word: the first time, and at twice as many each."""
        self.failures += 1
        return self.failures & (self.failures - 1) == 0

    def connected(self) -> None:
        """A try has come through."""
        self.failures = 0

    def lost(self, now_s: float, lasted_s: float) -> bool:
        """A connection is lost. True once when this happens again and again: somebody should know."""
        self.thrown_out = 0 if lasted_s >= LASTED_S else self.thrown_out + 1
        self._losses_s = [at_s for at_s in (*self._losses_s, now_s) if now_s - at_s <= LASTED_S]
        warned, self._warned = self._warned, self.thrown_out > 0 and (self._warned or self._often)
        return self._warned and not warned

    @property
    def _often(self) -> bool:
        return len(self._losses_s) >= THROWN_OUT
