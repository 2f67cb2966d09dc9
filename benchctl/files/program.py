"""A program's file: the ordered segments of one test → the nouns of `core/program.py`."""

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, WithJsonSchema

from benchctl.core.program import (
    Block,
    Drop,
    ExpectLoss,
    Hold,
    LoadIs,
    Program,
    Ramp,
    Repeat,
    Rounding,
    Segment,
    Silence,
    Staircase,
    Starts,
    Target,
    Wait,
)
from benchctl.core.readings import BY_NAME
from benchctl.files.check import Duration, Load, Percent, Report, Strict, Text
from benchctl.files.fault import quoted
from benchctl.files.tree import Path

MOST_SEGMENTS = 20_000  # after repeats are written out

Begin = Literal["at once", "in band"]
Silent = Literal["unload", "go on", "stay"]
GaugeName = Annotated[Text, WithJsonSchema({"enum": list(BY_NAME)})]


class RampRow(Strict):
    """To a load over a time; 0 s is a step."""

    to: Load
    over: Duration
    label: Text | None = None


class HoldRow(Strict):
    """At the present load, or at another, for a time."""

    for_: Annotated[Duration, Field(alias="for")]
    at: Load | None = None
    starts: Begin = "at once"
    band: Percent | None = None
    continuous: bool = False
    label: Text | None = None


class BlockRow(Strict):
    """All at once to a load."""

    to: Load
    declared_rejection: bool = False
    label: Text | None = None


class DropRow(Strict):
    """Everything off at once, as a declared load rejection."""

    label: Text | None = None


class WaitRow(Strict):
    """For the operator's answer."""

    prompt: Text
    timeout: Duration
    if_silent: Silent = "unload"
    label: Text | None = None


class StaircaseRow(Strict):
    """Steps from one load to another: steps + 1 levels, each held."""

    from_: Annotated[Load, Field(alias="from")]
    to: Load
    steps: Annotated[int, Field(ge=1, le=1000)]
    hold: Duration
    ramp: Duration = 0.0
    starts: Begin = "at once"
    label: Text | None = None


class ExpectLossRow(Strict):
    """The supply is expected to go away and come back."""

    within: Duration
    then: Literal["stay closed", "re-apply"]
    held: Duration = 10.0
    step: Percent = 25.0
    every: Duration = 5.0
    label: Text | None = None


class RepeatRow(Strict):
    """Segments several times over."""

    times: Annotated[int, Field(ge=1, le=1000)]
    segments: "Annotated[list[SegmentRow], Field(min_length=1)]"
    label: Text | None = None


class SegmentRow(Strict):
    """One segment: a mapping with one key, its kind."""

    model_config = ConfigDict(json_schema_extra={"minProperties": 1, "maxProperties": 1})

    ramp: RampRow | None = None
    hold: HoldRow | None = None
    block: BlockRow | None = None
    drop: DropRow | None = None
    wait: WaitRow | None = None
    staircase: StaircaseRow | None = None
    expect_loss: ExpectLossRow | None = None
    repeat: RepeatRow | None = None


class ProgramFile(Strict):
    """A test's program. Cool-down is no segment: nothing here can shorten it."""

    title: Text
    load_is: Literal["source total", "chain"] = "chain"
    site_load: Literal["stays", "off"] = "stays"
    rounding: Literal["nearest", "at least", "at most"] = "nearest"
    start_at: Text | None = None
    check_load: bool = True
    stage_check: bool = False
    trim: bool = False
    source_cooldown: Duration | None = None
    reading_interval: Duration = 900.0
    readings: Annotated[list[GaugeName], Field(json_schema_extra={"uniqueItems": True}, default_factory=list)]
    hold_start_timeout: Duration = 60.0
    if_silent: Silent = "unload"
    rule_sets: Annotated[list[Text], Field(json_schema_extra={"uniqueItems": True}, default_factory=list)]
    segments: Annotated[list[SegmentRow], Field(min_length=1, max_length=2000)]


