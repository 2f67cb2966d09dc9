"""A bench as whoever watches it sees it: what it has told, how old that is, and whether anything of it is of now."""

from dataclasses import dataclass
from enum import Enum

from benchctl.core.reading import Maybe
from benchctl.mqtt.payloads import Event, Live, Plate, Presence, Run, Standing, State


class Life(Enum):
    """Whether what is known of a bench is of now. Only LIVE is."""

    LIVE = "live"  # its snapshots come
    WAITING = "waiting"  # it is said to be there; its first snapshot has still to come
    LATE = "late"  # snapshots come, but were sent long ago
    STALE = "stale"  # none has come for a while
    SILENT = "silent"  # its run host is there, and has not heard its bench for a while
    LOST = "lost"  # none has come for long, or the broker misses it
    LEFT = "left"  # it has said farewell


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """One bench. key: world and name, as in its topics.

    age_s: of the figures, `live` where there is one, else `state`; None where there are none. why: what is wrong, in
    words, empty while nothing is. clock_s: how far its clock is behind ours (negative: ahead), as far as that is known.
    missed: snapshots that did not come in this session. flaw: the last message of it that was not used, and why.
    """

    key: str
    name: str
    rehearsal: bool
    life: Life
    why: str = ""
    age_s: Maybe = None
    clock_s: Maybe = None
    missed: int = 0
    flaws: int = 0
    flaw: str = ""
    presence: Presence | None = None
    plate: Plate | None = None
    live: Live | None = None
    state: State | None = None
    standing: Standing | None = None
    run: Run | None = None
    event: Event | None = None

    @property
    def told(self) -> "Live | State | None":
        """What its figures are from: the last snapshot, else what the broker has kept."""
        return self.live or self.state

    @property
    def is_live(self) -> bool:
        """True when its figures are of now."""
        return self.life is Life.LIVE and self.live is not None
