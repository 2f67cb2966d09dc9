"""The set's own panel.

Speed, oil, coolant, fuel, battery. Figures are typical of a small diesel: common practice, no source.
"""

from math import exp

from benchctl.core.site import Nameplate
from simulator.source import Source

POLES = 4
WARM_C, FULL_LOAD_C, COOLANT_TAU_S = 78.0, 90.0, 300.0
TANK_L, LITRES_PER_KWH, IDLE_L_PER_H_PER_KW = 800.0, 0.26, 0.02


class Panel:
    """Read-only truth of the engine's own instruments. Heat and fuel are worked out when somebody asks."""

    def __init__(self, nameplate: Nameplate, source: Source, ambient_c: float) -> None:
        self._nameplate, self._source = nameplate, source
        self._fuel_l = 0.9 * TANK_L
        self._coolant_c = ambient_c + 25.0  # kept warm by its heater
        self._now_s = self._worked_s = 0.0
        self._state = (0.0, source.running)  # load in kW and whether it ran, between those two times

    @property
    def speed_rpm(self) -> float:
        """n = 120 f / p with four poles."""
        return 120.0 * self._nameplate.hertz * self._source.speed_pu / POLES

    @property
    def oil_kpa(self) -> float:
        """Pressure follows speed until the relief valve opens."""
        return min(420.0, 450.0 * self._source.speed_pu)

    @property
    def coolant_c(self) -> float:
        """A first-order lag behind what the load asks for."""
        self._work()
        return self._coolant_c

    @property
    def fuel_percent(self) -> float:
        """Of the tank."""
        self._work()
        return 100.0 * self._fuel_l / TANK_L

    @property
    def battery_v(self) -> float:
        """Charged while running."""
        return 27.6 if self._source.running else 25.2

    def elapse(self, to_s: float, load_kw: float) -> None:
        """Let time pass until to_s under that load."""
        state = (load_kw, self._source.running)
        if state != self._state:
            self._work()
            self._state = state
        self._now_s = to_s

    def _work(self) -> None:
        """Warm up and burn fuel."""
        dt_s, (load_kw, ran) = self._now_s - self._worked_s, self._state
        if dt_s <= 0.0:
            return
        self._worked_s = self._now_s
        share = load_kw / self._nameplate.power_kw
        goal = WARM_C + (FULL_LOAD_C - WARM_C) * share if ran else 30.0
        self._coolant_c = goal + (self._coolant_c - goal) * exp(-dt_s / COOLANT_TAU_S)
        if ran:
            litres_per_h = LITRES_PER_KWH * load_kw + IDLE_L_PER_H_PER_KW * self._nameplate.power_kw
            self._fuel_l = max(0.0, self._fuel_l - litres_per_h * dt_s / 3600.0)
