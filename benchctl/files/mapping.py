"""A mapping: what the columns of a recording mean. CSV files need one; for COMTRADE it says what the file does not."""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field

from benchctl.core.ruleset import Quantity
from benchctl.files.check import Duration, Positive, Report, Strict, Text

UNITS: dict[str, tuple[Quantity, float]] = {
    "mV": (Quantity.VOLTS, 0.001),
    "V": (Quantity.VOLTS, 1.0),
    "kV": (Quantity.VOLTS, 1000.0),
    "mA": (Quantity.AMPS, 0.001),
    "A": (Quantity.AMPS, 1.0),
    "kA": (Quantity.AMPS, 1000.0),
    "Hz": (Quantity.HERTZ, 1.0),
    "W": (Quantity.POWER, 0.001),
    "kW": (Quantity.POWER, 1.0),
    "MW": (Quantity.POWER, 1000.0),
}
UNIT = Literal["mV", "V", "kV", "mA", "A", "kA", "Hz", "W", "kW", "MW"]
Scale = Annotated[float, Field(ge=-1e9, le=1e9)]


class TimeRow(Strict):
    """The column of the times. form: seconds and parts of them from any zero, or a date with a time."""

    column: Text
    form: Literal["s", "ms", "us", "date and time"] = "s"
    zone: Text | None = None


class ChannelRow(Strict):
    """One column. scale: multiplies what is written, to get the unit: 20 where a probe gives a twentieth."""

    column: Text
    unit: UNIT
    of: Literal["ab", "bc", "ca", "a", "b", "c"] | None = None
    form: Literal["waveform", "values"] = "values"
    scale: Scale = 1.0
    window: Duration | None = None


class MappingFile(Strict):
    """What the columns of a recording mean."""

    title: Text
    separator: Literal[",", ";", "tab"] = ","
    decimal: Literal[".", ","] = "."
    names_in_line: Annotated[int, Field(ge=0, le=1000)] = 1
    values_from_line: Annotated[int, Field(ge=1, le=1000)] | None = None
    time: TimeRow | None = None
    samples_per_second: Positive | None = None
    started: Text | None = None
    channels: Annotated[list[ChannelRow], Field(min_length=1, max_length=64)]


@dataclass(frozen=True, slots=True)
class Column:
    """column: its name in the file, or its number from 1. factor: to V, A, Hz or kW."""

    column: str
    quantity: Quantity
    of: str
    waveform: bool
    factor: float
    window_s: float | None
    line: int


@dataclass(frozen=True, slots=True)
class Mapping:
    """A mapping's noun. time_column None: samples_per_second tells the time. started: of the first sample.

    zone: offset of the recorder's clock as "+02:00", empty = not stated.
    """

    name: str
    title: str
    columns: tuple[Column, ...]
    separator: str = ","
    decimal: str = "."
    names_in_line: int = 1
    values_from_line: int = 2
    time_column: str | None = None
    time_form: str = "s"
    samples_per_second: float | None = None
    started: datetime | None = None
    zone: str = ""
    path: str = ""


def mapping_of(report: Report) -> Mapping:
    """The noun of a mapping's file. Raises FileFault with every flaw."""
    file = report.read(MappingFile)
    first = file.values_from_line or file.names_in_line + 1
    if first <= file.names_in_line:
        report.at(("values_from_line",), f"values begin after the line of the names, which is {file.names_in_line}")
    if file.separator == file.decimal:
        report.at(("decimal",), "a comma cannot be both the decimal sign and between columns")
    if file.time is not None and file.samples_per_second is not None:
        report.at(("samples_per_second",), "the time column tells the times already", key=True)
    for k, row in enumerate(file.channels):
        what, phases = UNITS[row.unit][0], (None, "a", "b", "c")
        if row.form == "waveform" and what not in (Quantity.VOLTS, Quantity.AMPS):
            report.at(("channels", k, "form"), f"a waveform is in volts or amps, not in {row.unit}")
        if (what is Quantity.AMPS and row.of not in phases) or (what in (Quantity.HERTZ, Quantity.POWER) and row.of):
            report.at(("channels", k, "of"), f"'{row.of}' makes no sense for {row.unit}")
        if row.scale == 0.0:
            report.at(("channels", k, "scale"), "a scale of 0 makes everything 0")
    zone, started = _zone(report, file), _started(report, file)
    report.settle()
    columns = tuple(
        Column(
            row.column, UNITS[row.unit][0], row.of or "", row.form == "waveform", row.scale * UNITS[row.unit][1],
            row.window, report.line(("channels", k, "column")),
        )
        for k, row in enumerate(file.channels)
    )  # fmt: skip
    return Mapping(
        report.source.name,
        file.title,
        columns,
        "\t" if file.separator == "tab" else file.separator,
        file.decimal,
        file.names_in_line,
        first,
        file.time.column if file.time else None,
        file.time.form if file.time else "s",
        file.samples_per_second,
        started,
        zone,
        report.source.path,
    )


def _started(report: Report, file: MappingFile) -> datetime | None:
    try:
        return datetime.fromisoformat(file.started) if file.started else None
    except ValueError:
        report.at(("started",), f"'{file.started}' is no date with a time, expected for instance 2026-03-01T10:15:00.5")
    return None


def _zone(report: Report, file: MappingFile) -> str:
    zone = (file.time.zone if file.time else None) or ""
    try:
        if zone:
            datetime.fromisoformat(f"2000-01-01T00:00:00{zone}")
    except ValueError:
        report.at(("time", "zone"), f"'{zone}' is no offset from UTC, expected for instance +02:00")
    return zone
