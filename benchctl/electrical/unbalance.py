"""Unbalance of three phases: methods that differ, so each result must be shown with its method's name.

`nema_percent` serves alarms and dispatch; `true_percent` needs angles; `line_percent` gives the same figure
from the three line-to-line magnitudes, which always close a triangle; `army_percent` is the spread as
military manuals define it.
"""

import cmath
import math
from collections.abc import Sequence

from benchctl.electrical.checks import finite, magnitudes, positive

METHODS = {
    "nema": "largest deviation from the mean, in percent of the mean (line volts, or amps)",
    "phase": "largest deviation from the mean, in percent of the mean, of line-to-neutral volts",
    "true": "negative-sequence volts in percent of positive-sequence volts",
    "line": "negative in percent of positive sequence, from the three line-to-line magnitudes",
    "spread": "largest less smallest, in percent of the mean",
    "army": "largest less smallest, in percent of rated",
}


def nema_percent(values: Sequence[float]) -> float | None:
    """Largest deviation from the mean in percent of the mean; None when all values are 0.

    values: two or three magnitudes of one kind (V line-to-line, A, kW). Formula: 100 max|x - mean| / mean,
    NEMA MG 1 form. Raises ValueError for no values, negative or not finite ones.
    """
    found = magnitudes(values)
    mean = math.fsum(found) / len(found)
    return 100.0 * max(max(found) - mean, mean - min(found)) / mean if mean > 0.0 else None


def phase_percent(volts: Sequence[float]) -> float | None:
    """The same sum on line-to-neutral volts, which is another figure than on line volts (IEEE phase form)."""
    return nema_percent(volts)


def sequences(a: complex, b: complex, c: complex) -> tuple[complex, complex, complex]:
    """Zero, positive and negative sequence of three phasors, in their unit (Fortescue's transformation)."""
    finite(a=abs(a), b=abs(b), c=abs(c))
    turn = cmath.exp(2j * math.pi / 3.0)
    return (a + b + c) / 3.0, (a + turn * b + turn * turn * c) / 3.0, (a + turn * turn * b + turn * c) / 3.0


def true_percent(a: complex, b: complex, c: complex) -> float | None:
    """Negative sequence in percent of positive sequence; None when there is no positive sequence.

    Formula: 100 |U2| / |U1| of IEC 61000-4-30; needs phasors with angles.
    """
    _, forward, backward = sequences(a, b, c)
    return 100.0 * abs(backward) / abs(forward) if abs(forward) > 0.0 else None


def line_percent(ab: float, bc: float, ca: float) -> float | None:
    """Negative in percent of positive sequence from three line-to-line magnitudes in V; None when all are 0.

    Formula: beta = sum U^4 / (sum U^2)^2; 100 sqrt((1 - sqrt(3 - 6 beta)) / (1 + sqrt(3 - 6 beta))), the form
    of IEC 61000-4-30 and CIGRE. Raises ValueError for magnitudes that cannot close a triangle.
    """
    lines = magnitudes((ab, bc, ca))
    if max(lines) == 0.0:
        return None
    if 2.0 * max(lines) > math.fsum(lines) * (1.0 + 1e-12):
        raise ValueError(f"line volts {ab}, {bc}, {ca} cannot close a triangle")
    share = [u / max(lines) for u in lines]  # squares of squares of tiny volts would vanish
    beta = math.fsum(u**4 for u in share) / math.fsum(u**2 for u in share) ** 2
    root = math.sqrt(min(1.0, max(0.0, 3.0 - 6.0 * beta)))  # equal volts give 1 but for the last bit
    return 100.0 * math.sqrt((1.0 - root) / (1.0 + root))


def spread_percent(values: Sequence[float]) -> float | None:
    """Largest less smallest in percent of the mean; None when all values are 0. Nearly twice `nema_percent`."""
    found = magnitudes(values)
    mean = math.fsum(found) / len(found)
    return 100.0 * (max(found) - min(found)) / mean if mean > 0.0 else None


def army_percent(values: Sequence[float], rated: float) -> float:
    """Largest less smallest in percent of rated (US Army generator manuals after MIL-STD-705 methods)."""
    found = magnitudes(values)
    positive(rated=rated)
    return 100.0 * (max(found) - min(found)) / rated
