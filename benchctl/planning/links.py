"""Time on the wire: requests x (turnaround + gap) against the scan period; how long a drop and a block take.

One request is open on a socket at a time, so the devices behind one endpoint add up; endpoints work side by side.
Figures are the profiles' typical turnarounds: a plan, not a promise. A drop waits for one poll in flight at most; the
units of an endpoint are then written one after the other, and the load is off when the slowest unit has followed.
"""

import math

from benchctl.core.orders import UnitOrders
from benchctl.core.profile import Profile
from benchctl.core.registers import RegisterMap
from benchctl.core.site import Endpoint, Instrument, Site, Unit
from benchctl.field.encode import encode
from benchctl.field.points import plan_device, unit_points
from benchctl.planning.plan import Link

Device = Unit | Instrument

BEST_SCAN_S = 0.5  # meters refresh about once a second; common practice, no source
GRID_S = 0.05  # a computed period is rounded up to this


def request_s(registers: RegisterMap) -> float:
    """Seconds that one request occupies the link: turnaround and the silence that the device needs afterwards."""
    return registers.turnaround_s + registers.gap_s


def drop_writes(unit: Unit) -> int:
    """Requests that take everything off a unit, as the field room writes them while nothing is known of it."""
    return len(encode(unit, UnitOrders(keep=0, lower=True), all_stages=True).openings)


def follow_s(profile: Profile) -> float:
    """Longest time from a written drop to no load."""
    return profile.setpoint.drop_s if profile.setpoint else profile.follow_s


def links(site: Site) -> tuple[Link, ...]:
    """All endpoints in the order in which the site names them."""
    devices: tuple[Device, ...] = (*site.units, *site.instruments)
    order = dict.fromkeys(device.endpoint for device in devices)
    return tuple(_link(site, endpoint) for endpoint in order)


def _reads(device: Device) -> tuple[int, int]:
    """(requests in every scan, requests at contact and each minute) of one device."""
    if isinstance(device, Unit):
        plan = plan_device(device.profile.registers, unit_points(device.profile))
    else:
        plan = plan_device(device.registers, device.registers.points)
    return plan.each, len(plan.blocks) - plan.each


def _registers(device: Device) -> RegisterMap:
    return device.profile.registers if isinstance(device, Unit) else device.registers


def _link(site: Site, endpoint: Endpoint) -> Link:
    units = [u for u in site.units if u.endpoint == endpoint]
    devices: list[Device] = [*units, *(i for i in site.instruments if i.endpoint == endpoint)]
    reads = [_reads(d) for d in devices]
    fed = [u for u in units if u.profile.watchdog is not None and u.profile.watchdog.fed_by != "any request"]
    busy_s = math.fsum(request_s(_registers(d)) * each for d, (each, _) in zip(devices, reads, strict=True))
    busy_s += math.fsum(request_s(u.profile.registers) for u in fed)
    in_flight_s = max((request_s(_registers(d)) for d in devices), default=0.0) if units else 0.0
    write_s, off_s = in_flight_s, 0.0
    for unit in units:
        write_s += drop_writes(unit) * request_s(unit.profile.registers)
        off_s = max(off_s, write_s + follow_s(unit.profile))
    apart_s = math.fsum(request_s(u.profile.registers) * drop_writes(u) for u in units[1:])
    return Link(
        f"{endpoint.host}:{endpoint.port}",
        endpoint.gateway,
        tuple(d.name for d in devices),
        len(units),
        sum(each for each, _ in reads),
        sum(once for _, once in reads),
        len(fed),
        busy_s,
        write_s if units else 0.0,
        off_s,
        apart_s,
    )


def shortest_period_s(plans: tuple[Link, ...]) -> float:
    """The shortest scan period that every link keeps, rounded up to 0.05 s, in seconds."""
    busiest_s = max((link.scan_s for link in plans), default=0.0)
    return round(math.ceil(busiest_s / GRID_S - 1e-9) * GRID_S, 6)


def scan_period_s(site: Site, plans: tuple[Link, ...] | None = None) -> float:
    """The scan period in seconds: as the site states, or computed from its links, 0.5 s at best."""
    if site.scan_period_s is not None:
        return site.scan_period_s
    return max(BEST_SCAN_S, shortest_period_s(links(site) if plans is None else plans))
