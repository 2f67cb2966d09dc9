"""The devices of a bench as the wire sees them.

Which value stands behind which name, and who takes what is written.
"""

from collections.abc import Callable
from functools import partial

from benchctl.core.registers import Kind, Point, RegisterMap, Space
from benchctl.core.site import Endpoint, Instrument
from simulator.bench import Bench
from simulator.encode import Value, power_of_ten
from simulator.meter import FIGURES, Meter
from simulator.registers import Cell, Group, Registers, Sample
from simulator.runs import Figure
from simulator.status import fault_tests
from simulator.unit import Bank
from simulator.wire import ILLEGAL_VALUE, Refusal, answer, refusal, writes

Get = Callable[[], Value]
Take = Callable[[float], None]

# What a current transformer's ratio divides where the meter does not apply it.
BY_RATIO = frozenset(
    {"power_kw", "reactive_kvar", "apparent_kva", "energy_kwh"}
    | {f"amps_{p}" for p in "abc"}
    | {f"power_{p}_kw" for p in "abc"}
)
_CLOCK = frozenset({"exhaust_c", "uptime_s", "coolant_c", "fuel_percent", "oil_kpa", "speed_rpm", "battery_v"})


class Device:
    """One unit id. `respond` answers a request, or None for silence."""

    def __init__(self, bench: Bench, endpoint: Endpoint, unit_id: int, dead_time_s: float, name: str) -> None:
        self.bench, self.endpoint, self.unit_id = bench, endpoint, unit_id
        self.dead_time_s, self.name = dead_time_s, name
        self.registers = Registers(RegisterMap(()), ())

    def respond(self, pdu: bytes) -> bytes | None:
        """The reply PDU now; None when the device does not answer."""
        return self.registers.answer(pdu)


class UnitDevice(Device):
    """A load bank on the wire."""

    def __init__(self, bench: Bench, index: int) -> None:
        self.bank = bench.banks[index]
        unit = self.bank.unit
        super().__init__(bench, unit.endpoint, unit.unit_id, self.bank.physics.dead_time_s, unit.name)
        self.registers = Registers(unit.profile.registers, _unit_groups(bench, self.bank, bench.unit_meters[index]))

    def respond(self, pdu: bytes) -> bytes | None:
        """As a load bank does: its troubles first, then its watchdog, then the request."""
        bank, trouble = self.bank, self.bank.trouble
        if not bank.answering:
            return None
        if trouble.busy is not None:
            return refusal(pdu, trouble.busy)
        if not writes(pdu):
            reply = self.registers.answer(pdu)
            bank.heard("request")
            return reply
        if trouble.refuses_writes is not None:
            return refusal(pdu, trouble.refuses_writes)
        bank.heard("write")
        if trouble.ignores_writes:
            return answer(pdu, _Deaf(self.registers))
        return self.registers.answer(pdu)


class _Deaf:
    """Registers that acknowledge writes and forget them."""

    def __init__(self, registers: Registers) -> None:
        self.read = registers.read

    def write(self, space: Space, first: int, values: list[int], function: int) -> None:
        """Nothing."""


class InstrumentDevice(Device):
    """A meter or panel on the wire."""

    def __init__(self, bench: Bench, index: int) -> None:
        instrument = bench.site.instruments[index]
        super().__init__(
            bench, instrument.endpoint, instrument.unit_id, instrument.registers.turnaround_s, instrument.name
        )
        self._meter = bench.meters[index]
        self.registers = Registers(instrument.registers, _instrument_groups(bench, instrument, self._meter))

    def respond(self, pdu: bytes) -> bytes | None:
        """The reply, unless the instrument is lost."""
        return None if self._meter.trouble.lost else super().respond(pdu)


def devices(bench: Bench) -> list[Device]:
    """Every device of a bench."""
    return [
        *(UnitDevice(bench, i) for i in range(len(bench.site.units))),
        *(InstrumentDevice(bench, i) for i in range(len(bench.site.instruments))),
    ]


