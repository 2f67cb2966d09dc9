"""The verb `probe`: ask every device of a site what it is, or look at one register in every way. Writes nothing."""

import argparse
import asyncio
import math
from typing import TYPE_CHECKING, Any, NamedTuple

from benchctl.cli import CHAIN_LOST, GOOD, NOT_GOOD, USAGE
from benchctl.cli.voice import Voice

if TYPE_CHECKING:
    from benchctl.core.site import Endpoint, Instrument, Site, Unit
    from benchctl.field.contact import Met

HELP = "ask the devices of a site what they are, without writing anything; or look at one register in every way"

SPACES = ("holding", "input", "coil", "discrete")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the verb."""
    parser.add_argument("--site", metavar="SITE", help="site file, or the name of a shipped one")
    parser.add_argument("--unit", metavar="NAME", help="only this device of the site")
    parser.add_argument("--register", type=int, metavar="ADDRESS", help="look at this register (0 to 65535)")
    parser.add_argument("--space", choices=SPACES, default="holding", help="address space of the register")
    parser.add_argument("--unit-id", type=int, metavar="N", help="Modbus unit id (default: the unit's, else 1)")
    parser.add_argument("--at", metavar="HOST:PORT", help="where the device is, without a site file")


def run(args: argparse.Namespace, voice: Voice) -> int:
    """0: all answered and agree. 1: something does not agree. 2: usage, or held by another. 4: nothing answered.

    Raises FileFault.
    """
    from benchctl.claim import ClaimFault

    try:
        return _look(args, voice) if args.register is not None else _meet(args, voice)
    except UsageFault as fault:
        voice.narrate(str(fault))
        return USAGE
    except ClaimFault as fault:
        from benchctl.cli.ask import ask_holder, tell_asked

        rows = None if args.register is not None else ask_holder(fault)
        if rows is None:
            voice.narrate(str(fault))
            return USAGE
        voice.narrate(f"{fault}; it says:")
        return tell_asked([row for row in rows if args.unit in (None, row["name"])], voice)


class UsageFault(Exception):  # noqa: N818 - a fault of the command line, told in one line
    """Options that do not go together."""


def _site(args: argparse.Namespace) -> "Site":
    """The site, with only the device asked for. Raises UsageFault, FileFault."""
    from dataclasses import replace

    from benchctl.files import read_site

    if args.site is None:
        raise UsageFault("say which site (--site), or where the device is (--at HOST:PORT with --register ADDRESS)")
    site, _ = read_site(args.site)
    if args.unit is None:
        return site
    units = tuple(u for u in site.units if u.name == args.unit)
    instruments = tuple(i for i in site.instruments if i.name == args.unit)
    if not units and not instruments:
        names = ", ".join(d.name for group in (site.units, site.instruments) for d in group)
        raise UsageFault(f"site {site.name} has no device named '{args.unit}'; it has: {names}")
    return replace(site, units=units, instruments=instruments)


# -- the whole chain


def _meet(args: argparse.Namespace, voice: Voice) -> int:
    from benchctl.claim import claim, endpoints
    from benchctl.field.contact import meet

    if args.at is not None:
        raise UsageFault("--at goes with --register; without a register give a site (--site)")
    site = _site(args)
    with claim(endpoints(site), "probe", site.name):
        met = asyncio.run(meet(site))
    warned = False
    for number, (unit, found) in enumerate(zip(site.units, met, strict=False), 1):
        warnings = [*found.warnings, *place_warnings(site, unit)] if found.reached else list(found.warnings)
        warned = warned or bool(warnings)
        _tell(voice, found, warnings, f"{number}. {unit.name}", capacity(site, unit))
        _row(
            voice,
            found,
            warnings,
            {
                "position": number,
                "rated_kw": unit.profile.rated_kw,
                "available_kw": _available_kw(site, unit),
                "place": unit.position,
            },
        )
    for found in met[len(site.units) :]:
        warned = warned or bool(found.warnings)
        _tell(voice, found, list(found.warnings), found.name, "")
        _row(voice, found, list(found.warnings), {})
    reached = [u for u, m in zip(site.units, met, strict=False) if m.reached]
    rated = sum(u.profile.rated_kw for u in reached)
    available = sum(_available_kw(site, u) for u in reached)
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
    if not any(m.reached for m in met):
        return CHAIN_LOST
    return NOT_GOOD if warned else GOOD


def _available_kw(site: "Site", unit: "Unit") -> float:
    """kW of a unit at the source's nominal volts: P = U²/R, except where the unit corrects for volts itself."""
    profile = unit.profile
    if profile.setpoint is not None and profile.setpoint.actual:
        return profile.rated_kw
    ratio = min(_volts_ratio(site, unit), profile.highest_v_ratio)
    return profile.rated_kw * ratio * ratio


def _volts_ratio(site: "Site", unit: "Unit") -> float:
    """The source's volts over the unit's rated volts, both between the terminals that the unit is rated for."""
    from benchctl.core.site import Wiring

    plate = site.nameplate
    volts = plate.volts
    if unit.profile.phases == 1:
        volts /= {Wiring.SINGLE_PHASE_2W: 1.0, Wiring.SINGLE_PHASE_3W: 1.0}.get(plate.wiring, math.sqrt(3.0))
    return volts / unit.profile.rated_v


