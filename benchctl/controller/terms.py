"""What a controller is started with."""

import math
from dataclasses import dataclass
from pathlib import Path

from benchctl.core.scenario import Scenario
from benchctl.core.site import Site
from benchctl.files.broker import Broker
from benchctl.files.shelf import SourceFile
from benchctl.record.live import RESERVE_BYTES

IDLE_S = 600.0  # without load, cool-down and client: then a controller ends
FAST_IDLE_S = 5.0  # of a rehearsal as fast as it goes, which keeps a core busy even when nothing goes on


@dataclass(frozen=True, slots=True)
class Terms:
    """The site and its files, where runs go, whether the chain is real, and which broker is told.

    speed: of a rehearsal, virtual seconds a second; infinite = as fast as it goes. state: folder of locks and cards.
    """

    site: Site
    site_files: tuple[SourceFile, ...]
    scan_period_s: float
    runs: Path
    state: Path
    rehearsal: bool = False
    speed: float = 1.0
    scenario: Scenario | None = None
    seed: int = 0
    reserve_bytes: int = RESERVE_BYTES
    idle_s: float = IDLE_S
    broker: Broker | None = None

    @property
    def ends_after_s(self) -> float:
        """Real seconds without load, cool-down and client."""
        return min(self.idle_s, FAST_IDLE_S) if self.rehearsal and self.pace is None else self.idle_s

    @property
    def pace(self) -> float | None:
        """As the simulator's loop wants it: None = as fast as it goes."""
        return None if math.isinf(self.speed) else self.speed

    @property
    def needs_person(self) -> bool:
        """True where somebody must be there: with real units, and in a rehearsal that runs as they would."""
        return not self.rehearsal or self.speed == 1.0
