"""What altitude and heat leave of a source's rating, by the linear steps that makers' tables use."""

from dataclasses import dataclass

from benchctl.electrical.checks import finite, not_negative, positive


@dataclass(frozen=True, slots=True)
class Slope:
    """So many percent for each step above a threshold; altitude in m or temperature in °C."""

    above: float
    step: float
    percent: float

    def share(self, value: float) -> float:
        """What is left at a value, 0 to 1. Raises ValueError when value or step makes no sense."""
        finite(value=value, above=self.above)
        positive(step=self.step)
        not_negative(percent=self.percent)
        return max(0.0, 1.0 - self.percent / 100.0 * max(0.0, value - self.above) / self.step)


# Common in alternator derating charts; a maker's own table always rules.
ALTITUDE = Slope(above=1000.0, step=500.0, percent=3.0)
AMBIENT = Slope(above=40.0, step=5.0, percent=3.0)


def derated_share(altitude_m: float, ambient_c: float, altitude: Slope = ALTITUDE, ambient: Slope = AMBIENT) -> float:
    """Share of the rating that is left at an altitude and an ambient temperature: the product of both slopes."""
    return altitude.share(altitude_m) * ambient.share(ambient_c)
