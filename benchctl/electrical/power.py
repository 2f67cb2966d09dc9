"""Power of one and three phases: amps, apparent, active and reactive power. kW, kVA, kvar, V, A throughout."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.electrical.checks import finite, not_negative, positive


def three_phase_amps(power_kw: float, volts: float, power_factor: float = 1.0) -> float:
    """Line current in A of a balanced three-phase load: I = P / (√3 U cos φ). volts: line-to-line."""
    return single_phase_amps(power_kw, volts, power_factor) / math.sqrt(3.0)


def single_phase_amps(power_kw: float, volts: float, power_factor: float = 1.0) -> float:
    """Current in A of a single-phase load: I = P / (U cos φ)."""
    not_negative(power_kw=power_kw)
    positive(volts=volts)
    return 1000.0 * apparent_kva(power_kw, power_factor) / volts


def three_phase_kw(volts: float, amps: float, power_factor: float = 1.0) -> float:
    """Active power in kW of a balanced three-phase load: P = √3 U I cos φ. volts: line-to-line."""
    return math.sqrt(3.0) * single_phase_kw(volts, amps, power_factor)


def single_phase_kw(volts: float, amps: float, power_factor: float = 1.0) -> float:
    """Active power in kW of a single-phase load: P = U I cos φ."""
    not_negative(volts=volts, amps=amps)
    return volts * amps * _factor(power_factor) / 1000.0


def apparent_kva(power_kw: float, power_factor: float) -> float:
    """Apparent power in kVA: S = P / cos φ."""
    finite(power_kw=power_kw)
    return power_kw / _factor(power_factor)


def reactive_kvar(power_kw: float, power_factor: float) -> float:
    """Reactive power in kvar, without its sign: Q = √(S² - P²)."""
    finite(power_kw=power_kw)
    return abs(power_kw) * math.sqrt(1.0 - _factor(power_factor) ** 2) / power_factor


def vector_kva(power_kw: float, reactive: float) -> float:
    """Apparent power in kVA from active and reactive power: S = √(P² + Q²)."""
    finite(power_kw=power_kw, reactive_kvar=reactive)
    return math.hypot(power_kw, reactive)


def power_factor(power_kw: float, reactive: float) -> float | None:
    """cos φ = P / √(P² + Q²), 0 to 1; None when there is no power at all."""
    apparent = vector_kva(power_kw, reactive)
    return abs(power_kw) / apparent if apparent > 0.0 else None


@dataclass(frozen=True, slots=True)
class Totals:
    """Sums over phases. The two apparent powers agree only when every phase has the same power factor."""

    power_kw: float
    reactive_kvar: float
    vector_kva: float
    arithmetic_kva: float


def totals(powers_kw: Sequence[float], reactives_kvar: Sequence[float]) -> Totals:
    """Three-phase totals from the phases' kW and kvar: P and Q are true sums; S as vector and as arithmetic sum.

    Raises ValueError when the sequences differ in length or a value is not finite.
    """
    arithmetic = math.fsum(vector_kva(p, q) for p, q in zip(powers_kw, reactives_kvar, strict=True))
    power, reactive = math.fsum(powers_kw), math.fsum(reactives_kvar)
    return Totals(power, reactive, math.hypot(power, reactive), arithmetic)


def _factor(power_factor: float) -> float:
    if not 0.0 < power_factor <= 1.0:
        raise ValueError(f"power factor is {power_factor}; a number above 0 and up to 1 is expected")
    return power_factor
