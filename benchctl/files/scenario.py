"""A scenario's file: timed faults and the rehearsed operator's answers → the nouns of `core/scenario.py`."""

import re
from collections.abc import Callable
from typing import Annotated, Literal

from pydantic import Field

from benchctl.core.command import Verb
from benchctl.core.scenario import FAULT_BY_NAME, Answer, Fault, FaultKind, Scenario
from benchctl.core.site import Endpoint, Instrument, Site, Unit
from benchctl.files import amounts
from benchctl.files.check import Duration, Report, Strict, Text
from benchctl.files.fault import nearest, quoted
from benchctl.files.tree import Path

Segment = Annotated[int, Field(ge=1, le=2000)]


class FaultRow(Strict):
    """One fault. at: since the start, or since segment `during` began; for: how long (else to the end)."""

    fault: Text
    on: Text
    at: Duration
    for_: Annotated[Duration | None, Field(alias="for")] = None
    value: Text | None = None
    during: Segment | None = None


class AnswerRow(Strict):
    """What the operator does: at a time, or after a prompt opens."""

    verb: Literal[
        "start",
        "set load",
        "pause",
        "resume",
        "extend",
        "skip",
        "answer",
        "unload",
        "drop",
        "reset",
        "acknowledge",
        "adopt",
        "check in",
        "join",
        "override",
        "confirm fans",
        "remark",
        "switch",
        "reading",
        "shelve",
    ]
    at: Duration | None = None
    during: Segment | None = None
    to: Text | None = None
    after: Duration = 3.0
    text: Text | None = None
    why: Text | None = None
    value: Text | None = None
    unit: Text | None = None


class ScenarioFile(Strict):
    """What goes wrong in a rehearsal, and what the operator does about it."""

    title: Text
    faults: Annotated[list[FaultRow], Field(max_length=500)] = Field(default_factory=list)
    answers: Annotated[list[AnswerRow], Field(max_length=500)] = Field(default_factory=list)


def scenario_of(report: Report, site: Site) -> Scenario:
    """The noun of a scenario's file, its names checked against a site. Raises FileFault with every flaw."""
    file = report.read(ScenarioFile)
    reader = _Reader(report, site)
    faults = [reader.fault(row, ("faults", i)) for i, row in enumerate(file.faults)]
    answers = tuple(reader.answer(row, ("answers", i)) for i, row in enumerate(file.answers))
    report.settle()
    return Scenario(report.source.name, file.title, tuple(f for f in faults if f), answers)


