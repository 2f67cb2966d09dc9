"""Energy and average load: measured (trapezoids between samples) and planned (constant levels) are separate figures."""

import itertools
import math
from collections.abc import Sequence

from benchctl.electrical.checks import finite, not_negative, positive


def measured_kwh(times_s: Sequence[float], powers_kw: Sequence[float]) -> float:
    """Energy in kWh of samples: the sum of mean(P_k, P_k+1) Δt. Fewer than two samples hold no energy.

    Raises ValueError when the sequences differ in length, a time goes back, or a value is not finite.
    """
    samples = list(zip(times_s, powers_kw, strict=True))
    parts = []
    for (t0, p0), (t1, p1) in itertools.pairwise(samples):
        finite(time_s=t1, power_kw=p1, first_time_s=t0, first_power_kw=p0)
        if t1 < t0:
            raise ValueError(f"time goes back from {t0} s to {t1} s")
        parts.append((p0 + p1) / 2.0 * (t1 - t0))
    return math.fsum(parts) / 3600.0


def planned_kwh(levels: Sequence[tuple[float, float]]) -> float:
    """Energy in kWh of (kW, hours) levels, each constant."""
    for power_kw, hours in levels:
        not_negative(power_kw=power_kw, hours=hours)
    return math.fsum(power_kw * hours for power_kw, hours in levels)


def average_percent(
    levels: Sequence[tuple[float, float]], rated_kw: float, least_percent: float = 30.0
) -> float | None:
    """Average load of (kW, hours) levels in percent of rated; None without any time.

    By ISO 8528-1 (from memory) loads below 30 % count as 30 % and stopped time is left out (so do not list
    it).
    """
    positive(rated_kw=rated_kw)
    not_negative(least_percent=least_percent)
    planned_kwh(levels)  # for its checks
    hours = math.fsum(h for _, h in levels)
    counted = math.fsum(max(100.0 * kw / rated_kw, least_percent) * h for kw, h in levels)
    return counted / hours if hours > 0.0 else None
