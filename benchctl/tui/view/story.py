"""What has happened, as far as a console remembers it: a bounded list of events, and since when each alarm stands."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchctl.tui.view.picture import Told

KEPT = 2000


@dataclass(slots=True)
class Story:
    """The newest events, the newest last."""

    events: "deque[Told]" = field(default_factory=lambda: deque(maxlen=KEPT))

    def add(self, told: "Told") -> None:
        """One event more."""
        self.events.append(told)

    def before(self, earlier: "Iterable[Told]") -> None:
        """Put events before all that is kept: what happened before this console came. Known ones are left out."""
        known = {(t.number, t.what, t.text) for t in self.events}
        fresh = [t for t in earlier if (t.number, t.what, t.text) not in known]
        self.events = deque([*fresh, *self.events], maxlen=KEPT)
