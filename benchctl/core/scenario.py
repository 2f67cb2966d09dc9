"""A scenario's nouns: timed faults and answers for a rehearsal or the simulator. The rows below are the closed list."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FaultKind:
    """One way in which the simulated world can misbehave. on: "unit", "instrument", "source", "cable" (an endpoint)."""

    name: str
    on: str
    value: str  # meaning and unit of the value; empty = takes none
    text: str


# fmt: off
FAULTS: tuple[FaultKind, ...] = (
    FaultKind("fan fails", "unit", "", "the fan stops although it is ordered on"),
    FaultKind("airflow proof stuck", "unit", "1 or 0", "the airflow switch no longer follows the fan"),
    FaultKind("inlet blocked", "unit", "share of airflow left, 0 to 1", "air is short, the exhaust gets hotter"),
    FaultKind("fan supply lost", "unit", "", "no supply at the fans"),
    FaultKind("over-temperature", "unit", "", "the unit's own over-temperature trip operates"),
    FaultKind("contactor will not close", "unit", "stage number, from 1", "an ordered stage stays open"),
    FaultKind("contactor will not open", "unit", "stage number, from 1", "a stage stays closed (welded)"),
    FaultKind(
        "fuse blown",
        "unit",
        "stage number, then phase as 1, 2, 3 after the point: 2.3 = stage 2 phase C",
        "one phase of one stage draws nothing",
    ),
    FaultKind("feedback wrong", "unit", "stage number, from 1", "a stage reads back the opposite of what it does"),
    FaultKind("local", "unit", "", "somebody puts the unit under its own panel"),
    FaultKind("emergency stop", "unit", "", "somebody presses the unit's emergency stop"),
    FaultKind("restarts", "unit", "", "the unit restarts: load off, set points lost"),
    FaultKind("mute", "unit", "", "the unit answers nothing any more"),
    FaultKind("busy", "unit", "exception code", "the unit answers every request with that exception"),
    FaultKind("ignores writes", "unit", "", "writes are acknowledged but change nothing"),
    FaultKind("refuses writes", "unit", "exception code", "writes are answered with that exception"),
    FaultKind("other master", "unit", "kW", "somebody else writes a load"),
    FaultKind("swapped", "unit", "", "another unit of the same type answers in its place"),
    FaultKind("temperature sensor lost", "unit", "", "the exhaust sensor reads as not available"),
    FaultKind("temperature sensor frozen", "unit", "", "the exhaust sensor keeps its value"),
    FaultKind("watchdog dead", "unit", "", "the unit's own watchdog does not drop its load"),
    FaultKind("meter frozen", "instrument", "", "the meter keeps its values"),
    FaultKind("meter lost", "instrument", "", "the meter answers nothing"),
    FaultKind("transformer reversed", "instrument", "phase, 1 to 3", "a current transformer is turned round"),
    FaultKind(
        "transformers exchanged", "instrument", "two phases: 12, 13 or 23", "two current transformers changed places"
    ),
    FaultKind("wrong ratio", "instrument", "factor", "amps and kW are wrong by a factor"),
    FaultKind("volts lost at meter", "instrument", "", "hertz and volts read as nothing while the source runs"),
    FaultKind("volts sag", "source", "percent of rated", "the source's volts move to this"),
    FaultKind("hertz low", "source", "percent of rated", "the source's speed reference moves to this"),
    FaultKind("phase lost", "source", "phase, 1 to 3", "one phase has no volts"),
    FaultKind("source stops", "source", "", "the set stops"),
    FaultKind("power limited", "source", "share of rated kW, 0 to 1", "fuel or air is short"),
    FaultKind("site needs the set", "source", "", "the contact that tells so closes"),
    FaultKind("site load", "source", "kW", "the site's own load moves to this"),
    FaultKind("cut", "cable", "", "the connection is lost and cannot be made again"),
    FaultKind("refuses", "cable", "", "connections are refused"),
    FaultKind("delay", "cable", "s", "every reply comes late by this"),
    FaultKind("loses replies", "cable", "share, 0 to 1", "replies vanish at random"),
    FaultKind("garbles replies", "cable", "share, 0 to 1", "replies are damaged at random"),
)
# fmt: on

FAULT_BY_NAME: dict[str, FaultKind] = {f.name: f for f in FAULTS}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault at one time. at_s counts from the simulator's start; for_s = None lasts to the end.

    on: name of a unit or instrument of the site, "source", or "HOST:PORT" of an endpoint. during: if set, at_s counts
    from the moment the program reaches that segment number (from 1), which only a rehearsal can know.
    """

    at_s: float
    fault: str
    on: str
    value: float | None = None
    for_s: float | None = None
    during: int | None = None
    line: int = 0


@dataclass(frozen=True, slots=True)
class Answer:
    """What the rehearsed operator does. at_s as in Fault; to = "prompts" answers each prompt after_s after it opens."""

    verb: str  # a core.command.Verb value
    at_s: float | None = None
    to: str = ""  # "prompts": every prompt, or part of a prompt's text
    after_s: float = 3.0
    text: str = ""
    value: float | None = None
    unit: str = ""
    during: int | None = None
    line: int = 0
    why: str = ""  # reason, for overrides and the like


@dataclass(frozen=True, slots=True)
class Scenario:
    """Faults and answers, in the order of the file."""

    name: str = "none"
    title: str = ""
    faults: tuple[Fault, ...] = ()
    answers: tuple[Answer, ...] = ()
