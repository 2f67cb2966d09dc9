"""What a person, or a program acting for one, may ask. Each command says who and why; refusals are events."""

from dataclasses import dataclass
from enum import Enum


class Verb(Enum):
    """The closed list of commands."""

    TAKE_CHARGE = "take charge"  # text: "unattended" where the site allows it
    TAKE_OVER = "take over"  # from whoever has charge; why is compulsory while that console is attached
    START = "start"  # the program of the settings
    SET_LOAD = "set load"  # value: kW, manual
    SWITCH = "switch"  # unit, text: name of a stage, value: 1 closes, 0 opens; of a set-point unit value: kW
    PAUSE = "pause"
    RESUME = "resume"
    EXTEND = "extend"  # value: seconds added to the present hold
    SKIP = "skip"  # the rest of the present segment
    ANSWER = "answer"  # text: "yes" or "no", to the open prompt
    UNLOAD = "unload"
    DROP = "drop"
    RESET = "reset"  # of latched trips; starts nothing
    ACKNOWLEDGE = "acknowledge"  # text: key of an alarm, or "all"
    SHELVE = "shelve"  # text: row of core/causes.py, unit, value: seconds, 0 ends it; why is compulsory
    ADOPT = "adopt"  # load found on becomes ours as it is read back
    CHECK_IN = "check in"  # a sign of a living person
    JOIN = "join"  # unit: take a returned unit back
    OVERRIDE = "override"  # text: what (a row of core/overrides.py); why is compulsory
    CONFIRM_FANS = "confirm fans"  # unit: after its emergency stop
    REMARK = "remark"  # text
    READING = "reading"  # text: what was read, see core/readings.py; value: seconds ago


@dataclass(frozen=True, slots=True)
class Command:
    """One command. age_s: since it was given; older than 2 s is refused, except UNLOAD and DROP.

    console: by which client it came, as the run host names it; empty for what comes by none.
    """

    verb: Verb
    who: str = "operator"
    why: str = ""
    value: float | None = None
    text: str = ""
    unit: int | None = None  # index of a unit
    age_s: float = 0.0
    console: str = ""
