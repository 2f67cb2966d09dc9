"""An instrument's profile: what the registers of a type of meter or panel mean."""

from dataclasses import dataclass
from typing import Literal

from pydantic import Field

from benchctl.core.registers import RegisterMap
from benchctl.files.check import Duration, Report, Strict, Text
from benchctl.files.points import Reader, register_map
from benchctl.files.profile import reports
from benchctl.files.rows import Link, Row


class InstrumentFile(Strict):
    """The profile of a type of meter or panel; we read it and never write."""

    title: Text
    role: Literal["meter", "panel"]
    accuracy_class: Text | None = None
    refresh: Duration = 1.0
    link: Link
    points: dict[str, Row]
    known: list[Row] = Field(default_factory=list)


@dataclass(frozen=True, slots=True)
class InstrumentProfile:
    """A type of meter or panel. refresh_s: how often it measures afresh."""

    name: str
    title: str
    role: str
    registers: RegisterMap
    accuracy_class: str
    refresh_s: float
    reports: frozenset[str]


def instrument_profile_of(report: Report) -> InstrumentProfile:
    """The noun of an instrument profile's file. Raises FileFault with every flaw."""
    file = report.read(InstrumentFile)
    registers = register_map(Reader(report, file.link), file.points, file.known, file.role)
    for point in registers.points:
        if point.write_function is not None:
            where = ("points", point.name) if point.name in file.points else ("known",)
            report.at(where, "an instrument is never written to", key=True)
    if file.role == "meter" and not {"power_kw", "power_a_kw"} & reports(registers):
        report.at(("points",), "a meter tells at least 'power_kw' or the kW of each phase", key=True)
    report.settle()
    return InstrumentProfile(
        report.source.name,
        file.title,
        file.role,
        registers,
        file.accuracy_class or "",
        file.refresh,
        reports(registers),
    )