class _Reader:
    def __init__(self, report: Report, site: Site) -> None:
        self.report, self.site = report, site
        self.units = {unit.name: unit for unit in site.units}
        self.instruments = {instrument.name: instrument for instrument in site.instruments}

    def fault(self, row: FaultRow, path: Path) -> Fault | None:
        kind = FAULT_BY_NAME.get(row.fault)
        if kind is None:
            self.report.at((*path, "fault"), f"{quoted(row.fault)} is no fault{nearest(row.fault, FAULT_BY_NAME)}")
            return None
        on = self._on(kind, row.on, (*path, "on"))
        value = self._value(kind, row, path)
        if on is None:
            return None
        return Fault(row.at, kind.name, on, value, row.for_, row.during, self.report.line(path))

    def _on(self, kind: FaultKind, name: str, path: Path) -> str | None:
        """The name that the simulator knows; a cable may be named by a device at its end."""
        devices: tuple[Unit | Instrument, ...] = (*self.site.units, *self.site.instruments)
        ends: dict[str, Endpoint] = {device.name: device.endpoint for device in devices}
        sockets = {f"{end.host}:{end.port}" for end in ends.values()}
        known = {
            "unit": set(self.units),
            "instrument": set(self.instruments),
            "source": {"source"},
            "cable": sockets | set(ends),
        }[kind.on]
        if name not in known:
            what = {
                "unit": "unit",
                "instrument": "instrument",
                "source": "source (say: source)",
                "cable": "device or socket",
            }[kind.on]
            self.report.at(
                path,
                f"{quoted(name)} is no {what} of the site '{self.site.name}'{nearest(name, sorted(known))}",
            )
            return None
        return f"{ends[name].host}:{ends[name].port}" if kind.on == "cable" and name in ends else name

    def _value(self, kind: FaultKind, row: FaultRow, path: Path) -> float | None:
        if not kind.value:
            if row.value is not None:
                self.report.at((*path, "value"), f"'{kind.name}' takes no value", key=True)
            return None
        if row.value is None:
            self.report.at(path, f"key 'value' is missing here: '{kind.name}' takes {kind.value}")
            return None
        try:
            value = _READ.get(kind.value, _number)(row.value)
        except ValueError as fault:
            self.report.at((*path, "value"), f"{fault} ({kind.value})")
            return None
        unit = self.units.get(row.on)
        if not _fits(kind.value, value, len(unit.profile.stages) if unit else 0):
            self.report.at(
                (*path, "value"),
                f"found {quoted(row.value)}, expected {kind.value}"
                + (
                    f"; '{row.on}' has {len(unit.profile.stages)} stages"
                    if unit and kind.value.startswith("stage")
                    else ""
                ),
            )
            return None
        return value

    def answer(self, row: AnswerRow, path: Path) -> Answer:
        if (row.at is None) == (row.to is None):
            self.report.at(
                path,
                "an answer has either 'at' (a time) or 'to' (a prompt's words, or 'prompts'), and not both",
            )
        if row.during is not None and row.at is None:
            self.report.at((*path, "during"), "'during' belongs to 'at'", key=True)
        if row.unit is not None and row.unit not in self.units:
            self.report.at(
                (*path, "unit"),
                f"{quoted(row.unit)} is no unit of the site '{self.site.name}'{nearest(row.unit, self.units)}",
            )
        if row.verb in _WITH_UNIT and row.unit is None:
            self.report.at(path, f"key 'unit' is missing here: '{row.verb}' is about one unit")
        if row.verb == Verb.ANSWER.value and row.text not in ("yes", "no"):
            self.report.at((*path, "text") if row.text else path, 'an answer\'s text is "yes" or "no"')
        if row.verb == Verb.OVERRIDE.value and not (row.text and row.why):
            self.report.at(path, "an override has a 'text' (what) and a 'why' (the reason)")
        return Answer(
            row.verb,
            row.at,
            row.to or "",
            row.after,
            row.text or "",
            self._amount(row, path),
            row.unit or "",
            row.during,
            self.report.line(path),
            row.why or "",
        )

    def _amount(self, row: AnswerRow, path: Path) -> float | None:
        """The value in the unit of the verb: kW or seconds."""
        parser = _WITH_VALUE.get(row.verb)
        if parser is None or row.value is None:
            if row.value is not None:
                self.report.at((*path, "value"), f"'{row.verb}' takes no value", key=True)
            elif parser is not None and row.verb not in _MAY_HAVE_VALUE:
                self.report.at(path, f"key 'value' is missing here: '{row.verb}' takes an amount")
            return None
        try:
            return parser(row.value)
        except ValueError as fault:
            self.report.at((*path, "value"), str(fault))
            return None


def _switched(value: object) -> float:
    """1 or 0, or kW of a unit without stages."""
    return float(str(value)) if str(value) in ("1", "0") else amounts.power_kw(value)


_WITH_UNIT = {Verb.JOIN.value, Verb.CONFIRM_FANS.value}
_WITH_VALUE: dict[str, Callable[[object], float]] = {
    Verb.SET_LOAD.value: amounts.power_kw,
    Verb.EXTEND.value: amounts.duration_s,
    Verb.SHELVE.value: amounts.duration_s,
    Verb.READING.value: amounts.duration_s,
    Verb.SWITCH.value: _switched,
}
_MAY_HAVE_VALUE = {Verb.READING.value, Verb.SWITCH.value}  # a reading of now, keeping what is on


def _number(text: str) -> float:
    if not re.fullmatch(amounts.NUMBER, text):
        raise ValueError(f"{quoted(text)} is no number")
    return float(text)


_READ: dict[str, Callable[[object], float]] = {
    "kW": amounts.power_kw,
    "percent of rated": amounts.percent,
    "s": amounts.duration_s,
}


def _fits(meaning: str, value: float, stages: int) -> bool:
    """Whether a value makes sense for what the fault's row says it means."""
    whole = value == int(value)
    if meaning.startswith("stage number, then phase"):
        return 1 <= int(value) <= stages and round(value * 10 - int(value) * 10) in (1, 2, 3)
    if meaning.startswith("stage number"):
        return whole and 1 <= value <= stages
    if meaning.startswith("phase"):
        return value in (1, 2, 3)
    if meaning.startswith("two phases"):
        return value in (12, 13, 23)
    if meaning.startswith("exception"):
        return value in (1, 2, 3, 4, 5, 6, 8, 10, 11)
    if meaning == "1 or 0":
        return value in (0, 1)
    return value <= 1 or not meaning.startswith("share")
