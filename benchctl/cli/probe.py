"""The verb `probe`: ask every device of a site what it is, or look at one register in every way. Writes nothing."""

import argparse
import asyncio
from typing import TYPE_CHECKING, NamedTuple

from benchctl.cli import CHAIN_LOST, GOOD, NOT_GOOD, USAGE
from benchctl.cli.voice import Voice

if TYPE_CHECKING:
    from benchctl.core.site import Endpoint, Instrument, Site, Unit

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
    except (UsageFault, ClaimFault) as fault:
        voice.narrate(str(fault))
        return USAGE


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
    from benchctl.claim import ClaimFault, claim, endpoints
    from benchctl.cli.ask import asked
    from benchctl.cli.devices import tell_devices
    from benchctl.field.contact import meet, plain

    if args.at is not None:
        raise UsageFault("--at goes with --register; without a register give a site (--site)")
    site = _site(args)
    try:
        with claim(endpoints(site), "probe", site.name):
            met = asyncio.run(meet(site))
    except ClaimFault as fault:
        rows = asked(fault, site)
        if rows is None:
            raise
        voice.narrate(f"{fault}; it says:")
        return tell_devices(site, rows, voice, "run host")
    return tell_devices(site, [plain(found) for found in met], voice)


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
