"""When a controller ends, and what a signal asks of it.

The first signal asks for an unload: the cool-down is paid, then the process ends. The second drops, and the process
ends as soon as load is read back off: what cool-down is left is then up to the units, whose fans keep their last order.
A terminal that goes away is not a reason to do anything: attendance counts.
"""

from dataclasses import dataclass

from benchctl.controller.session import GONE_S, at_rest, chain_gone
from benchctl.controller.terms import IDLE_S
from benchctl.core.command import Command, Verb
from benchctl.core.decision import Frame
from benchctl.core.site import Site


@dataclass(slots=True)
class Ending:
    """Counts the time in which nobody needs the controller, and the signals."""

    site: Site
    idle_s: float = IDLE_S
    asked: int = 0  # signals that asked it to end
    _since_s: float | None = None

    def signal(self, name: str) -> Command:
        """What a signal that asks to end gives to the bench."""
        self.asked += 1
        verb = Verb.UNLOAD if self.asked == 1 else Verb.DROP
        return Command(verb, f"signal {name}", "the process was asked to end")

    def over(self, frame: Frame | None, guests: int, now_s: float) -> str:
        """Why it should end now; empty while it should not. now_s: any clock that does not go back."""
        resting = frame is None or at_rest(frame)
        if self.asked and resting:
            return "asked to end, no load on, cool-down paid"
        if self.asked > 1 and frame is not None and not frame.decision.seen.loaded:
            return "asked twice to end, load read back off"
        if self.asked and frame is not None and chain_gone(frame, self.site, GONE_S):
            return "asked to end; no unit has answered for longer than the watchdogs take: look at the units"
        if not resting or guests:
            self._since_s = None
            return ""
        if self._since_s is None:
            self._since_s = now_s
        return "nobody needs it" if now_s - self._since_s >= self.idle_s else ""