def _unit_groups(bench: Bench, bank: Bank, meter: Meter) -> list[Group | Sample]:
    elements, profile = bank.elements, bank.profile
    step_kw = profile.setpoint.resolution_kw if profile.setpoint else 1.0
    most_kw = profile.rated_kw

    def take_setpoint(value: float) -> None:
        if not 0 <= value <= most_kw + 1e-6:
            raise Refusal(ILLEGAL_VALUE)
        bank.order_load(int(value / step_kw + 1e-6))

    def take_mask(value: float) -> None:
        if not 0 <= value < 1 << len(profile.stages):
            raise Refusal(ILLEGAL_VALUE)
        bank.order_load(int(value))

    dog = profile.watchdog
    gets: dict[str, Get] = {
        "remote": lambda: bank.remote,
        "fan_on": lambda: bank.fan_on,
        "fan_order": lambda: bank.fan_order,
        "airflow": lambda: bank.airflow,
        "fan_supply": lambda: bank.fan_supply,
        "emergency_stop": lambda: bank.trouble.emergency_stop,
        "inlet_c": lambda: bank.heat.inlet_c,
        "exhaust_c": lambda: bank.exhaust_c,
        "setpoint_kw": lambda: elements.order * step_kw,
        "setpoint_in_force_kw": lambda: elements.feedback * step_kw,
        "stages_closed": lambda: elements.feedback,
        "stages_order": lambda: elements.order,
        "watchdog_s": lambda: dog.time_s if dog else None,
        "uptime_s": lambda: int(bank.now_s - bank.started_s),
        "rated_kw": lambda: profile.rated_kw,
        "rated_v": lambda: profile.rated_v,
        "serial": lambda: bank.serial_now,
        "firmware": lambda: "1.0",
        "site_needs_set": lambda: bench.needs_set,
    }
    takes: dict[str, Take] = {
        "fan_order": lambda v: bank.order_fan(v != 0),
        "stages_order": take_mask,
        "setpoint_kw": take_setpoint,
        "watchdog_feed": lambda _: bank.heard("register"),
        "watchdog_s": lambda _: None,
    }

    def stage_take(i: int) -> Take:
        return lambda v: bank.order_load(elements.order & ~(1 << i) | int(v) << i)

    def bit(read: str, i: int) -> Get:
        return (lambda: elements.order >> i & 1) if read == "order" else (lambda: elements.feedback >> i & 1)

    powers = _powers(profile.registers, _largest(bench, profile.rated_kw))
    cells = _cells(profile.registers, gets, takes, powers)
    for i, stage in enumerate(profile.stages):
        if stage.order:
            cells.append(Cell(stage.order, bit("order", i), stage_take(i)))
        if stage.feedback:
            cells.append(Cell(stage.feedback, bit("feedback", i)))
    for fault, test in zip(profile.faults, fault_tests(profile), strict=True):
        cells.append(Cell(fault.point, partial(test, bank)))
    groups = _by_pace(cells, lambda: (bank.version, bank.supply_ok, bench.needs_set), lambda: bank.now_s)
    return [*groups, _sample(profile.registers, meter, 1.0, powers)]


def _instrument_groups(bench: Bench, instrument: Instrument, meter: Meter) -> list[Group | Sample]:
    panel, source = bench.panel, bench.source
    gets: dict[str, Get] = {
        "speed_rpm": lambda: panel.speed_rpm,
        "oil_kpa": lambda: panel.oil_kpa,
        "coolant_c": lambda: panel.coolant_c,
        "fuel_percent": lambda: panel.fuel_percent,
        "battery_v": lambda: panel.battery_v,
        "set_running": lambda: source.running,
        "set_fault": lambda: source.stalled,
        "site_needs_set": lambda: bench.needs_set,
        "uptime_s": lambda: int(bench.now_s),
        "serial": lambda: instrument.serial or "SIM-METER",
        "firmware": lambda: "1.0",
    }
    registers = instrument.registers
    powers = _powers(registers, _largest(bench, bench.site.nameplate.power_kw))
    cells = _cells(registers, gets, {}, powers)
    groups = _by_pace(cells, lambda: (source.running, source.stalled, bench.needs_set), lambda: bench.now_s)
    return [*groups, _sample(registers, meter, instrument.ct_ratio, powers)]


def _largest(bench: Bench, power_kw: float) -> dict[str, float]:
    """The largest value of each quantity with a scale factor, by the first word of its name."""
    plate = bench.site.nameplate
    amps = 3.0 * 1000.0 * power_kw / plate.volts
    return {
        "amps": amps,
        "volts": 1.5 * plate.volts,
        "hertz": 1.5 * plate.hertz,
        "power_factor": 1.0,
        "power": 2.0 * power_kw,
        "apparent": 2.5 * power_kw,
        "reactive": 2.5 * power_kw,
        "energy": 1e6,
    }


def _powers(registers: RegisterMap, largest: dict[str, float]) -> dict[str, int]:
    """The powers of ten in a map's scale factor points, by name."""
    powers: dict[str, int] = {}
    for point in registers.points:
        if point.scale_from:
            most = largest.get(point.name, largest.get(point.name.split("_")[0], 1.0))
            powers[point.scale_from] = max(powers.get(point.scale_from, -10), power_of_ten(point, most))
    return powers


def _cells(registers: RegisterMap, gets: dict[str, Get], takes: dict[str, Take], powers: dict[str, int]) -> list[Cell]:
    """A cell for every point of a map that shows no figure of the meter.

    Names without a value here read as the map expects them, or as missing.
    """
    cells = []
    for point in registers.points:
        if _is_figure(point, powers):
            continue
        get = gets.get(point.name)
        if point.name in powers:
            get = partial(_same, powers[point.name])
        elif point.expect is not None or get is None:
            get = partial(_same, point.expect)
        take = takes.get(point.name) if point.write_function is not None else None
        cells.append(Cell(point, get, take, powers.get(point.scale_from or "", 0)))
    return cells


def _same(value: Value) -> Value:
    return value


def _is_figure(point: Point, powers: dict[str, int]) -> bool:
    """True for numbers that the meter measures."""
    plain = point.expect is None and point.name not in powers and point.kind not in (Kind.BIT, Kind.TEXT)
    return plain and point.name in FIGURES


def _sample(registers: RegisterMap, meter: Meter, ratio: float, powers: dict[str, int]) -> Sample:
    """The meter's figures where a map shows them."""
    figures = [
        Figure(p, FIGURES.index(p.name), ratio if p.name in BY_RATIO else 1.0, powers.get(p.scale_from or "", 0))
        for p in registers.points
        if _is_figure(p, powers)
    ]
    return Sample(meter.count, meter.figures, tuple(figures))


def _by_pace(cells: list[Cell], state: Callable[[], object], clock: Callable[[], object]) -> list[Group]:
    """What changes with the device's state, and what moves with time."""
    timed = tuple([c for c in cells if c.point.name in _CLOCK])
    return [Group(state, tuple([c for c in cells if c not in timed])), Group(clock, timed)]
