"""What the wire said in one scan: values or not known. Missing is None, never zero.

A reading belongs to one scan only; age and last known values are kept by perceive, not here.
"""

from dataclasses import dataclass
from enum import Enum

Maybe = float | None
Three = tuple[Maybe, Maybe, Maybe]
NONE3: Three = (None, None, None)


class Outcome(Enum):
    """How the reads of one device ended in one scan."""

    OK = "ok"  # every planned block answered
    PART = "part"  # some blocks answered, some not (exceptions, bad replies)
    SILENT = "silent"  # no answer within the deadline
    DOWN = "down"  # no connection
    REFUSED = "refused"  # only exceptions, or replies that failed our checks
    GATEWAY = "gateway"  # the gateway answers for a missing unit (exceptions 10, 11)
    NOT_ASKED = "not asked"  # resting, or the scan was cut short

    def __init__(self, word: str) -> None:
        self.answered = word in ("ok", "part", "refused")  # the device itself was heard
        self.tells = word in ("ok", "part")  # there are values; a busy device that only refuses leaves its last to age


def mean(values: Three) -> Maybe:
    """Mean of the values that are known, or None."""
    a, b, c = values
    if a is not None and b is not None and c is not None:
        return (a + b + c) / 3
    known = [v for v in values if v is not None]
    return sum(known) / len(known) if known else None


@dataclass(frozen=True, slots=True)
class Electrical:
    """One measurement of volts, amps and power; indices 0, 1, 2 are A, B, C or AB, BC, CA."""

    volts_ll: Three = NONE3
    volts_ln: Three = NONE3
    amps: Three = NONE3
    phase_kw: Three = NONE3
    power_kw: Maybe = None
    reactive_kvar: Maybe = None
    power_factor: Maybe = None
    hertz: Maybe = None
    energy_kwh: Maybe = None
    refresh_count: int | None = None

    @property
    def total_kw(self) -> Maybe:
        """Total kW: as reported, or the sum of three known phases."""
        if self.power_kw is not None:
            return self.power_kw
        a, b, c = self.phase_kw
        return None if a is None or b is None or c is None else a + b + c


NO_ELECTRICAL = Electrical()


@dataclass(frozen=True, slots=True)
class UnitReading:
    """One unit in one scan. load and load_order are the integers of `core/levels.py`."""

    outcome: Outcome
    load: int | None = None  # read back: stages closed, or set point in force
    load_order: int | None = None  # the order register as it stands in the unit (who else wrote it?)
    remote: bool | None = None
    fan_on: bool | None = None
    airflow: bool | None = None
    fan_supply: bool | None = None
    emergency_stop: bool | None = None
    site_needs_set: bool | None = None
    inlet_c: Maybe = None
    exhaust_c: Maybe = None
    uptime_s: Maybe = None
    serial: str | None = None
    identity_ok: bool | None = None  # the profile's known values read as they should; None = not read in this scan
    faults: int = 0  # bit i = profile.faults[i] is active
    faults_known: int = 0  # bit i = that bit was read
    electrical: Electrical = NO_ELECTRICAL
    suspect: tuple[str, ...] = ()  # names of values refused as implausible, out of range, or a decoding suspicion
    power_reading: bool = False  # the unit's own meter block was read


@dataclass(frozen=True, slots=True)
class InstrumentReading:
    """One meter or panel in one scan."""

    outcome: Outcome
    electrical: Electrical = NO_ELECTRICAL
    speed_rpm: Maybe = None
    oil_kpa: Maybe = None
    coolant_c: Maybe = None
    fuel_percent: Maybe = None
    battery_v: Maybe = None
    set_running: bool | None = None
    set_fault: bool | None = None
    site_needs_set: bool | None = None
    serial: str | None = None
    identity_ok: bool | None = None
    uptime_s: Maybe = None
    suspect: tuple[str, ...] = ()


NOT_ASKED_UNIT = UnitReading(Outcome.NOT_ASKED)
NOT_ASKED_INSTRUMENT = InstrumentReading(Outcome.NOT_ASKED)
