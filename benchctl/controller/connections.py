"""What is wrong with the connections to the devices, told in words while the bench goes on.

`decide` sees that a unit does not answer, not why. Why matters to whoever stands before it: a cable, a port, or another
master that takes the only connection for itself.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from benchctl.core.decision import Event, Frame
from benchctl.core.site import Site

QUIET_S = 60.0  # without any trouble on a connection: then the next is a new one

Troubles = Mapping[tuple[str, ...], tuple[int, str]]


@dataclass(slots=True)
class _Told:
    """Of one connection. seen: its count when last looked; since: its count when this trouble began."""

    seen: int = 0
    since: int = 0
    words: str = ""
    next: int = 1  # how many there must be before it is told again
    at_s: float = 0.0


class Connections:
    """A listener. troubles: as `field.chain.Chain` counts them; tell: takes an event, as `Engine.note` does.

    A trouble is told when it begins, when its words change, and each time there are twice as many: whoever fights for
    a connection makes them by the second.
    """

    def __init__(self, site: Site, troubles: Callable[[], Troubles], tell: Callable[[Event], None]) -> None:
        self._troubles, self._tell = troubles, tell
        self._units = {unit.name: index for index, unit in enumerate(site.units)}
        self._kept: dict[tuple[str, ...], _Told] = {}

    def listen(self, frame: Frame) -> None:
        """A scan is over. In the engine's thread."""
        for names, (count, words) in self._troubles().items():
            kept = self._kept.get(names)
            if count != (kept.seen if kept else 0):
                self._count(names, kept or _Told(), count, words, frame.inputs.now_s)

    def _count(self, names: tuple[str, ...], kept: _Told, count: int, words: str, now_s: float) -> None:
        self._kept[names] = kept
        if words != kept.words or now_s - kept.at_s >= QUIET_S:
            kept.since, kept.words, kept.next = kept.seen, words, 1
        kept.seen, kept.at_s = count, now_s
        times = count - kept.since
        if times >= kept.next:
            kept.next = 2 * times
            unit = self._units.get(names[0], -1) if len(names) == 1 else -1
            often = f" ({times} times)" if times > 1 else ""
            self._tell(Event("connection", f"{', '.join(names)}: {words}{often}", unit))
