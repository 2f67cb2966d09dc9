"""Metric or US units, and how numbers are written. Factors are exact by definition: inch 25.4 mm, gallon 231 cubic
inches, pound 0.45359237 kg, standard gravity 9.80665 m/s²; a degree Fahrenheit is 5/9 K.
"""

import math
from dataclasses import dataclass

NBSP = "\u00a0"
MISSING = "–"

GALLON_L = 231 * 2.54**3 / 1000.0
PSI_KPA = 0.45359237 * 9.80665 / 0.0254**2 / 1000.0
FOOT_M = 0.3048
CFM_M3_S = FOOT_M**3 / 60.0


@dataclass(frozen=True, slots=True)
class Scale:
    """How a unit of ours is told: value x factor + shift."""

    unit: str
    factor: float = 1.0
    shift: float = 0.0


US: dict[str, Scale] = {
    "°C": Scale("°F", 1.8, 32.0),
    "K": Scale("°F rise", 1.8),
    "l": Scale("gal", 1.0 / GALLON_L),
    "L": Scale("gal", 1.0 / GALLON_L),
    "kPa": Scale("psi", 1.0 / PSI_KPA),
    "m": Scale("ft", 1.0 / FOOT_M),
    "m³/s": Scale("CFM", 1.0 / CFM_M3_S),
}
METRIC = {"l": Scale("L")}


@dataclass(frozen=True, slots=True)
class Measures:
    """A system of units: "metric" or "us"."""

    system: str = "metric"

    def scale(self, unit: str) -> Scale:
        """How a unit of ours is told."""
        return (US if self.system == "us" else METRIC).get(unit, Scale(unit))

    def unit(self, unit: str) -> str:
        """The unit that is told for ours."""
        return self.scale(unit).unit

    def number(self, value: float | None, unit: str, decimals: int = 1) -> str:
        """The number alone, in the told unit."""
        scale = self.scale(unit)
        return number(None if value is None else value * scale.factor + scale.shift, decimals)

    def say(self, value: float | None, unit: str, decimals: int = 1) -> str:
        """Number and unit, or the sign for a missing value."""
        told = self.number(value, unit, decimals)
        return told if told == MISSING else f"{told}{NBSP}{self.unit(unit)}".strip(NBSP)


def number(value: float | None, decimals: int = 1) -> str:
    """A number with so many decimals, a true minus sign, never -0; missing is a dash."""
    if value is None or math.isnan(value):
        return MISSING
    text = f"{value:.{decimals}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", "−")


def short(value: float | None, digits: int = 6) -> str:
    """A number as short as it may be."""
    return MISSING if value is None or math.isnan(value) else f"{value:.{digits}g}".replace("-", "−")


def clock(seconds: float | None) -> str:
    """h:mm:ss since the run's begin, tenths only where there are some."""
    if seconds is None or not math.isfinite(seconds):
        return MISSING
    tenths = round(abs(seconds) * 10)
    whole, tenth = divmod(tenths, 10)
    sign = "−" if seconds < 0 and tenths else ""
    text = f"{sign}{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
    return f"{text}.{tenth}" if tenth else text
