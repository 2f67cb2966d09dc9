"""The whole simulated world in one clock: source, site load, units, meters and cables.

`advance` goes from event to event. While a fan turns up or down or a trip is near, the pieces are short (50
ms); the source on the move goes in pieces of its own inside (of 1 ms steps), which end where a meter samples
and where its volts make a unit act; while nothing moves one piece reaches to the next event, whatever its
length, because every law has a closed solution then. Meters, heat and panel are worked out when somebody looks
at them or something changes, never for their own sake. Same site, scenario and seed: same world.
"""

import heapq
import math
from collections.abc import Callable
from functools import partial
from random import Random
from typing import Any

from benchctl.core.scenario import Fault, Scenario
from benchctl.core.site import Endpoint, Instrument, Site
from simulator.cables import Cables
from simulator.elements import SetPointElements
from simulator.faults import check, replaces, start, stop
from simulator.meter import Flow, Meter
from simulator.network import EMPTY, Phasors, Six, add, currents_ka, inductive_kva, phasors, plus_evenly
from simulator.panel import Panel
from simulator.source import GeneratingSet, SetModel, Source, StiffSource
from simulator.unit import Bank

PIECE_S = 0.05
FAN_POWER_FACTOR, SITE_POWER_FACTOR = 0.85, 0.95
SITE_LOAD_LASTS_S = 150.0
FAN_VOLTS_PU, FAN_SPEED_PU = 0.7, 0.5
NEVER = math.inf, 0.0  # no volts lie between


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
        self.source: Source = (
            GeneratingSet(SetModel(h_s=simulation.inertia_s, droop=droop))
            if plate.kind == "generating set"
            else StiffSource()
        )
        self.needs_set = False
        self.site_kw = 0.0
        self.site_kw_fixed: float | None = None
        self.banks = [
            Bank(
                u,
                i,
                plate.wiring.has_neutral,
                simulation.ambient_c,
                site.altitude_m,
                Random(f"{seed} unit {i}"),  # noqa: S311 - not secrets
                self.at,
            )
            for i, u in enumerate(site.units)
        ]
        self.unit_meters = [
            Meter(
                u.profile.meter_refresh_s,
                plate.wiring,
                f"{seed} unit meter {i}",
                partial(self._unit_flow, i),
                self.clock,
            )
            for i, u in enumerate(site.units)
        ]
        self.meters = [
            Meter(x.refresh_s, plate.wiring, f"{seed} meter {i}", partial(self._place_flow, x), self.clock)
            for i, x in enumerate(site.instruments)
        ]
        self.panel = Panel(plate, self.source, simulation.ambient_c)
        self.cables = Cables(seed)
        self._all_meters = self.unit_meters + self.meters
        self._due_s = 0.0  # no meter samples before
        self._versions = -1
        self._chain_g: Six = EMPTY
        self._elements_kw = self._fans_kw = 0.0  # at per unit 1
        self._flows: dict[int | str, tuple[tuple[object, ...], Flow]] = {}
        self._pending = [f for f in scenario.faults if f.during is not None]
        self.in_force: list[Fault] = []  # replaced, never changed
        self.tell_fault: Callable[[Fault, bool], None] = lambda fault, begins: None
        self._correcting = [
            b.elements for b in self.banks if isinstance(b.elements, SetPointElements) and b.elements.setpoint.actual
        ]
        self._quiet_pu = NEVER  # volts of the source between which no fan or over-volts switch acts
        self._highest_pu: list[float] = []  # volts of the source above which a unit's elements get too many
        self._phasors_changed()
        for fault in scenario.faults:
            check(self, fault)
            if fault.during is None:
                self._arm(fault, fault.at_s)
        if simulation.site_load_kw:
            self.at(5.0 + 20.0 * self._rng.random(), self._site_load_moves)
        self._volts_moved()
        self.advance(0.0)
        for meter in self._all_meters:
            meter.begin()

    def endpoints(self) -> set[Endpoint]:
        """Every endpoint of the site."""
        return {u.endpoint for u in self.site.units} | {x.endpoint for x in self.site.instruments}

    def meter(self, instrument: str) -> Meter:
        """The meter behind an instrument of that name. Raises KeyError."""
        return {x.name: m for x, m in zip(self.site.instruments, self.meters, strict=True)}[instrument]

    # --- time --------------------------------------------------------------------------------------

    def clock(self) -> float:
        """Seconds since the world's start."""
        return self.now_s

    def at(self, time_s: float, what: Callable[[], None]) -> None:
        """Schedule something; equal times keep their order."""
        self._count += 1
        heapq.heappush(self._events, (max(time_s, self.now_s), self._count, what))

    def advance(self, to_s: float) -> None:
        """Bring the world to that time. A time in the past changes nothing."""
        events = self._events
        self._balance()
        while True:
            if events and events[0][0] <= self.now_s:
                self._sample()
                while events and events[0][0] <= self.now_s:
                    heapq.heappop(events)[2]()
                    self._balance()
            if self.now_s >= to_s:
                return
            target = min(to_s, events[0][0]) if events else to_s
            for bank in self.banks:
                if bank.busy:
                    target = min(target, self.now_s + PIECE_S)
                    break
            self._elapse(target)

    def _elapse(self, to_s: float) -> None:
        moved = self.source.moving
        if moved:
            square = self._run_source(to_s)
        else:
            square = self.source.advance(to_s)
            self.now_s = to_s
        for bank in self.banks:
            bank.elapse(self.now_s, square)
        self.panel.elapse(self.now_s, self._total_kw() * square)
        if moved:
            self._volts_moved()
        self._balance()

    def _run_source(self, to_s: float) -> float:
        """Let the source move until to_s, or until a unit has to act. Returns the mean square of its volts."""
        begun_s, squares = self.now_s, 0.0
        while self.now_s < to_s:
            self._sample()
            end_s = min(to_s, self.now_s + PIECE_S, max(self._due_s, self.now_s + 1e-3))
            squares += self.source.advance(end_s) * (end_s - self.now_s)
            self.now_s = end_s
            if not self.source.moving or self._volts_matter():
                break
        self._sample()
        return squares / (self.now_s - begun_s)

    def segment_reached(self, number: int, at_s: float) -> None:
        """The program has reached that segment (from 1): faults that wait for it start to count, once each."""
        for fault in [f for f in self._pending if f.during == number]:
            self._pending.remove(fault)
            self._arm(fault, at_s + fault.at_s)

    def _arm(self, fault: Fault, at_s: float) -> None:
        self.at(at_s, lambda: self._begin(fault))
        if fault.for_s is not None:
            self.at(at_s + fault.for_s, lambda: self._end(fault))

    def inject(self, fault: Fault) -> None:
        """Let a fault begin now, whenever it says; it lasts for its time, or until it is healed.

        Raises ValueError for a fault on what the site has not.
        """
        check(self, fault)
        self._arm(fault, self.now_s)
        self.advance(self.now_s)

    def heal(self, name: str, on: str) -> tuple[Fault, ...]:
        """Let the faults of that name there end now, whatever began them; returns them."""
        ended = tuple(f for f in self.in_force if (f.fault, f.on) == (name, on))
        for fault in ended:
            self._end(fault)
        self.advance(self.now_s)
        return ended

    def _begin(self, fault: Fault) -> None:
        """What was to end a fault whose place this one takes does not end this one."""
        self.in_force = [*(f for f in self.in_force if not replaces(fault, f)), fault]
        start(self, fault)
        self.tell_fault(fault, True)

    def _end(self, fault: Fault) -> None:
        """End it, if it is this very one that is in force."""
        if any(f is fault for f in self.in_force):
            self.in_force = [f for f in self.in_force if f is not fault]
            stop(self, fault)
            self.tell_fault(fault, False)

    # --- load and source ---------------------------------------------------------------------------

    def _balance(self) -> None:
        """Tell the source what hangs on it, if anything was switched."""
        versions = 0
        for bank in self.banks:
            versions += bank.version
        if versions == self._versions:
            return
        self._sample()
        self._versions = versions
        total, power_kw, fans_kw = EMPTY, 0.0, 0.0
        for bank in self.banks:
            total = add(total, bank.elements.conductance)
            power_kw += bank.elements.power_kw
            fans_kw += bank.fan_kw
        self._chain_g, self._elements_kw, self._fans_kw = total, power_kw, fans_kw
        self.source.demand(self._total_kw() / self.site.nameplate.power_kw)

    def _total_kw(self) -> float:
        """Everything on the source at per unit 1; fans and site load are counted as falling with V² too."""
        return self._elements_kw + (self._fans_kw + self.site_kw) * self._present

    def changed(self) -> None:
        """Something outside the units was switched: balance again."""
        self._versions, self._quiet_pu = -1, NEVER
        self._volts_moved()

    def set_lost_phases(self, lost: frozenset[int]) -> None:
        """Take volts from phases, or give them back."""
        self.lost_phases = lost
        live = self.site.nameplate.wiring.phases
        self._present = 1.0 - len(lost & set(live)) / len(live)
        self.phasors = phasors(self.site.nameplate.wiring, self.running_v, lost)
        self._phasors_changed()
        self.changed()

    def _phasors_changed(self) -> None:
        most_v = max(abs(x) for x in self.phasors)
        self._highest_pu = [b.highest_ln_v / most_v if most_v else math.inf for b in self.banks]
        for bank in self.banks:
            bank.elements.volts(self.phasors)

    def _volts_matter(self) -> bool:
        """True when the source's volts make a unit act, or have it trip."""
        low, high = self._quiet_pu
        volts = self.source.volts_pu
        return (
            not low < volts <= high
            or self.source.speed_pu <= FAN_SPEED_PU
            or any([e.strays(volts) for e in self._correcting])  # noqa: C419 - quicker
        )

    def _volts_moved(self) -> None:
        """Let the units feel the source's volts."""
        volts = self.source.volts_pu
        for elements in self._correcting:
            elements.follow(volts)
        if not self._volts_matter():
            return
        good = volts > FAN_VOLTS_PU and self.source.speed_pu > FAN_SPEED_PU and not self.lost_phases
        low, high = (FAN_VOLTS_PU, math.inf) if good else NEVER
        for bank, highest in zip(self.banks, self._highest_pu, strict=True):
            over = volts > highest
            low, high = (max(low, highest), high) if over else (low, min(high, highest))
            if (bank.supply_ok, bank.over_volts) != (good, over):
                bank.supply_ok, bank.over_volts = good, over
                bank.refresh()
        self._quiet_pu = low, high

    def hold_site_load(self, kw: float | None) -> None:
        """Keep the site's own load at so many kW, or (None) let it come and go as before."""
        self.site_kw_fixed = kw
        if kw is not None:
            self.set_site_kw(kw)

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

    def _sample(self) -> None:
        """Take what samples are due, before something changes."""
        if self.now_s < self._due_s - 1e-9:
            return
        for meter in self._all_meters:
            meter.sample()
        self._due_s = min([m.due_s for m in self._all_meters], default=math.inf)

    def _unit_flow(self, index: int) -> Flow:
        return self._flow(index, self.banks[index].elements.conductance, 0.0, 0.0)

    def _place_flow(self, instrument: Instrument) -> Flow:
        fans = self._fans_kw
        if instrument.place == "chain":
            return self._flow("chain", self._chain_g, fans, 0.0)
        if instrument.place == "site load":
            return self._flow("site load", EMPTY, 0.0, self.site_kw)
        return self._flow("source", self._chain_g, fans, self.site_kw)

    def _flow(self, place: int | str, g: Six, fans_kw: float, site_kw: float) -> Flow:
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
            more = inductive_kva(fans_kw, FAN_POWER_FACTOR) + inductive_kva(site_kw, SITE_POWER_FACTOR)
            live = [k for k in self.site.nameplate.wiring.phases if k not in self.lost_phases]
            share = more * pu * pu / len(self.site.nameplate.wiring.phases)
            amps = plus_evenly(amps, volts, share, live)
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
            "source": {
                "volts": self.running_v * self.source.volts_pu,
                "hertz": self.site.nameplate.hertz * self.source.speed_pu,
                "kw": square * self._total_kw(),
            },
            "units": [
                {
                    "name": b.unit.name,
                    "kw": square * b.elements.power_kw,
                    "closed": b.elements.closed,
                    "fan_on": b.fan_on,
                    "airflow": b.fan.proven(b.now_s),
                    "exhaust_c": b.heat.exhaust_c,
                }
                for b in self.banks
            ],
        }
