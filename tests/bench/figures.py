"""Samples made into figures: medians with their spread, high percentiles; and where a process runs."""

import os
import platform
from collections.abc import Sequence
from typing import Any


def percentile(samples: Sequence[float], percent: float) -> float:
    """The smallest sample that `percent` of all are not above (nearest rank)."""
    ordered = sorted(samples)
    rank = -(-len(ordered) * percent // 100)
    return ordered[max(0, int(rank) - 1)]


def summary(samples_s: Sequence[float]) -> dict[str, float]:
    """Seconds made into milliseconds: count, median, the middle half's ends, 90th and 99th percentile, extremes."""
    points = {"min": 0, "p25": 25, "median": 50, "p75": 75, "p90": 90, "p99": 99, "max": 100}
    told = {name: round(1e3 * percentile(samples_s, at), 3) for name, at in points.items()}
    return {"count": len(samples_s), **{f"{name}_ms": value for name, value in told.items()}}


def pin(core: int) -> None:
    """Keep this process on one core, counted from 0 among those that it may use, where the system can do that."""
    if hasattr(os, "sched_setaffinity"):
        cores = sorted(os.sched_getaffinity(0))
        os.sched_setaffinity(0, {cores[core % len(cores)]})


def machine() -> dict[str, Any]:
    """Where it was measured."""
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else None
    return {
        "python": platform.python_version(), "system": platform.system(), "machine": platform.machine(),
        "cores": os.cpu_count(), "load_average": load,
    }  # fmt: skip
