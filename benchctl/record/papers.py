"""What a record says besides its measurements: from the site, the program, the events and the remarks.

A remark that begins with a paper's name and a colon fills it: `witness: the authority's surveyor`. What is not in the
record stays empty; nothing is guessed from a default.
"""

from datetime import date, datetime, timedelta
from math import isnan

from benchctl.assessment.trail import Trail
from benchctl.core.decision import Settings
from benchctl.core.papers import PAPERS
from benchctl.core.site import Instrument
from benchctl.record.deeds import Deeds
from benchctl.record.reader import Reader


def papers(reader: Reader, settings: Settings, trail: Trail, told: Deeds) -> tuple[dict[str, str], dict[str, str]]:
    """(papers, flaws of papers), each by its name in `core/papers.py`."""
    found = _nameplate(settings)
    flaws: dict[str, str] = {}
    site, program = settings.site, settings.program
    found["units"] = ", ".join(unit.name for unit in site.units)
    found["program"] = (program.title or program.name) if program is not None else ""
    found["date"] = trail.began
    if trail.t_s:
        found["length"] = f"{trail.t_s[-1] - trail.t_s[0]:.0f} s"
    found["operator"] = told.operator
    known = [kw for kw in trail.power_kw if not isnan(kw)]
    if known and trail.nameplate_kw > 0.0:
        found["percent_of_nameplate"] = f"up to {100.0 * max(known) / trail.nameplate_kw:.1f} %"
        if trail.derated_kw:
            found["percent_of_nameplate"] += f", {100.0 * max(known) / trail.derated_kw:.1f} % of the derated kW"
    taken = [noted for noted in told.noted if not noted.corrected]
    late = sum(bool(noted.late) for noted in taken)
    found["readings"] = f"{len(taken)} taken" + (f", {late} of them entered late" if late else "") if taken else ""
    ambient = [value for noted in taken for name, value in noted.values if name == "ambient_c"]
    found["ambient_c"] = f"{min(ambient):g} to {max(ambient):g} °C" if ambient else ""
    if told.unloaded_s is not None:
        found["cool_down_start"] = _moment(trail, told.unloaded_s)
    if told.cool_s is not None:
        found["cool_down_end"] = _moment(trail, told.cool_s)
    _instruments(site.instruments, trail.began, found, flaws)
    for entry in told.entries:
        name, colon, text = entry.text.partition(":")
        name = "_".join(name.lower().split())
        if entry.what == "remark" and colon and name in PAPERS and text.strip():
            found[name] = text.strip()
            flaws.pop(name, None)
    return {name: text for name, text in found.items() if text}, flaws


def _nameplate(settings: Settings) -> dict[str, str]:
    site, plate = settings.site, settings.site.nameplate
    return {
        "site": site.title or site.name,
        "source": plate.name,
        "source_kind": plate.kind,
        "nameplate_kw": f"{plate.power_kw:g} kW",
        "nameplate_kva": f"{plate.apparent_kva:g} kVA" if plate.apparent_kva else "",
        "nameplate_v": f"{plate.volts:g} V",
        "nameplate_hz": f"{plate.hertz:g} Hz",
        "power_factor": f"{plate.power_factor:g}",
        "rating_class": plate.rating_class,
        "serial": plate.serial,
        "altitude_m": f"{site.altitude_m:g} m" if site.altitude_m else "",
    }


def _instruments(instruments: tuple[Instrument, ...], began: str, found: dict[str, str], flaws: dict[str, str]) -> None:
    """Identity and calibration of the meters; a panel proves nothing and needs none."""
    meters = [instrument for instrument in instruments if instrument.role == "meter"]
    found["instruments"] = ", ".join(f"{m.name} ({m.serial})" if m.serial else m.name for m in meters)
    bare = [m.name for m in meters if not m.serial]
    if bare:
        flaws["instruments"] = f"no serial number of {', '.join(bare)}"
    found["calibration"] = ", ".join(f"{m.name} due {m.calibration_due}" for m in meters if m.calibration_due)
    undated = [m.name for m in meters if not m.calibration_due]
    expired = [f"{m.name} expired {m.calibration_due}" for m in meters if _expired(m.calibration_due, began)]
    if undated or expired:
        flaws["calibration"] = "; ".join((*expired, *(f"{name}: no date" for name in undated)))


def _expired(due: str, began: str) -> bool:
    try:
        return date.fromisoformat(due) < datetime.fromisoformat(began).date()
    except ValueError:
        return False


def _moment(trail: Trail, at_s: float) -> str:
    try:
        return (datetime.fromisoformat(trail.began) + timedelta(seconds=at_s)).isoformat(timespec="seconds")
    except ValueError:
        return ""
