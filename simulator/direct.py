"""The chain without bytes: readings out, orders in. For campaigns in which the wire has no part.

Faults of units and cables show as outcomes; what a profile or an instrument cannot report stays unknown here
too (a map without any point, as in small test worlds, counts as able to report everything).
"""

from collections.abc import Callable

from benchctl.core.orders import NO_WRITES, Orders, UnitOrders, UnitWrites, Write
from benchctl.core.reading import NO_ELECTRICAL, Electrical, InstrumentReading, Outcome, UnitReading
from benchctl.core.site import Endpoint, Instrument
from simulator.bench import Bench
from simulator.meter import Meter
from simulator.nouns import maker
from simulator.shown import reportable, shower
from simulator.status import fault_tests
from simulator.unit import Bank

TIMEOUT_S = 0.5  # replies later than this do not count
_STATES = ("fan_on", "airflow", "fan_supply", "emergency_stop", "remote", "inlet_c", "serial")
_Switches = tuple[int, int | None, bool | None, bool | None, bool | None, bool | None, bool | None]
_ELECTRICAL_NAMES = ("power_kw", "volts_ab", "volts_a", "amps_a", "hertz", "power_a_kw")
_unit_reading, _instrument_reading = maker(UnitReading), maker(InstrumentReading)
# Fields of an instrument's reading from `speed_rpm` to `set_fault`.
_Engine = tuple[float | None, float | None, float | None, float | None, float | None, bool | None, bool | None]
_NO_ENGINE: _Engine = (None,) * 7


class Direct:
    """Reads and writes a bench's devices in the sense of `core/reading.py` and `core/orders.py`."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        site = bench.site
        self._units = [_UnitPort(bench, i) for i in range(len(site.units))]
        self._instruments = [_InstrumentPort(bench, i) for i in range(len(site.instruments))]

    def read(self) -> tuple[tuple[UnitReading, ...], tuple[InstrumentReading, ...]]:
        """Every device as it is now."""
        return tuple([p.read() for p in self._units]), tuple([p.read() for p in self._instruments])

    def write(self, orders: Orders) -> tuple[UnitWrites, ...]:
        """Openings of all units, fans, closings (only if every opening was acknowledged), feeds, in that order."""
        busy = [(i, p, o) for i, (p, o) in enumerate(zip(self._units, orders.units, strict=True)) if p.concerns(o)]
        opening = [p.open(o) for _, p, o in busy]
        fan = [p.fan(o) for _, p, o in busy]
        clear = all([w in (Write.NONE, Write.DONE) for w in opening])  # noqa: C419 - quicker
        closing = [p.close(o, clear) for _, p, o in busy]
        feed = [p.feed(o) for _, p, o in busy]
        done = [NO_WRITES] * len(self._units)
        for (i, _, _), *four in zip(busy, opening, fan, closing, feed, strict=True):
            done[i] = UnitWrites(*four)
        return tuple(done)


class _UnitPort:
    """One unit."""

    def __init__(self, bench: Bench, index: int) -> None:
        unit = bench.site.units[index]
        profile = unit.profile
        has = reportable(profile.registers)
        self._bench, self._bank = bench, bench.banks[index]
        self._endpoint = unit.endpoint
        self._cable = bench.cables.of(f"{unit.endpoint.host}:{unit.endpoint.port}")
        self._meter = bench.unit_meters[index] if any(has(n) for n in _ELECTRICAL_NAMES) else None
        self._shown = shower(has)
        self._tests = fault_tests(profile)
        self._known = (1 << len(profile.faults)) - 1
        self._order = bool(profile.setpoint) or has("stages_order") or any(s.order for s in profile.stages)
        self._has = [has(n) for n in _STATES]
        self._uptime, self._needs_set, self._shows_exhaust = (
            has(n) for n in ("uptime_s", "site_needs_set", "exhaust_c")
        )
        self._version = -1  # of the unit, when it was last looked at
        self._state = self._look()
        self._last = UnitReading(Outcome.OK)
        self._fan_read: bool | None = None  # the fan order that the last look showed; None after a write or no answer

    def read(self) -> UnitReading:
        """The unit's reading; the same object while nothing in it changed."""
        bank, busy = self._bank, self._bank.trouble.busy
        if not (self._cable.sound and bank.answering and busy is None):
            failed = _failed(self._cable.closed, self._late(), bank.answering, busy, self._endpoint)
            if failed is not None:
                self._fan_read = None
                return UnitReading(failed)
        bank.heard("request")
        self._fan_read = bank.fan_order
        electrical = self._shown(self._meter.figures()) if self._meter else NO_ELECTRICAL
        needs_set = self._bench.needs_set if self._needs_set else None
        exhaust_c = bank.exhaust_c if self._shows_exhaust else None
        uptime_s = float(int(bank.now_s - bank.started_s)) if self._uptime else None
        last = self._last
        if bank.version != self._version:
            self._version, self._state = bank.version, self._look()
        elif (
            electrical is last.electrical
            and exhaust_c == last.exhaust_c
            and uptime_s == last.uptime_s
            and needs_set is last.site_needs_set
        ):
            return last
        self._last = self._fresh(needs_set, exhaust_c, uptime_s, electrical)
        return self._last

    def _late(self) -> bool:
        cable = self._cable
        return (
            cable.delay_s > TIMEOUT_S
            or (cable.lose > 0 and cable.lost())
            or (cable.garble > 0 and cable.rng.random() < cable.garble)
        )

    def _look(self) -> tuple[_Switches, float | None, str | None, int]:
        """What can change with the unit's version only: fields of a reading from `load` to `emergency_stop`, inlet_c,
        serial, faults."""
        bank = self._bank
        fan_on, airflow, fan_supply, stop, remote, inlet, serial = self._has
        faults = 0
        for i, test in enumerate(self._tests):
            faults |= test(bank) << i
        return (
            (
                bank.elements.feedback,
                bank.elements.order if self._order else None,
                bank.remote if remote else None,
                bank.fan_on if fan_on else None,
                bank.airflow if airflow else None,
                bank.fan_supply if fan_supply else None,
                bank.trouble.emergency_stop if stop else None,
            ),
            bank.heat.inlet_c if inlet else None,
            bank.serial_now if serial else None,
            faults,
        )

    def _fresh(
        self, needs_set: bool | None, exhaust_c: float | None, uptime_s: float | None, electrical: Electrical
    ) -> UnitReading:
        """A new reading; its fields in their order, because this is made a million times in a campaign."""
        switches, inlet_c, serial, faults = self._state
        return _unit_reading(
            Outcome.OK,
            *switches,
            needs_set,
            inlet_c,
            exhaust_c,
            uptime_s,
            serial,
            True,
            faults,
            self._known,
            electrical,
            (),
            self._meter is not None,
        )

    def _write(self, effect: Callable[[Bank], None]) -> Write:
        bank, trouble = self._bank, self._bank.trouble
        if self._cable.closed:
            return Write.NOT_SENT
        if not bank.answering:
            return Write.UNKNOWN
        if trouble.busy is not None or trouble.refuses_writes is not None:
            return Write.REFUSED
        bank.heard("write")
        if not trouble.ignores_writes:
            effect(bank)
        return Write.UNKNOWN if self._late() else Write.DONE

    def concerns(self, o: UnitOrders) -> bool:
        """True when these orders have anything to write to this unit."""
        fan = o.fan is not None and o.fan is not self._fan_read
        return not o.silent and (fan or o.feed or o.lower or o.raise_to is not None)

    def open(self, o: UnitOrders) -> Write:
        """Openings, or a lower set point."""
        if o.silent or not o.lower:
            return Write.NONE
        if self._bank.profile.setpoint:
            return self._write(lambda b: b.order_load(o.keep))
        return self._write(lambda b: b.order_load(b.elements.order & o.keep))

    def fan(self, o: UnitOrders) -> Write:
        """The fan order, unless it was seen to hold: as on the wire, where it is repeated until it reads back."""
        on = o.fan
        if o.silent or on is None or self._fan_read is on:
            return Write.NONE
        self._fan_read = None
        return self._write(lambda b: b.order_fan(on))

    def close(self, o: UnitOrders, clear: bool) -> Write:
        """Closings, or a higher set point."""
        goal = o.raise_to
        if o.silent or goal is None:
            return Write.NONE
        if not clear:
            return Write.NOT_SENT
        if self._bank.profile.setpoint:
            return self._write(lambda b: b.order_load(goal))
        return self._write(lambda b: b.order_load(b.elements.order | goal))

    def feed(self, o: UnitOrders) -> Write:
        """The watchdog."""
        return Write.NONE if o.silent or not o.feed else self._write(lambda b: b.heard("register"))