def capacity(site: "Site", unit: "Unit") -> str:
    """A unit's size in words."""
    profile = unit.profile
    return (
        f"{profile.rated_kw:g} kW at {profile.rated_v:g} V {profile.connection}, "
        f"about {_available_kw(site, unit):.0f} kW here"
    )


def place_warnings(site: "Site", unit: "Unit") -> list[str]:
    """What of the unit does not fit the source."""
    told = []
    profile, plate = unit.profile, site.nameplate
    ratio = _volts_ratio(site, unit)
    if ratio > profile.highest_v_ratio:
        told.append(f"rated {profile.rated_v:g} V, but the source has {plate.volts:g} V: no stage may close")
    elif ratio < 0.9:
        told.append(
            f"rated {profile.rated_v:g} V on a source of {plate.volts:g} V: "
            f"it gives {100 * ratio * ratio:.0f} % of its rating"
        )
    if profile.phases > len(plate.wiring.phases):
        told.append(f"a {profile.phases}-phase unit on a {plate.wiring.value} source")
    return told


def _tell(voice: Voice, found: "Met", warnings: list[str], head: str, size: str) -> None:
    state = found.outcome.value if not found.reached else "answers"
    if found.latency_s is not None:
        state += f" in {1000 * found.latency_s:.0f} ms"
    said = [
        f"serial {found.serial}" if found.serial else "",
        f"model {found.model}" if found.model else "",
        f"firmware {found.firmware}" if found.firmware else "",
        f"watchdog {found.watchdog_s:g} s" if found.watchdog_s is not None else "",
    ]
    voice.text(", ".join([f"{head}: {state}", *filter(None, [size, *said])]))
    for fault in found.faults:
        voice.text(f"     fault: {fault}")
    for warning in warnings:
        voice.text(f"     ! {warning}")


def _row(voice: Voice, found: "Met", warnings: list[str], more: dict[str, Any]) -> None:
    voice.row(
        {
            "kind": "device",
            "name": found.name,
            "reached": found.reached,
            "outcome": found.outcome.value,
            "latency_s": None if found.latency_s is None else round(found.latency_s, 4),
            "serial": found.serial,
            "model": found.model,
            "firmware": found.firmware,
            "identity_ok": found.identity_ok,
            "says_rated_kw": found.rated_kw,
            "says_rated_v": found.rated_v,
            "watchdog_s": found.watchdog_s,
            "fresh": found.fresh,
            "load_on": found.load_on,
            "faults": list(found.faults),
            "suspect": list(found.suspect),
            "absent": list(found.absent),
            "warnings": warnings,
            **more,
        }
    )


# -- one register


def _look(args: argparse.Namespace, voice: Voice) -> int:
    from benchctl.claim import claim
    from benchctl.cli.look import look_lines, look_row
    from benchctl.core.registers import Space
    from benchctl.field.look import try_register

    if not 0 <= args.register <= 0xFFFF:
        raise UsageFault(f"register {args.register}: addresses run from 0 to 65535")
    where = _target(args)
    endpoint, unit_id = where.endpoint, where.unit_id
    if not 0 <= unit_id <= 255:
        raise UsageFault(f"unit id {unit_id}: expected 0 to 255")
    with claim({endpoint: where.name}, "probe", where.site):
        view = asyncio.run(try_register(endpoint, unit_id, Space(args.space), args.register))
    voice.text(
        f"{args.space} {args.register} of unit id {unit_id} at {endpoint.host}:{endpoint.port} "
        f"(number {args.register + 1} where manuals count from one)"
    )
    for look in (view.below, view.here, view.above):
        voice.row(look_row(view, look))
        for line in look_lines(look, view.space.bits):
            voice.text(line)
    if not view.answered:
        voice.narrate(
            f"nothing came from unit id {unit_id}; some devices answer only to their own (--unit-id), often 1, 255 or 0"
        )
        return CHAIN_LOST
    return GOOD if view.here.words else NOT_GOOD


class _Target(NamedTuple):
    """Where to look. name, site: empty when no site file names the device."""

    endpoint: "Endpoint"
    unit_id: int
    name: str = ""
    site: str = ""


def _target(args: argparse.Namespace) -> _Target:
    """What the options mean. Raises UsageFault, FileFault."""
    from benchctl.core.site import Endpoint

    if args.at is not None:
        host, colon, port = args.at.rpartition(":")
        if not colon or not host or not port.isdigit() or not 0 < int(port) <= 0xFFFF:
            raise UsageFault(f"--at {args.at}: expected HOST:PORT, such as 192.168.1.20:502")
        host = host.removeprefix("[").removesuffix("]")  # [fe80::1]:502
        return _Target(Endpoint(host, int(port)), 1 if args.unit_id is None else args.unit_id)
    if args.unit is None:
        raise UsageFault("say which device: --at HOST:PORT, or --site SITE --unit NAME")
    site = _site(args)
    devices: tuple[Unit | Instrument, ...] = (*site.units, *site.instruments)
    device = devices[0]
    unit_id = device.unit_id if args.unit_id is None else args.unit_id
    return _Target(device.endpoint, unit_id, device.name, site.name)
