"""Refusal of nonsense: every function of this room says at once what is wrong with its inputs."""

import math
from collections.abc import Iterable


def finite(**values: float) -> None:
    """Raise ValueError unless all values are finite numbers."""
    for name, value in values.items():
        if not math.isfinite(value):
            raise ValueError(f"{name} is {value}; a finite number is expected")


def not_negative(**values: float) -> None:
    """Raise ValueError unless all values are finite and at least 0."""
    finite(**values)
    for name, value in values.items():
        if value < 0.0:
            raise ValueError(f"{name} is {value}; it cannot be negative")


def positive(**values: float) -> None:
    """Raise ValueError unless all values are finite and above 0."""
    finite(**values)
    for name, value in values.items():
        if value <= 0.0:
            raise ValueError(f"{name} is {value}; it must be above 0")


def magnitudes(values: Iterable[float]) -> tuple[float, ...]:
    """The values as a tuple. Raises ValueError when there is none, or one is negative or not finite."""
    found = tuple(values)
    if not found:
        raise ValueError("at least one value is expected")
    for value in found:
        if not 0.0 <= value < math.inf:
            raise ValueError(f"{value} is no magnitude; a finite number from 0 up is expected")
    return found