class _InstrumentPort:
    """One meter or panel."""

    def __init__(self, bench: Bench, index: int) -> None:
        self._bench = bench
        self._instrument: Instrument = bench.site.instruments[index]
        self._meter: Meter = bench.meters[index]
        has = reportable(self._instrument.registers)
        self._shown = shower(has)
        self._tells_uptime, self._tells_needs_set = has("uptime_s"), has("site_needs_set")
        self._serial = (self._instrument.serial or "SIM-METER") if has("serial") else None
        endpoint = self._instrument.endpoint
        self._cable = bench.cables.of(f"{endpoint.host}:{endpoint.port}")
        self._last: tuple[tuple[object, ...], InstrumentReading] | None = None

    def read(self) -> InstrumentReading:
        """The instrument's reading."""
        late = self._cable.delay_s > TIMEOUT_S or (self._cable.lose > 0 and self._cable.lost())
        answering = not self._meter.trouble.lost
        failed = _failed(self._cable.closed, late, answering, None, self._instrument.endpoint)
        if failed is not None:
            return InstrumentReading(failed)
        key = (self._meter.count(), self._bench.needs_set, self._uptime_s())
        if self._last is None or self._last[0] != key:
            self._last = key, self._fresh()
        return self._last[1]

    def _fresh(self) -> InstrumentReading:
        """A new reading; its fields in their order, as those of a unit."""
        is_panel = self._instrument.role == "panel"
        return _instrument_reading(
            Outcome.OK,
            NO_ELECTRICAL if is_panel else self._shown(self._meter.figures()),
            *(self._engine() if is_panel else _NO_ENGINE),
            self._needs_set(),
            self._serial,
            True,
            self._uptime_s(),
            (),
        )

    def _engine(self) -> _Engine:
        panel, source = self._bench.panel, self._bench.source
        return (
            round(panel.speed_rpm, 0),
            round(panel.oil_kpa, 0),
            round(panel.coolant_c, 1),
            round(panel.fuel_percent, 1),
            panel.battery_v,
            source.running,
            source.stalled,
        )

    def _uptime_s(self) -> float | None:
        return float(int(self._bench.now_s)) if self._tells_uptime else None

    def _needs_set(self) -> bool | None:
        return self._bench.needs_set if self._tells_needs_set else None


def _failed(closed: bool, late: bool, answering: bool, busy: int | None, endpoint: Endpoint) -> Outcome | None:
    """How a read ends that brings nothing; None when it brings something."""
    if closed:
        return Outcome.DOWN
    if late:
        return Outcome.SILENT
    if not answering:
        return Outcome.GATEWAY if endpoint.gateway else Outcome.SILENT
    if busy is not None:
        return Outcome.GATEWAY if busy in (10, 11) else Outcome.REFUSED
    return None
