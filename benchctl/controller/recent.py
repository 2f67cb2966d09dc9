"""What a host remembers of its bench while it lives, so that nobody who comes late has to read a record."""

from collections import deque
from typing import Any

from benchctl.controller.energy import Energy
from benchctl.controller.registers import Registers
from benchctl.controller.trend import Trend
from benchctl.core.decision import Frame
from benchctl.core.site import Site
from benchctl.door import messages as m


class Recent:
    """Frames come in the engine's thread, everything else in the loop of the clients."""

    def __init__(self, site: Site) -> None:
        self.trend, self.registers, self.energy = Trend(), Registers(site), Energy()
        self._events: deque[dict[str, Any]] = deque(maxlen=m.EVENTS)

    def listen(self, frame: Frame, run: object) -> None:
        """A scan of this run is over; None = of none."""
        self.trend.put(frame)
        self.registers.put(frame)
        self.energy.put(frame, run)

    def tell(self, event: m.Event) -> None:
        """Something that clients are told."""
        self._events.append(event.model_dump())

    def events(self, last: int) -> list[dict[str, Any]]:
        """The newest events, the oldest of them first."""
        return list(self._events)[-last:]
