"""A site's file: the form, and the noun of `core/site.py`. The rules are in `site_rules.py`."""

import re
from dataclasses import replace
from typing import Annotated, Literal

from pydantic import Field

from benchctl.core.profile import FanSupply, Profile
from benchctl.core.site import (
    CONSOLE_LOST_BARE_S,
    CONSOLE_LOST_S,
    Attendance,
    Endpoint,
    Instrument,
    Limits,
    Nameplate,
    Simulation,
    Site,
    Unit,
    WhenLost,
    Wiring,
)
from benchctl.files.check import (
    Apparent,
    AtLeastZero,
    Celsius,
    Duration,
    Positive,
    Power,
    Report,
    Strict,
    Text,
)
from benchctl.files.fault import FileFault, quoted
from benchctl.files.instrument import InstrumentProfile, instrument_profile_of
from benchctl.files.profile import profile_of
from benchctl.files.shelf import Shelf, SourceFile
from benchctl.files.site_rules import check_site
from benchctl.files.tree import Path

SOCKET = re.compile(r"(\[[0-9A-Fa-f:.%\w]+\]|[A-Za-z0-9_.-]+)(?::([0-9]{1,5}))?")
UnitId = Annotated[int, Field(ge=0, le=255)]


class DeratedRow(Strict):
    """What the place's altitude and heat leave of the nameplate's kW, as the maker states it, and where."""

    power: Power
    why: Text


class SourceRow(Strict):
    """The nameplate of the source under test."""

    name: Text
    kind: Literal["generating set", "ups", "switchboard", "supply"]
    power: Power
    apparent: Apparent
    volts: Positive
    hertz: Positive
    wiring: Literal[
        "three-phase four-wire", "three-phase three-wire", "single-phase two-wire", "single-phase three-wire"
    ]
    rating_class: Literal["COP", "PRP", "LTP", "ESP", "DCP"] | None = None
    power_factor: Annotated[float, Field(gt=0, le=1)] = 0.8
    serial: Text | None = None
    ungrounded: bool = False
    isochronous: bool = True
    droop_percent: Annotated[float, Field(ge=0, le=15)] = 0.0
    derated: DeratedRow | None = None


class UnitRow(Strict):
    """A load bank in its place."""

    name: Text
    profile: Text
    at: Text
    unit_id: UnitId = 255
    position: Text | None = None
    serial: Text | None = None
    fan_supply: Literal["separate", "source"] | None = None


class Transformers(Strict):
    """Current transformers: primary and secondary amps; applied = the meter multiplies by itself."""

    primary_a: Positive
    secondary_a: Positive
    applied: bool = True


