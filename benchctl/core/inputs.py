"""All that the program does not determine: the whole of it is recorded, so a run replays to the same orders."""

from dataclasses import dataclass
from enum import Enum

from benchctl.core.command import Command
from benchctl.core.orders import UnitWrites
from benchctl.core.reading import InstrumentReading, UnitReading


class Recorder(Enum):
    """The recorder's health as it was when the scan began."""

    ABSENT = "absent"  # none wanted (tests, exploration)
    OK = "ok"
    BEHIND = "behind"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Inputs:
    """Inputs of one scan. now_s is monotonic; dt_s is the time since the scan before (0 in the first)."""

    now_s: float
    dt_s: float
    units: tuple[UnitReading, ...]
    instruments: tuple[InstrumentReading, ...] = ()
    commands: tuple[Command, ...] = ()
    writes: tuple[UnitWrites, ...] = ()
    recorder: Recorder = Recorder.ABSENT
    clock_stepped_s: float = 0.0  # wall clock against monotonic since the scan before
    cut_short: bool = False  # reads were abandoned for a drop: what is missing says nothing of the units
    attached: bool | None = None  # a client is attached whose loop answers; None: nobody has to be
    stood_still_s: float = 0.0  # part of dt_s in which the computer's own clock stood still
    consoles: tuple[str, ...] = ()  # that are attached and whose loop answers
