"""A program's segments laid out as legs: repeats unrolled, staircases as exact levels, percentages as kW.

A staircase of n steps has n + 1 levels. Its first and last level are assigned, the ones between are in whole watts,
so no level is lost or missed to floating point.
"""

import math
from dataclasses import dataclass
from enum import Enum

from benchctl.core.program import (
    Block,
    Drop,
    ExpectLoss,
    Hold,
    Program,
    Ramp,
    Repeat,
    Segment,
    Silence,
    Staircase,
    Starts,
    Wait,
)


class LegKind(Enum):
    """What the program clock does in a leg."""

    RAMP = "ramp"
    HOLD = "hold"
    BLOCK = "block"
    DROP = "drop"
    WAIT = "wait"
    LOSS = "loss of supply"


@dataclass(frozen=True, slots=True)
class Leg:
    """One stretch of program time. to_kw = None keeps the target. segment counts the file's segments from 1."""

    kind: LegKind
    segment: int
    to_kw: float | None = None
    length_s: float = 0.0
    label: str = ""
    starts: Starts = Starts.AT_ONCE
    band_percent: float | None = None
    prompt: str = ""
    timeout_s: float = 0.0
    if_silent: Silence = Silence.UNLOAD
    reapply: bool = False
    held_s: float = 0.0
    step_kw: float = 0.0
    step_s: float = 0.0
    rejection: bool = False
    line: int = 0


def staircase_kw(start_kw: float, end_kw: float, steps: int) -> tuple[float, ...]:
    """The steps + 1 levels between two kW; ends exact, interior levels in whole watts."""
    between = (round(start_kw + (end_kw - start_kw) * i / steps, 3) for i in range(1, steps))
    return (start_kw, *between, end_kw)


def lay_out(program: Program, nameplate_kw: float) -> tuple[Leg, ...]:
    """All legs of a program in order. nameplate_kw turns percentages into kW."""
    legs: list[Leg] = []
    for number, segment in enumerate(program.segments, start=1):
        _lay(segment, number, nameplate_kw, legs)
    return tuple(legs)


def _lay(segment: Segment, number: int, nameplate_kw: float, legs: list[Leg]) -> None:
    match segment:
        case Ramp(to=to, over_s=over_s, label=label, line=line):
            legs.append(Leg(LegKind.RAMP, number, to.kw(nameplate_kw), over_s, label, line=line))
        case Hold(at=at, hold_s=hold_s, label=label, line=line):
            legs.append(
                Leg(
                    LegKind.HOLD,
                    number,
                    None if at is None else at.kw(nameplate_kw),
                    hold_s,
                    label,
                    starts=segment.starts,
                    band_percent=segment.band_percent,
                    line=line,
                )
            )
        case Block(to=to, label=label, line=line):
            legs.append(
                Leg(
                    LegKind.BLOCK,
                    number,
                    to.kw(nameplate_kw),
                    label=label,
                    rejection=segment.declared_rejection,
                    line=line,
                )
            )
        case Drop(label=label, line=line):
            legs.append(Leg(LegKind.DROP, number, 0.0, label=label, rejection=True, line=line))
        case Wait(label=label, line=line):
            legs.append(
                Leg(
                    LegKind.WAIT,
                    number,
                    label=label,
                    prompt=segment.prompt,
                    timeout_s=segment.timeout_s,
                    if_silent=segment.if_silent,
                    line=line,
                )
            )
        case ExpectLoss(label=label, line=line):
            legs.append(
                Leg(
                    LegKind.LOSS,
                    number,
                    label=label,
                    timeout_s=segment.within_s,
                    reapply=segment.reapply,
                    held_s=segment.held_s,
                    step_kw=segment.step_percent * nameplate_kw / 100.0,
                    step_s=segment.step_s,
                    line=line,
                )
            )
        case Staircase():
            _lay_staircase(segment, number, nameplate_kw, legs)
        case Repeat(times=times, segments=segments):
            for _ in range(times):
                for inner in segments:
                    _lay(inner, number, nameplate_kw, legs)


def _lay_staircase(stairs: Staircase, number: int, nameplate_kw: float, legs: list[Leg]) -> None:
    levels = staircase_kw(stairs.start.kw(nameplate_kw), stairs.end.kw(nameplate_kw), stairs.steps)
    for level_kw in levels:
        legs.append(Leg(LegKind.RAMP, number, level_kw, stairs.ramp_s, stairs.label, line=stairs.line))
        legs.append(
            Leg(LegKind.HOLD, number, None, stairs.hold_s, stairs.label, starts=stairs.starts, line=stairs.line)
        )


def length_s(legs: tuple[Leg, ...]) -> float:
    """Program time of all legs in seconds, without waiting for band, operator or supply."""
    return math.fsum(leg.length_s for leg in legs)


def peak_kw(legs: tuple[Leg, ...]) -> float:
    """The largest target of all legs in kW."""
    return max((leg.to_kw for leg in legs if leg.to_kw is not None), default=0.0)
