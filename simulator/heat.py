"""Heat in a unit: elements in a stream of air, and a sensor behind them.

One mass: `C dT/dt = P - G (T - T_in)` with `G = rho cp Q` at the present airflow, so the steady rise is
P/(rho cp Q) and the time constant C/G (first-order heating, any heat transfer text). C follows from the
element time constant at full flow; without a fan only a little heat leaves, at a time constant of its own.
The sensor lags by its own time constant. Both equations have closed solutions while power and airflow are
constant, so an hour costs as much as a second. Density falls with height as in the standard atmosphere (ISO
2533): mass, not volume, cools.
"""

from math import exp

RHO_SEA = 1.2041  # kg/m³ at 20 °C
CP = 1006.0  # J/(kg K)


def density(altitude_m: float) -> float:
    """Air at 20 °C in kg/m³: sea level's times the standard atmosphere's density ratio at that height."""
    ratio = 1.0 - 2.25577e-5 * altitude_m
    return float(RHO_SEA * ratio**4.2559)


class Heat:
    """Temperatures of one unit in °C: element (air behind the elements) and exhaust (what the sensor feels)."""

    __slots__ = ("_capacity", "_flow_g", "_sensor_tau_s", "_still_g", "at_rest", "element_c", "exhaust_c", "inlet_c")

    def __init__(
        self,
        inlet_c: float,
        flow_m3_s: float,
        element_tau_s: float,
        sensor_tau_s: float,
        still_air_tau_s: float,
        altitude_m: float = 0.0,
    ) -> None:
        self.inlet_c = self.element_c = self.exhaust_c = inlet_c
        self.at_rest = True
        self._flow_g = density(altitude_m) * CP * flow_m3_s / 1000.0  # kW/K at full flow
        self._capacity = self._flow_g * element_tau_s  # kJ/K
        self._still_g = self._capacity / still_air_tau_s
        # Equal time constants make the closed solution 0/0; a part in a million apart changes nothing.
        self._sensor_tau_s = sensor_tau_s if sensor_tau_s != element_tau_s else sensor_tau_s * 1.000001

    def final_c(self, power_kw: float, flow: float) -> float:
        """Where temperatures go at that power and share of full airflow."""
        return self.inlet_c + power_kw / max(self._flow_g * flow, self._still_g)

    def elapse(self, dt_s: float, power_kw: float, flow: float) -> None:
        """Let dt_s pass at constant power and share of full airflow (0 to 1)."""
        g = max(self._flow_g * flow, self._still_g)
        final = self.inlet_c + power_kw / g
        gap = self.element_c - final
        if -1e-4 < gap < 1e-4 and -1e-4 < self.exhaust_c - final < 1e-4:
            self.element_c = self.exhaust_c = final
            self.at_rest = True
            return
        self.at_rest = False
        tau, lag = self._capacity / g, self._sensor_tau_s
        if lag == tau:
            lag *= 1.000001
        share = gap * tau / (tau - lag)
        fall = exp(-dt_s / tau)
        self.element_c = final + gap * fall
        self.exhaust_c = final + share * fall + (self.exhaust_c - final - share) * exp(-dt_s / lag)
