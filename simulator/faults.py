"""The closed list of `core/scenario.py` made to happen.

One row a fault, with what starts it and what ends it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from benchctl.core.scenario import FAULT_BY_NAME, Fault
from simulator.cables import Cable
from simulator.elements import StagedElements
from simulator.meter import Meter
from simulator.unit import Bank

if TYPE_CHECKING:
    from simulator.bench import Bench


def check(bench: Bench, fault: Fault) -> None:
    """Raise ValueError if the fault's name, or what it is on, is unknown to the site."""
    if fault.fault not in FAULT_BY_NAME:
        raise ValueError(f"no such fault: {fault.fault!r}")
    kind = FAULT_BY_NAME[fault.fault].on
    known = {
        "unit": [u.name for u in bench.site.units],
        "instrument": [x.name for x in bench.site.instruments],
        "source": ["source"],
        "cable": [f"{e.host}:{e.port}" for e in bench.endpoints()],
    }[kind]
    if fault.on not in known:
        raise ValueError(f"fault {fault.fault!r} is on {fault.on!r}, but the site has only: {', '.join(known)}")


def replaces(new: Fault, old: Fault) -> bool:
    """True when a fault takes the place of one that is in force; of some there may be several, with other values."""
    same = (new.fault, new.on) == (old.fault, old.on)
    return same and (new.value == old.value or new.fault not in SEVERAL)


def start(bench: Bench, fault: Fault) -> None:
    """Let the fault begin."""
    _apply(bench, fault, begins=True)


def stop(bench: Bench, fault: Fault) -> None:
    """Let it end: what it changed goes back, what it caused (a trip, a lost order) does not."""
    _apply(bench, fault, begins=False)


def _apply(bench: Bench, fault: Fault, begins: bool) -> None:
    value = fault.value if fault.value is not None else 0.0
    kind = FAULT_BY_NAME[fault.fault].on
    if kind == "unit":
        bank = next(b for b in bench.banks if b.unit.name == fault.on)
        UNIT[fault.fault](bank, value, begins)
        if isinstance(bank.elements, StagedElements):
            bank.elements.settle()
        bank.refresh()
    elif kind == "instrument":
        meter = bench.meter(fault.on)
        INSTRUMENT[fault.fault](meter, value, begins)
        meter.disturb()
    elif kind == "source":
        SOURCE[fault.fault](bench, value, begins)
        bench.changed()
    else:
        CABLE[fault.fault](bench.cables.of(fault.on), value, begins)


def _flag(name: str) -> Callable[[Bank, float, bool], None]:
    def switch(bank: Bank, _: float, begins: bool) -> None:
        setattr(bank.trouble, name, begins)

    return switch


def _code(name: str) -> Callable[[Bank, float, bool], None]:
    def switch(bank: Bank, value: float, begins: bool) -> None:
        setattr(bank.trouble, name, (int(value) or 6) if begins else None)

    return switch


def _stage(name: str) -> Callable[[Bank, float, bool], None]:
    def switch(bank: Bank, value: float, begins: bool) -> None:
        stages: set[int] = getattr(bank.trouble, name)
        (stages.add if begins else stages.discard)(int(value) - 1)

    return switch


def _airflow_stuck(bank: Bank, value: float, begins: bool) -> None:
    bank.trouble.airflow_stuck = value >= 0.5 if begins else None


def _inlet_blocked(bank: Bank, value: float, begins: bool) -> None:
    bank.fan.inlet_share = value if begins else 1.0


def _fuse_blown(bank: Bank, value: float, begins: bool) -> None:
    stage, phase = int(value) - 1, round(value * 10) % 10 - 1
    (bank.trouble.blown.add if begins else bank.trouble.blown.discard)((stage, phase))


def _restarts(bank: Bank, _: float, begins: bool) -> None:
    if begins:
        bank.restart()


def _other_master(bank: Bank, value: float, begins: bool) -> None:
    if begins:
        bank.order_load(bank.elements.nearest(value))


def _swapped(bank: Bank, _: float, begins: bool) -> None:
    bank.trouble.swapped = begins
    bank.restart()


def _frozen(bank: Bank, _: float, begins: bool) -> None:
    bank.trouble.sensor_frozen_c = bank.heat.exhaust_c if begins else None


