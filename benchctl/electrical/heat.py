"""Heat of a load bank: what its air carries away, how air thins with altitude, how exhaust warms and cools.

A fan moves volume, mass cools: at a fixed volume the rise grows as density falls.
"""

import math
from dataclasses import dataclass

from benchctl.electrical.checks import finite, not_negative, positive

BTU_PER_KWH = 3412.14  # international table British thermal unit
AIR_J_PER_KG_K = 1006.0  # specific heat of dry air at constant pressure
AIR_20C_KG_M3 = 1.2041  # dry air at 20 °C and 101.325 kPa
CFM_PER_KW_F = 3160.0  # common fan-engineering figure at sea level: cubic feet a minute for 1 kW and 1 °F


def btu_per_hour(power_kw: float) -> float:
    """Heat in BTU/h: 3412.14 P."""
    not_negative(power_kw=power_kw)
    return BTU_PER_KWH * power_kw


def airflow_cfm(power_kw: float, rise_f: float) -> float:
    """Air in cubic feet a minute at sea level for a rise in °F: 3160 P / ΔT."""
    not_negative(power_kw=power_kw)
    positive(rise_f=rise_f)
    return CFM_PER_KW_F * power_kw / rise_f


def airflow_m3_s(power_kw: float, rise_k: float, density_kg_m3: float = AIR_20C_KG_M3) -> float:
    """Air in m³/s for a rise in K: Q = P / (ρ c_p ΔT)."""
    not_negative(power_kw=power_kw)
    positive(rise_k=rise_k, density_kg_m3=density_kg_m3)
    return 1000.0 * power_kw / (density_kg_m3 * AIR_J_PER_KG_K * rise_k)


def rise_k(power_kw: float, flow_m3_s: float, density_kg_m3: float = AIR_20C_KG_M3) -> float:
    """Rise of the exhaust over the inlet in K: ΔT = P / (ρ c_p Q)."""
    positive(flow_m3_s=flow_m3_s)
    not_negative(power_kw=power_kw)
    positive(density_kg_m3=density_kg_m3)
    return 1000.0 * power_kw / (density_kg_m3 * AIR_J_PER_KG_K * flow_m3_s)


@dataclass(frozen=True, slots=True)
class Air:
    """The standard atmosphere at an altitude."""

    temperature_k: float
    pressure_pa: float
    density_kg_m3: float


def standard_air(altitude_m: float) -> Air:
    """ISO 2533 atmosphere: T = 288.15 - 0.0065 h, p = 101325 (T / 288.15)^5.2559, ρ = p / (287.053 T).

    Raises ValueError outside -1000 to 11 000 m, where the formula ends.
    """
    finite(altitude_m=altitude_m)
    if not -1000.0 <= altitude_m <= 11_000.0:
        raise ValueError(f"altitude is {altitude_m} m; -1000 to 11000 m is expected")
    temperature_k = 288.15 - 0.0065 * altitude_m
    pressure_pa = 101_325.0 * (temperature_k / 288.15) ** 5.2559
    return Air(temperature_k, pressure_pa, pressure_pa / (287.053 * temperature_k))


def density_ratio(altitude_m: float) -> float:
    """Density of the standard atmosphere as a share of that at sea level."""
    return standard_air(altitude_m).density_kg_m3 / standard_air(0.0).density_kg_m3


def settled_share(time_s: float, tau_s: float) -> float:
    """Share of the final value that a first-order rise has reached: 1 - exp(-t / τ)."""
    not_negative(time_s=time_s)
    positive(tau_s=tau_s)
    return -math.expm1(-time_s / tau_s)


def decay_s(share_left: float, tau_s: float) -> float:
    """Time in s until a first-order fall has come down to a share of where it began: -τ ln(share)."""
    positive(share_left=share_left, tau_s=tau_s)
    if share_left > 1.0:
        raise ValueError(f"share_left is {share_left}; above 0 and up to 1 is expected")
    return -tau_s * math.log(share_left)