class InstrumentRow(Strict):
    """A meter or panel in its place."""

    name: Text
    profile: Text
    place: Literal["source", "site load", "chain", "panel"]
    at: Text
    unit_id: UnitId = 255
    transformers: Transformers | None = None
    accuracy_class: Text | None = None
    serial: Text | None = None
    calibration_due: Annotated[str, Field(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$")] | None = None


class AttendanceRow(Strict):
    """Who must be there. console_lost: 5 min, or 2 min where a unit has no watchdog, unless it is said.

    check_in: from the last sign of a person to the question; check_in_alarm: from there to the alarm; check_in_unload:
    from there until the load comes off.
    """

    unattended: Literal["allowed", "never"] = "never"
    check_in: Duration = 300.0
    check_in_alarm: Duration = 120.0
    check_in_unload: Duration = 300.0
    console_lost: Duration | None = None
    hold_meanwhile: bool = False


class SimulationRow(Strict):
    """What the simulator assumes."""

    site_load: Power = 0.0
    ambient_c: Celsius = 20.0
    inertia_s: Positive = 0.8
    volts: Positive | None = None


class SiteFile(Strict):
    """A place: the source under test, the chain of load banks, the instruments and the limits."""

    title: Text
    source: SourceRow
    gateways: list[Text] = Field(default_factory=list)
    units: Annotated[list[UnitRow], Field(min_length=1, max_length=250)]
    instruments: Annotated[list[InstrumentRow], Field(max_length=50)] = Field(default_factory=list)
    limits: dict[str, AtLeastZero] = Field(default_factory=dict)
    site_load_reserve: Power = 0.0
    ambient_c: Celsius | None = None
    altitude_m: Annotated[float, Field(ge=-500, le=6000)] = 0.0
    scan_period: Duration | None = None
    when_lost: Literal["keep the rest", "unload all", "redistribute"] = "keep the rest"
    attendance: AttendanceRow = AttendanceRow()
    simulation: SimulationRow = SimulationRow()


def _attendance(row: AttendanceRow, units: list[Unit | None]) -> Attendance:
    lost_s = row.console_lost
    if lost_s is None:
        lost_s = CONSOLE_LOST_BARE_S if any(u and u.profile.watchdog is None for u in units) else CONSOLE_LOST_S
    return Attendance(
        unattended=row.unattended == "allowed",
        check_in_s=row.check_in,
        console_lost_s=lost_s,
        hold_meanwhile=row.hold_meanwhile,
        alarm_after_s=row.check_in_alarm,
        unload_after_s=row.check_in_alarm + row.check_in_unload,
    )


class SiteReader:
    """Reads one site's file and the profiles that it names."""

    def __init__(self, report: Report, shelf: Shelf) -> None:
        self.report, self.shelf = report, shelf
        self.used: dict[tuple[str, str], SourceFile] = {}
        self._profiles: dict[tuple[str, str], Profile | InstrumentProfile | None] = {}

    def read(self) -> Site:
        """The site. Raises FileFault with every flaw, those of the profiles included."""
        file = self.report.read(SiteFile)
        gateways = {e for i, text in enumerate(file.gateways) if (e := self._socket(text, ("gateways", i)))}
        units = [self._unit(row, i, gateways) for i, row in enumerate(file.units)]
        instruments = [self._instrument(row, i, gateways) for i, row in enumerate(file.instruments)]
        check_site(self.report, file, units, instruments)
        self.report.settle()
        source = file.source
        return Site(
            name=self.report.source.name,
            title=file.title,
            nameplate=Nameplate(
                source.name,
                source.kind,
                source.power,
                source.apparent,
                source.volts,
                source.hertz,
                Wiring(source.wiring),
                source.rating_class or "",
                source.power_factor,
                source.serial or "",
                source.ungrounded,
                source.isochronous,
                source.droop_percent,
                source.derated.power if source.derated else None,
                source.derated.why if source.derated else "",
            ),
            units=tuple(u for u in units if u),
            instruments=tuple(i for i in instruments if i),
            limits=Limits(**file.limits),
            site_load_reserve_kw=file.site_load_reserve,
            ambient_c=file.ambient_c,
            altitude_m=file.altitude_m,
            scan_period_s=file.scan_period,
            when_lost=WhenLost(file.when_lost),
            attendance=_attendance(file.attendance, units),
            simulation=Simulation(
                file.simulation.site_load,
                file.simulation.ambient_c,
                file.simulation.inertia_s,
                file.simulation.volts,
            ),
        )

    def _socket(self, text: str, path: Path) -> tuple[str, int] | None:
        found = SOCKET.fullmatch(text)
        port = int(found[2] or 502) if found else 0
        if not found or not 1 <= port <= 65535:
            self.report.at(
                path, f"{quoted(text)} is no socket, expected for instance 192.168.8.21:502 (port 1 to 65535)"
            )
            return None
        return found[1].lower().strip("[]"), port

    def _endpoint(self, text: str, path: Path, gateways: set[tuple[str, int]]) -> Endpoint | None:
        socket = self._socket(text, path)
        return socket and Endpoint(*socket, gateway=socket in gateways)

    def _profile(self, kind: str, ref: str, path: Path) -> Profile | InstrumentProfile | None:
        """The profile, read once per name; a flaw in it is told once, with its own place."""
        if (kind, ref) in self._profiles:
            return self._profiles[kind, ref]
        self._profiles[kind, ref] = None
        try:
            source = self.shelf.open(kind, ref, self.report.source)
        except FileFault as fault:
            self.report.at(path, "; ".join(f"{flaw.path}: {flaw.text}" for flaw in fault.flaws))
            return None
        self.used[kind, ref] = source
        try:
            inner = Report(source)
            self._profiles[kind, ref] = profile_of(inner) if kind == "unit" else instrument_profile_of(inner)
        except FileFault as fault:
            self.report.flaws.extend(fault.flaws)
        return self._profiles[kind, ref]

    def _unit(self, row: UnitRow, index: int, gateways: set[tuple[str, int]]) -> Unit | None:
        endpoint = self._endpoint(row.at, ("units", index, "at"), gateways)
        profile = self._profile("unit", row.profile, ("units", index, "profile"))
        if not isinstance(profile, Profile) or endpoint is None:
            return None
        if row.fan_supply:
            profile = replace(profile, fan=replace(profile.fan, supply=FanSupply(row.fan_supply)))
        return Unit(row.name, endpoint, row.unit_id, profile, row.position or "", row.serial or "")

    def _instrument(self, row: InstrumentRow, index: int, gateways: set[tuple[str, int]]) -> Instrument | None:
        endpoint = self._endpoint(row.at, ("instruments", index, "at"), gateways)
        profile = self._profile("instrument", row.profile, ("instruments", index, "profile"))
        if not isinstance(profile, InstrumentProfile) or endpoint is None:
            return None
        ratio = row.transformers
        return Instrument(
            row.name,
            profile.role,
            row.place,
            endpoint,
            row.unit_id,
            profile.name,
            profile.registers,
            ratio.primary_a if ratio else None,
            ratio.secondary_a if ratio else None,
            ratio is None or ratio.applied,
            row.accuracy_class or profile.accuracy_class,
            row.serial or "",
            row.calibration_due or "",
            profile.refresh_s,
            profile.reports,
        )
