"""Droop and regulation, steady bands and deviations: each in percent of a denominator that is named."""

from collections.abc import Sequence

from benchctl.electrical.checks import finite, magnitudes, positive


def droop_percent(no_load: float, rated_load: float) -> float:
    """Change from no load to rated load in percent of the value at rated load; hertz by hertz, or volts by volts.

    Formula: 100 (no load - rated load) / rated load. One printed form of a US guide specification divides
    hertz by volts: a misprint.
    """
    finite(no_load=no_load)
    positive(rated_load=rated_load)
    return 100.0 * (no_load - rated_load) / rated_load


def regulation_percent(no_load: float, loaded: Sequence[float], rated: float) -> float:
    """Largest difference between no load and any load in percent of rated (form of MIL-STD-705 methods)."""
    positive(rated=rated)
    finite(no_load=no_load)
    return 100.0 * max(abs(no_load - value) for value in magnitudes(loaded)) / rated


def band_percent(values: Sequence[float], rated: float) -> float:
    """Full width of the variation at constant load in percent of rated: 100 (max - min) / rated (ISO 8528-5)."""
    found = magnitudes(values)
    positive(rated=rated)
    return 100.0 * (max(found) - min(found)) / rated


def voltage_deviation_percent(steady_volts: Sequence[float], rated_v: float) -> float:
    """Steady-state deviation from no load to rated load, ± percent: 100 (max - min) / (2 U_r) (ISO 8528-5)."""
    return band_percent(steady_volts, rated_v) / 2.0


def deviation_percent(extreme: float, origin: float, rated: float) -> float:
    """Signed transient deviation in percent of rated: 100 (extreme - origin) / rated (ISO 8528-5).

    origin: the value before the step, or rated itself for the transient difference from rated.
    """
    finite(extreme=extreme, origin=origin)
    positive(rated=rated)
    return 100.0 * (extreme - origin) / rated
