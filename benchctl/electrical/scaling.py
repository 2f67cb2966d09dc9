"""How a resistive load follows its volts, and what its connection makes of the same elements.

One law rules the file, P = U²/R: at other volts than rated a bank gives (U / U_rated)² of its kW. Element
resistance is taken as fixed; it rises by some percent from cold to hot, which a bank's rating already
contains.
"""

import math

from benchctl.electrical.checks import not_negative, positive


def power_ratio(rated_v: float, volts: float) -> float:
    """Share of rated kW at other volts: (U / U_rated)²."""
    positive(rated_v=rated_v)
    not_negative(volts=volts)
    return (volts / rated_v) ** 2


def scaled_kw(rated_kw: float, rated_v: float, volts: float) -> float:
    """kW at other volts: P_rated (U / U_rated)²."""
    not_negative(rated_kw=rated_kw)
    return rated_kw * power_ratio(rated_v, volts)


def scaled_amps(rated_amps: float, rated_v: float, volts: float) -> float:
    """A at other volts: I_rated U / U_rated."""
    not_negative(rated_amps=rated_amps)
    return rated_amps * math.sqrt(power_ratio(rated_v, volts))


def rated_needed_kw(target_kw: float, rated_v: float, volts: float) -> float:
    """Rated kW to switch on for a target at the present volts: P (U_rated / U)²."""
    positive(volts=volts)
    not_negative(target_kw=target_kw)
    return target_kw / power_ratio(rated_v, volts)


def units_needed(target_kw: float, unit_kw: float, rated_v: float, volts: float) -> int:
    """How many equal units carry a target at the present volts."""
    positive(unit_kw=unit_kw)
    return math.ceil(rated_needed_kw(target_kw, rated_v, volts) / unit_kw - 1e-9)


def setting_for_sag(target: float, sag_percent: float) -> float:
    """What to set so that a target is delivered when volts sag by so many percent: target / (1 - sag)²."""
    not_negative(target=target, sag_percent=sag_percent)
    positive(rest_percent=100.0 - sag_percent)
    return target / (1.0 - sag_percent / 100.0) ** 2


def wye_ohms(power_kw: float, volts: float) -> float:
    """Resistance of each of three wye elements in Ω: R = U² / P. volts: line-to-line; power_kw: all three."""
    positive(power_kw=power_kw, volts=volts)
    return volts**2 / (1000.0 * power_kw)


def delta_ohms(power_kw: float, volts: float) -> float:
    """Resistance of each of three delta elements in Ω: R = 3 U² / P. volts: line-to-line; power_kw: all three."""
    return 3.0 * wye_ohms(power_kw, volts)


def wye_kw(ohms: float, volts: float) -> float:
    """kW of three equal wye elements: P = U² / R. volts: line-to-line."""
    positive(ohms=ohms)
    not_negative(volts=volts)
    return volts**2 / ohms / 1000.0


def delta_kw(ohms: float, ab: float, bc: float, ca: float) -> float:
    """kW of three equal delta elements: the sum of each U²/R. The square of the mean volts would be too small."""
    positive(ohms=ohms)
    not_negative(ab=ab, bc=bc, ca=ca)
    return math.fsum((ab**2, bc**2, ca**2)) / ohms / 1000.0


def wye_to_delta_kw(power_kw: float) -> float:
    """kW of wye elements put in delta on the same line volts: three times."""
    not_negative(power_kw=power_kw)
    return 3.0 * power_kw


def series_to_parallel_kw(power_kw: float) -> float:
    """kW of two equal halves put from series to parallel at the same volts: four times (equal kW at half the volts)."""
    not_negative(power_kw=power_kw)
    return 4.0 * power_kw
