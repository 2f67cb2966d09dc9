"""What a site's file must fulfil beyond its form: names, sockets, volts and places that fit together."""

from collections.abc import Sequence
from dataclasses import fields
from datetime import date
from typing import TYPE_CHECKING

from benchctl.core.site import LONGEST_CHECK_IN_S, Instrument, Limits, Unit, Wiring
from benchctl.files.check import Report
from benchctl.files.fault import nearest, quoted

if TYPE_CHECKING:
    from benchctl.files.site import SiteFile

# A unit far from the source's volts is a wrong profile or a slip of the pen. Anything nearer is the plan's to
# judge: banks rated 480 V are used at 208 V, with what the square of the volts leaves of them.
FAR_BELOW, FAR_ABOVE = 0.4, 1.5


def check_site(
    report: Report, file: "SiteFile", units: Sequence[Unit | None], instruments: Sequence[Instrument | None]
) -> None:
    """Tell every rule that the site breaks."""
    _names(report, file)
    _sockets(report, units, instruments)
    _source(report, file)
    _limits(report, file)
    _attendance(report, file)
    for i, unit in enumerate(units):
        if unit:
            _unit(report, file, unit, i)
    _instruments(report, file, instruments)


def _attendance(report: Report, file: "SiteFile") -> None:
    """Somebody is asked for from time to time, and not so seldom that nobody would notice."""
    row = file.attendance
    longest_min = LONGEST_CHECK_IN_S / 60.0
    for key in ("check_in", "check_in_alarm", "check_in_unload"):
        found_s = getattr(row, key)
        if not 0.0 < found_s <= LONGEST_CHECK_IN_S:
            expected = f"expected more than 0 and at most {longest_min:g} min"
            report.at(("attendance", key), f"found {found_s:g} s, {expected}")
    if row.console_lost is not None and row.console_lost <= 0.0:
        report.at(("attendance", "console_lost"), f"found {row.console_lost:g} s, expected more than 0")


def _names(report: Report, file: "SiteFile") -> None:
    seen: dict[str, str] = {"source": "the word for the source"}
    places = [("units", i, row.name) for i, row in enumerate(file.units)]
    places += [("instruments", i, row.name) for i, row in enumerate(file.instruments)]
    for key, i, name in places:
        if name in seen:
            report.at((key, i, "name"), f"{quoted(name)} is already {seen[name]}; every name is used once")
        seen.setdefault(name, f"the name of {key} number {i + 1}")


def _sockets(report: Report, units: Sequence[Unit | None], instruments: Sequence[Instrument | None]) -> None:
    seen: dict[tuple[str, int, int], str] = {}
    for key, devices in (("units", units), ("instruments", instruments)):
        for i, device in enumerate(devices):
            if device is None:
                continue
            end = device.endpoint
            address = (end.host, end.port, device.unit_id)
            if address in seen:
                report.at(
                    (key, i, "at"),
                    f"{end.host}:{end.port} with unit id {device.unit_id} is already {seen[address]}; "
                    "two devices on one socket need different unit ids",
                )
            seen.setdefault(address, f"'{device.name}'")
            if end.gateway and not 1 <= device.unit_id <= 247:
                report.at((key, i, "unit_id"), f"found {device.unit_id}, expected 1 to 247 behind a gateway")


def _source(report: Report, file: "SiteFile") -> None:
    source = file.source
    if source.power <= 0:
        report.at(("source", "power"), "found 0 kW, expected the nameplate's rated power")
    if source.apparent < source.power:
        report.at(
            ("source", "apparent"),
            f"found {source.apparent:g} kVA, expected at least the {source.power:g} kW of 'power'",
        )
    elif source.power > 1.02 * source.apparent * source.power_factor:
        report.at(
            ("source", "power"),
            f"{source.power:g} kW is more than {source.apparent:g} kVA at a power factor of "
            f"{source.power_factor:g} gives: is one of the three wrong?",
        )
    if source.derated is not None and not 0.0 < source.derated.power <= source.power:
        report.at(
            ("source", "derated", "power"),
            f"found {source.derated.power:g} kW, expected more than 0 and at most the {source.power:g} kW of 'power'",
        )
    if source.isochronous and source.droop_percent:
        report.at(("source", "droop_percent"), "an isochronous source has no droop; say isochronous: false")


def _limits(report: Report, file: "SiteFile") -> None:
    known = {f.name: float(getattr(Limits(), f.name)) for f in fields(Limits)}
    for name in file.limits:
        if name not in known:
            report.at(("limits", name), f"{quoted(name)} is no limit{nearest(name, known)}", key=True)
    limits = {**known, **file.limits}
    for mild, severe, lower in (
        ("volts_warn_percent", "volts_trip_percent", False),
        ("volts_present_percent", "volts_low_percent", False),
        ("hertz_low_warn_percent", "hertz_low_percent", True),
        ("hertz_low_percent", "hertz_stall_percent", True),
        ("exhaust_warn_percent", "exhaust_trip_percent", False),
        ("stale_s", "lost_s", False),
    ):
        if (limits[mild] <= limits[severe]) == lower:
            where = ("limits", mild if mild in file.limits else severe)
            report.at(
                where,
                f"{mild} {limits[mild]:g} and {severe} {limits[severe]:g}: "
                f"the {'second' if lower else 'first'} must be the lower one",
            )


def _unit(report: Report, file: "SiteFile", unit: Unit, index: int) -> None:
    source, profile = file.source, unit.profile
    wiring = Wiring(source.wiring)
    where = ("units", index, "profile")
    if profile.phases == 3 and len(wiring.phases) != 3:
        report.at(where, f"'{profile.name}' is a three-phase unit, the source is {source.wiring}")
        return
    if source.hertz not in profile.hertz:
        known = " or ".join(f"{h:g}" for h in profile.hertz)
        report.at(where, f"'{profile.name}' is rated {known} Hz, the source {source.hertz:g} Hz")
    halves = {Wiring.THREE_PHASE_4W: 3**0.5, Wiring.SINGLE_PHASE_3W: 2.0}
    volts = source.volts / (halves.get(wiring, 1.0) if profile.phases == 1 else 1.0)
    if not FAR_BELOW <= volts / profile.rated_v <= FAR_ABOVE:
        report.at(
            where,
            f"'{profile.name}' is rated {profile.rated_v:g} V and would see {volts:.4g} V: a wrong profile?",
        )


def _instruments(report: Report, file: "SiteFile", instruments: Sequence[Instrument | None]) -> None:
    places: dict[str, str] = {}
    for i, instrument in enumerate(instruments):
        if instrument is None:
            continue
        place = instrument.place
        if (instrument.role == "panel") != (place == "panel"):
            report.at(
                ("instruments", i, "place"),
                f"found '{place}', but '{instrument.profile}' is a {instrument.role}",
            )
        if place in places:
            report.at(("instruments", i, "place"), f"'{places[place]}' is already at this place")
        places.setdefault(place, instrument.name)
        due = file.instruments[i].calibration_due
        if due and not _is_date(due):
            report.at(("instruments", i, "calibration_due"), f"'{due}' is no date, expected for instance 2027-03-31")


def _is_date(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True
