"""The whole simulated world in one clock: source, site load, units, meters and cables.

`advance` goes from event to event. While the source, a fan or a trip is on the move the pieces are short (50
ms, and the source's own 1 ms steps inside); while nothing moves one piece reaches to the next event, whatever
its length, because every law has a closed solution then. Meters sample at their own instants in both cases.
Same site, scenario and seed: same world.
"""

import heapq
from collections.abc import Callable
from random import Random
from typing import Any

from benchctl.core.scenario import Fault, Scenario
from benchctl.core.site import Endpoint, Instrument, Site
from simulator.cables import Cables
from simulator.faults import check, start, stop
from simulator.meter import Flow, Meter
from simulator.network import EMPTY, Phasors, Six, add, currents_ka, phasors
from simulator.panel import Panel
from simulator.source import GeneratingSet, SetModel, Source, StiffSource
from simulator.unit import Bank

PIECE_S = 0.05
STILL_S = 0.1
FAN_POWER_FACTOR, SITE_POWER_FACTOR = 0.85, 0.95
SITE_LOAD_LASTS_S = 150.0
FAN_VOLTS_PU, FAN_SPEED_PU = 0.7, 0.5


class Bench:
    """The world of one site, in seconds since its start. Raises ValueError for a fault on what the site has not."""

    def __init__(self, site: Site, scenario: Scenario = Scenario(), seed: int = 0) -> None:  # noqa: B008 - frozen
        self.site, self.scenario, self.seed = site, scenario, seed
        self.now_s = 0.0
        self._events: list[tuple[float, int, Callable[[], None]]] = []
        self._count = 0
        self._rng = Random(f"{seed} site load")  # noqa: S311 - not secrets
        plate, simulation = site.nameplate, site.simulation
        self.running_v = simulation.volts or plate.volts
        self.lost_phases: frozenset[int] = frozenset()
        self._present = 1.0  # share of the live phases that have volts
        self.phasors: Phasors = phasors(plate.wiring, self.running_v)
        droop = 0.0 if plate.isochronous else plate.droop_percent / 100.0
        self.source: Source = (GeneratingSet(SetModel(h_s=simulation.inertia_s, droop=droop))
                               if plate.kind == "generating set" else StiffSource())
        self.needs_set = False
        self.site_kw = 0.0
        self.site_kw_fixed: float | None = None
        self.banks = [Bank(u, i, plate.wiring.has_neutral, simulation.ambient_c, site.altitude_m,
                           Random(f"{seed} unit {i}"), self.at)  # noqa: S311 - not secrets
                      for i, u in enumerate(site.units)]
        self.unit_meters = [Meter(u.profile.meter_refresh_s, plate.wiring, f"{seed} unit meter {i}")
                            for i, u in enumerate(site.units)]
        self.meters = [Meter(x.refresh_s, plate.wiring, f"{seed} meter {i}")
                       for i, x in enumerate(site.instruments)]
        self.panel = Panel(plate, self.source, simulation.ambient_c)
        self.cables = Cables(seed)
        self._all_meters = self.unit_meters + self.meters
        self._versions = -1
        self._chain_g: Six = EMPTY
        self._fans_kw = 0.0
        self._flows: dict[object, tuple[tuple[object, ...], Flow]] = {}
        self._pending = [f for f in scenario.faults if f.during is not None]
        for bank in self.banks:
            bank.elements.volts(self.phasors)
        for fault in scenario.faults:
            check(self, fault)
            if fault.during is None:
                self._arm(fault, fault.at_s)
        if simulation.site_load_kw:
            self.at(5.0 + 20.0 * self._rng.random(), self._site_load_moves)
        self._volts_moved()
        self.advance(0.0)
        self._sample(always=True)

    def endpoints(self) -> set[Endpoint]:
        """Every endpoint of the site."""
        return {u.endpoint for u in self.site.units} | {x.endpoint for x in self.site.instruments}

    def meter(self, instrument: str) -> Meter:
        """The meter behind an instrument of that name. Raises KeyError."""
        return {x.name: m for x, m in zip(self.site.instruments, self.meters, strict=True)}[instrument]

    # --- time --------------------------------------------------------------------------------------

    def at(self, time_s: float, what: Callable[[], None]) -> None:
        """Schedule something; equal times keep their order."""
        self._count += 1
        heapq.heappush(self._events, (max(time_s, self.now_s), self._count, what))

    def advance(self, to_s: float) -> None:
        """Bring the world to that time. A time in the past changes nothing."""
        events = self._events
        self._balance()
        while True:
            while events and events[0][0] <= self.now_s:
                heapq.heappop(events)[2]()
                self._balance()
            if self.now_s >= to_s:
                return
            target = min(to_s, events[0][0]) if events else to_s
            if self.source.moving or any([b.busy for b in self.banks]):  # noqa: C419 - quicker
                due = min((m.due_s for m in self._all_meters), default=target)
                target = min(target, self.now_s + PIECE_S, max(due, self.now_s + 1e-3))
            self._elapse(target)

    def glance(self, to_s: float) -> None:
        """As `advance`, for those who only look: a world in which nothing moves may be a tenth of a second old."""
        if (to_s - self.now_s > STILL_S or self.source.moving or (self._events and self._events[0][0] <= to_s)
                or any([b.busy for b in self.banks])):  # noqa: C419 - quicker
            self.advance(to_s)

    def _elapse(self, to_s: float) -> None:
        moved = self.source.moving
        square = self.source.advance(to_s)
        for bank in self.banks:
            bank.elapse(to_s, square)
        self.panel.elapse(to_s - self.now_s, self._total_kw() * square)
        self.now_s = to_s
        self._sample()
        if moved:
            self._volts_moved()
        self._balance()

    def segment_reached(self, number: int, at_s: float) -> None:
        """The program has reached that segment (from 1): faults that wait for it start to count. Once each.
        """
        for fault in [f for f in self._pending if f.during == number]:
            self._pending.remove(fault)
            self._arm(fault, at_s + fault.at_s)

    def _arm(self, fault: Fault, at_s: float) -> None:
        self.at(at_s, lambda: start(self, fault))
        if fault.for_s is not None:
            self.at(at_s + fault.for_s, lambda: stop(self, fault))

    # --- load and source ---------------------------------------------------------------------------

    def _balance(self) -> None:
        """Tell the source what hangs on it, if anything was switched."""
        versions = 0
        for bank in self.banks:
            versions += bank.version
        if versions == self._versions:
            return
        self._versions = versions
        total = EMPTY
        for bank in self.banks:
            total = add(total, bank.elements.conductance)
        self._chain_g = total
        self._fans_kw = sum(b.fan_kw for b in self.banks)
        self.source.demand(self._total_kw() / self.site.nameplate.power_kw)

    def _total_kw(self) -> float:
        """Everything on the source at per unit 1; fans and site load are counted as falling with V² too."""
        total = 0.0
        for bank in self.banks:
            total += bank.elements.power_kw
        return total + (self._fans_kw + self.site_kw) * self._present

    def changed(self) -> None:
        """Something outside the units was switched: balance again."""
        self._versions = -1
        self._volts_moved()

    def set_lost_phases(self, lost: frozenset[int]) -> None:
        """Take volts from phases, or give them back."""
        self.lost_phases = lost
        live = self.site.nameplate.wiring.phases
        self._present = 1.0 - len(lost & set(live)) / len(live)
        self.phasors = phasors(self.site.nameplate.wiring, self.running_v, lost)
        for bank in self.banks:
            bank.elements.volts(self.phasors)
        self.changed()

    def _volts_moved(self) -> None:
        volts = self.source.volts_pu
        good = volts > FAN_VOLTS_PU and self.source.speed_pu > FAN_SPEED_PU and not self.lost_phases
        for bank in self.banks:
            bank.elements.follow(volts)
            over = volts * self._volts_ratio(bank) > bank.profile.highest_v_ratio
            if (bank.supply_ok, bank.over_volts) != (good, over):
                bank.supply_ok, bank.over_volts = good, over
                bank.refresh()

    def _volts_ratio(self, bank: Bank) -> float:
        """Line-to-neutral volts at per unit 1 as a share of those that the unit is rated for."""
        rated = bank.profile.rated_v / (3**0.5 if bank.profile.phases == 3 else 1.0)
        return max(abs(x) for x in self.phasors) / rated

    def set_site_kw(self, kw: float) -> None:
        """Move the site's own load."""
        self.site_kw = kw
        self._versions = -1

    def _site_load_moves(self) -> None:
        """Lights and pumps come and go: a new level, for a time of its own."""
        largest = self.site.simulation.site_load_kw
        level = largest * self._rng.choice((0.0, 0.2, 0.2, 0.45, 0.6, 1.0)) * (0.9 + 0.1 * self._rng.random())
        if self.site_kw_fixed is None:
            self.set_site_kw(level)
        self.at(self.now_s + 20.0 + self._rng.expovariate(1.0 / SITE_LOAD_LASTS_S), self._site_load_moves)

    # --- meters ------------------------------------------------------------------------------------

    def _sample(self, always: bool = False) -> None:
        now = self.now_s + 1e-9
        if not always and now < min([m.due_s for m in self._all_meters], default=now + 1.0):
            return
        for i, meter in enumerate(self.unit_meters):
            if meter.due_s <= now or always:
                elements = self.banks[i].elements
                meter.sample(self.now_s, self._flow(i, elements.conductance, 0.0, 0.0))
        for meter, instrument in zip(self.meters, self.site.instruments, strict=True):
            if meter.due_s <= now or always:
                meter.sample(self.now_s, self._place(instrument))

    def _place(self, instrument: Instrument) -> Flow:
        fans = self._fans_kw
        if instrument.place == "chain":
            return self._flow("chain", self._chain_g, fans, 0.0)
        if instrument.place == "site load":
            return self._flow("site load", EMPTY, 0.0, self.site_kw)
        return self._flow("source", self._chain_g, fans, self.site_kw)

    def _flow(self, place: object, g: Six, fans_kw: float, site_kw: float) -> Flow:
        """What flows there now.

        The same object while nothing changed, so that meters need not work it out again.
        """
        pu, speed = self.source.volts_pu, self.source.speed_pu
        key = (g, fans_kw, site_kw, pu, speed, self.lost_phases)
        known = self._flows.get(place)
        if known is not None and known[0] == key:
            return known[1]
        u = tuple(pu * x for x in self.phasors)
        volts: Phasors = (u[0], u[1], u[2])
        amps = currents_ka(g, volts)
        if fans_kw or site_kw:
            kva = _kva(fans_kw, FAN_POWER_FACTOR) + _kva(site_kw, SITE_POWER_FACTOR)
            share = kva * pu * pu / len(self.site.nameplate.wiring.phases)
            more = [(share / x).conjugate() if k not in self.lost_phases and abs(x) > 1e-3 else 0j
                    for k, x in enumerate(volts)]
            amps = (amps[0] + more[0], amps[1] + more[1], amps[2] + more[2])
        flow = Flow(volts, amps, self.site.nameplate.hertz * speed)
        self._flows[place] = (key, flow)
        return flow

    # --- what is true ------------------------------------------------------------------------------

    def truth(self) -> dict[str, Any]:
        """What is really so, whatever instruments say: t in s, load_kw of all resistors, source, units."""
        square = self.source.volts_pu**2
        return {
            "t": round(self.now_s, 6),
            "load_kw": square * sum(b.elements.power_kw for b in self.banks),
            "source": {"volts": self.running_v * self.source.volts_pu,
                       "hertz": self.site.nameplate.hertz * self.source.speed_pu,
                       "kw": square * self._total_kw()},
            "units": [{"name": b.unit.name, "kw": square * b.elements.power_kw, "closed": b.elements.closed,
                       "fan_on": b.fan_on, "airflow": b.fan.proven(b.now_s), "exhaust_c": b.heat.exhaust_c}
                      for b in self.banks],
        }


def _kva(kw: float, power_factor: float) -> complex:
    """Complex power of an inductive load."""
    return complex(kw, kw * (1.0 / power_factor**2 - 1.0) ** 0.5)