def program_of(report: Report) -> Program:
    """The noun of a program's file. Raises FileFault with every flaw."""
    file = report.read(ProgramFile)
    segments = _segments(report, file.segments, ("segments",))
    if written_out(segments) > MOST_SEGMENTS:
        report.at(
            ("segments",),
            f"{written_out(segments)} segments when repeats are written out, the most is {MOST_SEGMENTS}",
            key=True,
        )
    if file.reading_interval < 1:
        report.at(("reading_interval",), f"found {file.reading_interval:g} s, expected at least 1 s")
    for i, name in enumerate(file.readings):
        if name not in BY_NAME:
            report.at(("readings", i), f"found {quoted(name)}, expected one of {', '.join(BY_NAME)}")
        elif name in file.readings[:i]:
            report.at(("readings", i), f"{quoted(name)} stands in the list twice, expected once")
    for i, name in enumerate(file.rule_sets):
        if name in file.rule_sets[:i]:
            report.at(("rule_sets", i), f"{quoted(name)} stands in the list twice, expected once")
    if file.start_at is not None and not _is_moment(file.start_at):
        report.at(
            ("start_at",),
            f"{quoted(file.start_at)} is no time with its offset, expected for instance 2027-04-12T06:00:00+02:00",
        )
    report.settle()
    return Program(
        name=report.source.name,
        title=file.title,
        segments=segments,
        load_is=LoadIs(file.load_is),
        rounding=Rounding(file.rounding),
        start_at=file.start_at,
        check_load=file.check_load,
        stage_check=file.stage_check,
        trim=file.trim,
        source_cooldown_s=file.source_cooldown,
        reading_interval_s=file.reading_interval,
        readings=tuple(file.readings),
        hold_start_timeout_s=file.hold_start_timeout,
        if_silent=Silence(file.if_silent),
        rule_sets=tuple(file.rule_sets),
        site_load_off=file.site_load == "off",
    )


def written_out(segments: tuple[Segment, ...]) -> int:
    """Number of segments when repeats are written out and staircases are counted by their levels."""
    return sum(
        s.times * written_out(s.segments) if isinstance(s, Repeat) else s.steps + 1 if isinstance(s, Staircase) else 1
        for s in segments
    )


def _segments(report: Report, rows: list[SegmentRow], path: Path) -> tuple[Segment, ...]:
    segments = []
    for i, row in enumerate(rows):
        kinds = sorted(row.model_fields_set)
        if len(kinds) != 1:
            known = ", ".join(SegmentRow.model_fields)
            found = " and ".join(kinds) or "nothing"
            report.at((*path, i), f"found {found}, expected one segment: one key of {known}")
            continue
        kind = kinds[0]
        segments.append(_MAKERS[kind](report, getattr(row, kind), (*path, i, kind)))
    return tuple(segments)


def _target(load: tuple[float, bool]) -> Target:
    return Target(*load)


def _ramp(report: Report, row: RampRow, path: Path) -> Ramp:
    return Ramp(_target(row.to), row.over, row.label or "", _line(report, path))


def _hold(report: Report, row: HoldRow, path: Path) -> Hold:
    return Hold(
        row.for_,
        None if row.at is None else _target(row.at),
        Starts(row.starts),
        row.band,
        row.continuous,
        row.label or "",
        _line(report, path),
    )


def _block(report: Report, row: BlockRow, path: Path) -> Block:
    return Block(_target(row.to), row.declared_rejection, row.label or "", _line(report, path))


def _drop(report: Report, row: DropRow, path: Path) -> Drop:
    return Drop(row.label or "", _line(report, path))


def _wait(report: Report, row: WaitRow, path: Path) -> Wait:
    if row.timeout <= 0:
        report.at((*path, "timeout"), "found 0 s, expected time for the operator to answer")
    return Wait(row.prompt, row.timeout, Silence(row.if_silent), row.label or "", _line(report, path))


def _staircase(report: Report, row: StaircaseRow, path: Path) -> Staircase:
    return Staircase(
        _target(row.from_),
        _target(row.to),
        row.steps,
        row.hold,
        row.ramp,
        Starts(row.starts),
        row.label or "",
        _line(report, path),
    )


def _expect_loss(report: Report, row: ExpectLossRow, path: Path) -> ExpectLoss:
    if row.within <= 0:
        report.at((*path, "within"), "found 0 s, expected the time within which the supply goes away")
    if not 0 < row.step <= 100:
        report.at((*path, "step"), f"found {row.step:g} %, expected more than 0 and at most 100 %")
    return ExpectLoss(
        row.within,
        row.then == "re-apply",
        row.held,
        row.step,
        row.every,
        row.label or "",
        _line(report, path),
    )


def _repeat(report: Report, row: RepeatRow, path: Path) -> Repeat:
    return Repeat(row.times, _segments(report, row.segments, (*path, "segments")), row.label or "", _line(report, path))


def _line(report: Report, path: Path) -> int:
    """Line of the list item, where a reader looks for the segment."""
    return report.line(path[:-1])


_MAKERS: dict[str, Callable[[Report, Any, Path], Segment]] = {
    "ramp": _ramp,
    "hold": _hold,
    "block": _block,
    "drop": _drop,
    "wait": _wait,
    "staircase": _staircase,
    "expect_loss": _expect_loss,
    "repeat": _repeat,
}


def _is_moment(text: str) -> bool:
    try:
        return datetime.fromisoformat(text).tzinfo is not None
    except ValueError:
        return False