def _meter_flag(name: str) -> Callable[[Meter, float, bool], None]:
    def switch(meter: Meter, _: float, begins: bool) -> None:
        setattr(meter.trouble, name, begins)

    return switch


def _reversed(meter: Meter, value: float, begins: bool) -> None:
    meter.trouble.reversed = int(value) - 1 if begins else None


def _exchanged(meter: Meter, value: float, begins: bool) -> None:
    meter.trouble.exchanged = (int(value) // 10 - 1, int(value) % 10 - 1) if begins else None


def _ratio(meter: Meter, value: float, begins: bool) -> None:
    meter.trouble.ratio = value if begins else 1.0


def _volts(bench: Bench, value: float, begins: bool) -> None:
    rated_pu = bench.site.nameplate.volts / bench.running_v
    bench.source.set_volts(value / 100.0 * rated_pu if begins else 1.0)


def _hertz(bench: Bench, value: float, begins: bool) -> None:
    bench.source.set_speed(value / 100.0 if begins else 1.0)


def _phase(bench: Bench, value: float, begins: bool) -> None:
    one = frozenset({int(value) - 1})
    bench.set_lost_phases(bench.lost_phases | one if begins else bench.lost_phases - one)


def _source_stops(bench: Bench, _: float, begins: bool) -> None:
    (bench.source.stop if begins else bench.source.start)()


def _limited(bench: Bench, value: float, begins: bool) -> None:
    bench.source.limit(value if begins else None)


def _needs_set(bench: Bench, _: float, begins: bool) -> None:
    bench.needs_set = begins


def _site_load(bench: Bench, value: float, begins: bool) -> None:
    bench.site_kw_fixed = value if begins else None
    bench.set_site_kw(value if begins else 0.0)


def _cut(cable: Cable, _: float, begins: bool) -> None:
    cable.cut = begins
    if begins:
        cable.break_off()


def _refuses(cable: Cable, _: float, begins: bool) -> None:
    cable.refuses = begins


def _cable_value(name: str) -> Callable[[Cable, float, bool], None]:
    def switch(cable: Cable, value: float, begins: bool) -> None:
        setattr(cable, name, value if begins else 0.0)

    return switch


SEVERAL = frozenset(
    {"contactor will not close", "contactor will not open", "fuse blown", "feedback wrong", "phase lost"}
)
UNIT: dict[str, Callable[[Bank, float, bool], None]] = {
    "fan fails": _flag("fan_failed"),
    "airflow proof stuck": _airflow_stuck,
    "inlet blocked": _inlet_blocked,
    "fan supply lost": _flag("fan_supply_lost"),
    "over-temperature": _flag("overheated"),
    "contactor will not close": _stage("will_not_close"),
    "contactor will not open": _stage("will_not_open"),
    "fuse blown": _fuse_blown,
    "feedback wrong": _stage("feedback_wrong"),
    "local": _flag("local"),
    "emergency stop": _flag("emergency_stop"),
    "restarts": _restarts,
    "mute": _flag("mute"),
    "busy": _code("busy"),
    "ignores writes": _flag("ignores_writes"),
    "refuses writes": _code("refuses_writes"),
    "other master": _other_master,
    "swapped": _swapped,
    "temperature sensor lost": _flag("sensor_lost"),
    "temperature sensor frozen": _frozen,
    "watchdog dead": _flag("watchdog_dead"),
}
INSTRUMENT: dict[str, Callable[[Meter, float, bool], None]] = {
    "meter frozen": _meter_flag("frozen"),
    "meter lost": _meter_flag("lost"),
    "transformer reversed": _reversed,
    "transformers exchanged": _exchanged,
    "wrong ratio": _ratio,
    "volts lost at meter": _meter_flag("no_volts"),
}
SOURCE: dict[str, Callable[[Bench, float, bool], None]] = {
    "volts sag": _volts,
    "hertz low": _hertz,
    "phase lost": _phase,
    "source stops": _source_stops,
    "power limited": _limited,
    "site needs the set": _needs_set,
    "site load": _site_load,
}
CABLE: dict[str, Callable[[Cable, float, bool], None]] = {
    "cut": _cut,
    "refuses": _refuses,
    "delay": _cable_value("delay_s"),
    "loses replies": _cable_value("lose"),
    "garbles replies": _cable_value("garble"),
}
