"""What first contact has found, device by device, as lines and as rows; from the wire, or told by a run host."""

from typing import TYPE_CHECKING, Any

from benchctl.cli import CHAIN_LOST, GOOD, NOT_GOOD
from benchctl.cli.voice import Voice
from benchctl.planning.fits import available_kw, place_warnings

if TYPE_CHECKING:
    from benchctl.core.site import Instrument, Site, Unit

# What a device may say of itself -> how it is told. Told as not known where its profile has such a point and no value.
SAYS = (
    ("serial", "serial {}"),
    ("model", "model {}"),
    ("firmware", "firmware {}"),
    ("watchdog_s", "watchdog {:g} s"),
)
POINTS = {"model": "model_id"}  # where the point has another name


def tell_devices(site: "Site", rows: list[dict[str, Any] | None], voice: Voice, told_by: str = "") -> int:
    """Tell rows of `field.contact.plain` in the site's order, None for a device that is not known; the exit code.

    told_by: "run host" where the wire was not asked; its rows have ages.
    """
    warned = False
    for number, unit in enumerate(site.units, 1):
        row = rows[number - 1]
        more = place_warnings(site, unit) if row and row["reached"] else []
        warned = _device(voice, unit, f"{number}. {unit.name}", row, more, told_by, capacity(site, unit), {
            "position": number,
            "rated_kw": unit.profile.rated_kw,
            "available_kw": available_kw(site, unit),
            "place": unit.position,
        }) or warned  # fmt: skip
    for instrument, row in zip(site.instruments, rows[len(site.units) :], strict=True):
        warned = _device(voice, instrument, instrument.name, row, [], told_by, "", {}) or warned
    _total(site, [u for u, row in zip(site.units, rows, strict=False) if row and row["reached"]], voice)
    if not any(row and row["reached"] for row in rows):
        return CHAIN_LOST
    return NOT_GOOD if warned else GOOD


def _device(
    voice: Voice,
    noun: "Unit | Instrument",
    head: str,
    row: dict[str, Any] | None,
    more: list[str],
    told_by: str,
    size: str,
    about: dict[str, Any],
) -> bool:
    """One device; returns whether something does not agree."""
    by = {"told_by": told_by} if told_by else {}
    if row is None:
        voice.text(f"{head}: not known to the {told_by}")
        voice.row({"kind": "device", **by, "name": noun.name, "reached": None, **about})
        return True
    warnings = [*row["warnings"], *more]
    state = _state(row, heard=bool(told_by))
    voice.text(", ".join([f"{head}: {state}", *filter(None, [size]), *_said(noun, row)]))
    for fault in row["faults"]:
        voice.text(f"     fault: {fault}")
    for warning in warnings:
        voice.text(f"     ! {warning}")
    voice.row({"kind": "device", **by, **row, "name": noun.name, "warnings": warnings, **about})
    return bool(warnings)


def _state(row: dict[str, Any], *, heard: bool) -> str:
    told = "answers" if row["reached"] else str(row["outcome"])
    if row["reached"]:
        took_s = row["latency_s"]
        told += f" in {1000.0 * took_s:.0f} ms" if took_s is not None else ", latency not known" if heard else ""
    if heard:
        age_s = row["age_s"]
        told += ", never heard" if age_s is None else f", heard {age_s:.1f} s ago"
    return told + (", load is on" if row["load_on"] else "")


def _said(noun: "Unit | Instrument", row: dict[str, Any]) -> list[str]:
    """What it says of itself; what its profile has a point for and it has not said is not known."""
    registers = noun.registers if hasattr(noun, "registers") else noun.profile.registers
    told = []
    for key, words in SAYS:
        if row[key] is not None:
            told.append(words.format(row[key]))
        elif registers.point(POINTS.get(key, key)) is not None:
            told.append(f"{words.partition(' ')[0]} not known")
    return told


def _total(site: "Site", reached: "list[Unit]", voice: Voice) -> None:
    rated = sum(u.profile.rated_kw for u in reached)
    available = sum(available_kw(site, u) for u in reached)
    voice.text(
        f"{len(reached)} of {len(site.units)} units answer: {rated:g} kW rated, about {available:.0f} kW at "
        f"{site.nameplate.volts:g} V, for a source of {site.nameplate.power_kw:g} kW"
    )
    voice.row(
        {
            "kind": "total",
            "units": len(site.units),
            "answering": len(reached),
            "rated_kw": rated,
            "available_kw": round(available, 1),
            "source_kw": site.nameplate.power_kw,
        }
    )


def capacity(site: "Site", unit: "Unit") -> str:
    """A unit's size in words."""
    profile = unit.profile
    return (
        f"{profile.rated_kw:g} kW at {profile.rated_v:g} V {profile.connection}, "
        f"about {available_kw(site, unit):.0f} kW here"
    )
