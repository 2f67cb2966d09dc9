"""The columns of an export: what is told of every scan, in the order of the file. Missing values stay None.

Commanded and read back kW are those of the stages at the unit's rated volts; measured kW are what its own meter says.
A value is of its own scan only; `age_s` tells how long ago the device last had values to tell.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from benchctl.core.levels import load_kw
from benchctl.core.orders import Orders, UnitOrders
from benchctl.core.profile import Profile
from benchctl.core.reading import Electrical, InstrumentReading, Maybe, UnitReading
from benchctl.core.site import Instrument, Site, Unit
from benchctl.record.reader import Scan

Cell = str | float | int | bool | None

CHAIN = ("target_kw", "delivered_kw", "source_kw", "volts_v", "hertz", "hottest_c", "units_heard")

UNIT = ("commanded_rated_kw", "read_back_rated_kw", "measured_kw", "exhaust_c", "inlet_c", "airflow", "fan_on", "age_s")

THREES = (
    ("volts_ll", ("volts_ab", "volts_bc", "volts_ca")),
    ("volts_ln", ("volts_a", "volts_b", "volts_c")),
    ("amps", ("amps_a", "amps_b", "amps_c")),
    ("phase_kw", ("power_a_kw", "power_b_kw", "power_c_kw")),
)
SINGLES = ("power_kw", "reactive_kvar", "power_factor", "hertz", "energy_kwh")
PANEL = ("speed_rpm", "oil_kpa", "coolant_c", "fuel_percent", "battery_v", "set_running", "set_fault", "site_needs_set")


@dataclass(frozen=True, slots=True)
class Channel:
    """One column of a device: its heading without the device's name, and where its value is."""

    name: str
    value: Callable[[InstrumentReading], Cell]


def _electrical(field: str, index: int | None = None) -> Callable[[InstrumentReading], Cell]:
    def value(reading: InstrumentReading) -> Cell:
        found = getattr(reading.electrical, field)
        known: Cell = found if index is None else found[index]
        return known

    return value


def _own(field: str) -> Callable[[InstrumentReading], Cell]:
    def value(reading: InstrumentReading) -> Cell:
        known: Cell = getattr(reading, field)
        return known

    return value


INSTRUMENT: tuple[Channel, ...] = (
    *(Channel(name, _electrical(field, i)) for field, names in THREES for i, name in enumerate(names)),
    *(Channel(name, _electrical(name)) for name in SINGLES),
    *(Channel(name, _own(name)) for name in PANEL),
)


def instrument_channels(instrument: Instrument) -> tuple[Channel, ...]:
    """The channels that an instrument reports; all of them where that is not stated."""
    return tuple(c for c in INSTRUMENT if not instrument.reports or c.name in instrument.reports)


def headings(site: Site) -> list[str]:
    """All headings, in the order of `values`."""
    names = ["time", "elapsed_s", "scan", *CHAIN]
    names += [f"{unit.name} {name}" for unit in site.units for name in UNIT]
    for instrument in site.instruments:
        names += [f"{instrument.name} {channel.name}" for channel in instrument_channels(instrument)]
        names.append(f"{instrument.name} age_s")
    return [*names, "events"]


def unit_values(unit: Unit, orders: UnitOrders, reading: UnitReading, age_s: Maybe) -> list[Cell]:
    """The columns of one unit. A unit that we write nothing to has nothing commanded."""
    load = None if orders.silent else orders.keep if orders.raise_to is None else orders.raise_to
    return [
        _rated_kw(unit.profile, load),
        _rated_kw(unit.profile, reading.load),
        _measured_kw(reading.electrical),
        reading.exhaust_c,
        reading.inlet_c,
        reading.airflow,
        reading.fan_on,
        age_s,
    ]


def _rated_kw(profile: Profile, load: int | None) -> Maybe:
    try:
        return None if load is None else load_kw(profile, load)
    except ValueError:  # more than the unit has: read back from a damaged register
        return None


def _measured_kw(electrical: Electrical) -> Maybe:
    return electrical.power_kw


class Ages:
    """How long ago each device last had values to tell, in the order of the scans.

    heard_s: when each of the devices, units first, last had before the first scan that is asked about; None = never.
    """

    def __init__(self, heard_s: Sequence[Maybe]) -> None:
        self._heard_s = list(heard_s)

    def at(self, now_s: float, readings: Sequence[UnitReading | InstrumentReading]) -> list[Maybe]:
        """When each last had, as of this scan; None = it never had."""
        self._heard_s = [
            now_s if reading.outcome.tells else heard for heard, reading in zip(self._heard_s, readings, strict=True)
        ]
        return self._heard_s

    def of(self, now_s: float, readings: Sequence[UnitReading | InstrumentReading]) -> list[Maybe]:
        """Ages in seconds in this scan; None = it never had."""
        return [None if heard is None else now_s - heard for heard in self.at(now_s, readings)]


def values(site: Site, scan: Scan, ages: Ages) -> list[Cell]:
    """The columns of one scan between `scan` and `events`. Raises RecordFault for damage."""
    inputs, orders = scan.inputs(site), scan.orders()
    cells: list[Cell] = [getattr(scan, name) for name in CHAIN]
    age_s = ages.of(scan.now_s, (*inputs.units, *inputs.instruments))
    for unit, order, reading, age in zip(site.units, _units(orders, site), inputs.units, age_s, strict=False):
        cells += unit_values(unit, order, reading, age)
    for instrument, heard, age in zip(site.instruments, inputs.instruments, age_s[len(site.units) :], strict=True):
        cells += [channel.value(heard) for channel in instrument_channels(instrument)]
        cells.append(age)
    return cells


def _units(orders: Orders, site: Site) -> Sequence[UnitOrders]:
    return orders.units or [UnitOrders(silent=True)] * len(site.units)
