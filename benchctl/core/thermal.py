"""Temperatures at which a unit warns and is taken off, and the reference that its exhaust must come near.

The expected rise is that of air at sea level (`Profile.full_rise_k`); at altitude the rise is larger, which the
unit's own trip bounds. The thresholds use the rise at full load at every load: the exhaust lags the load by a
minute, and a threshold that followed the load would trip on each step down.
"""

from benchctl.core.profile import CoolDown
from benchctl.core.reading import Maybe, UnitReading
from benchctl.core.site import Limits, Unit

AMBIENT_C = 25.0  # assumed for thresholds while the inlet is not known


def _threshold_c(unit: Unit, reading: UnitReading, limits: Limits, over_percent: float) -> float:
    highest_c = unit.profile.exhaust_trip_c - limits.exhaust_below_trip_k
    rise_k = unit.profile.full_rise_k
    if rise_k is None:
        return highest_c
    inlet_c = AMBIENT_C if reading.inlet_c is None else reading.inlet_c
    return min(highest_c, inlet_c + rise_k * (1.0 + over_percent / 100.0))


def warn_c(unit: Unit, reading: UnitReading, limits: Limits) -> float:
    """Exhaust temperature that warns, in degrees Celsius."""
    return _threshold_c(unit, reading, limits, limits.exhaust_warn_percent)


def over_c(unit: Unit, reading: UnitReading, limits: Limits) -> float:
    """Exhaust temperature at which the unit is taken off, in degrees Celsius."""
    return _threshold_c(unit, reading, limits, limits.exhaust_trip_percent)


def lowest_limit_c(unit: Unit, reading: UnitReading, limits: Limits) -> float:
    """The lower of the two, in degrees Celsius: an exhaust below it neither warns nor trips."""
    return _threshold_c(unit, reading, limits, min(limits.exhaust_warn_percent, limits.exhaust_trip_percent))


def reads_cool(cooldown: CoolDown, reading: UnitReading, ambient_c: Maybe) -> bool:
    """True when a sensor says that the exhaust is near its reference; a unit without one never reads cool."""
    return cooldown.reference != "none" and near(cooldown, reading, ambient_c) is True


def near(cooldown: CoolDown, reading: UnitReading, ambient_c: Maybe) -> bool | None:
    """True when the exhaust is near its reference; None when that cannot be known."""
    if cooldown.reference == "none":
        return True
    reference_c = reading.inlet_c if cooldown.reference == "inlet" else ambient_c
    if reading.exhaust_c is None or reference_c is None:
        return None
    return reading.exhaust_c <= reference_c + cooldown.margin_k
