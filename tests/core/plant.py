"""A plant without physics: units that do at once what they are told unless their fields say otherwise, and a meter."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from benchctl.core.levels import phase_kw
from benchctl.core.orders import NO_WRITES, UnitOrders, UnitWrites, Write
from benchctl.core.profile import Profile
from benchctl.core.reading import NO_ELECTRICAL, Electrical, InstrumentReading, Outcome, Three, UnitReading


@dataclass
class FakeUnit:
    """A unit that does at once what it is told, unless its fields say otherwise."""

    profile: Profile
    load: int = 0
    fan: bool = False
    air: bool | None = None  # None: the switch follows the fan
    exhaust_c: float | None = 25.0
    wont_close: int = 0
    wont_open: int = 0
    silent: Outcome | None = None
    closing: Write = Write.DONE  # how closings end
    ignores: bool = False
    blown: frozenset[tuple[int, int]] = frozenset()
    fields: dict[str, Any] = field(default_factory=dict)  # whatever the reading shall say instead
    uptime_s: float = 1000.0
    raised: int = 0  # closings written
    opened: int = 0  # scans with openings written
    fan_orders: list[bool] = field(default_factory=list)

    def phases_kw(self, ratio: float) -> list[float]:
        """What it draws from phases A, B, C."""
        kw = list(phase_kw(self.profile, self.load, ratio))
        for stage, phase in self.blown:
            if self.load >> stage & 1:
                kw[phase] -= self.profile.stages[stage].phase_kw[phase] * ratio * ratio
        return kw

    def reading(self, volts: float | None, count: int) -> UnitReading:
        """What it answers."""
        if self.silent is not None:
            return UnitReading(self.silent)
        own = NO_ELECTRICAL
        if "power_kw" in self.profile.reports and volts is not None:
            a, b, c = self.phases_kw(volts / 400.0)
            own = electrical(volts, 50.0, (a, b, c), count)
        made = UnitReading(
            Outcome.OK,
            load=self.load,
            load_order=self.load,
            remote=True,
            fan_on=self.fan,
            airflow=self.fan if self.air is None else self.air,
            fan_supply=True,
            emergency_stop=False,
            inlet_c=20.0,
            exhaust_c=self.exhaust_c,
            uptime_s=self.uptime_s,
            serial="S",
            identity_ok=True,
            faults_known=(1 << len(self.profile.faults)) - 1,
            electrical=own,
            power_reading=own is not NO_ELECTRICAL,
        )
        return replace(made, **self.fields)

    def write(self, o: UnitOrders) -> UnitWrites:
        """Obey as far as it does."""
        if o.silent:
            return NO_WRITES
        self.opened += o.lower
        self.raised += o.raise_to is not None
        self.fan_orders.append(bool(o.fan))
        if self.silent is not None:
            return UnitWrites(*[Write.NOT_SENT if self.silent is Outcome.DOWN else Write.UNKNOWN] * 3)
        if not self.ignores:
            if o.lower:
                self.load = self._meet(self.load, o.keep) | (self.load & self.wont_open)
            if o.fan is not None:
                self.fan = o.fan
            if o.raise_to is not None and self.closing in (Write.DONE, Write.UNKNOWN):
                self.load = o.raise_to if self.profile.setpoint else self.load | (o.raise_to & ~self.wont_close)
        closing = self.closing if o.raise_to is not None else Write.NONE
        return UnitWrites(
            Write.DONE if o.lower else Write.NONE, Write.DONE if o.fan is not None else Write.NONE, closing
        )

    def _meet(self, a: int, b: int) -> int:
        return min(a, b) if self.profile.setpoint else a & b


def electrical(volts: float, hertz: float | None, phases: tuple[float, float, float], count: int) -> Electrical:
    """A meter's figures of resistive phases."""
    a, b, c = (1000.0 * p / (volts / 3**0.5) if volts else 0.0 for p in phases)
    amps: Three = (a, b, c)
    return Electrical(
        (volts,) * 3,
        (volts / 3**0.5,) * 3,
        amps,
        phases,
        sum(phases),
        0.0,
        1.0,
        hertz,
        refresh_count=count,
    )


@dataclass
class Plant:
    """Source, meter and units. volts None: the meter at the source does not answer."""

    units: list[FakeUnit]
    volts: float | None = 400.0
    hertz: float | None = 50.0
    site_kw: float = 0.0
    told: Callable[[Electrical], Electrical] = lambda e: e
    needs_set: bool | None = None
    count: int = 0

    def read(self, with_meter: bool) -> tuple[tuple[UnitReading, ...], tuple[InstrumentReading, ...]]:
        """Everything as it is now."""
        self.count += 1
        units = tuple(u.reading(self.volts, self.count) for u in self.units)
        if not with_meter:
            return units, ()
        if self.volts is None:
            return units, (InstrumentReading(Outcome.SILENT),)
        ratio = self.volts / 400.0
        drawn = [u.phases_kw(ratio) for u in self.units]
        a, b, c = (sum(kw[p] for kw in drawn) + self.site_kw / 3 for p in range(3))
        meter = self.told(electrical(self.volts, self.hertz, (a, b, c), self.count))
        return units, (InstrumentReading(Outcome.OK, meter, identity_ok=True, site_needs_set=self.needs_set),)
