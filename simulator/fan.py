"""A unit's fan: motor, spin-up and spin-down, and the airflow switch.

Flow rises and falls in a straight line with the times of the profile; the switch proves air from 0.4 of full
flow on (common practice, no source). An obstructed inlet takes its share of the flow.
"""

PROOF_SHARE = 0.4


class Fan:
    """share of full speed, 0 to 1, as a straight line in time from the last change of the motor's supply."""

    __slots__ = ("_from", "_since_s", "down_s", "inlet_share", "motor_on", "up_s")

    def __init__(self, up_s: float, down_s: float) -> None:
        self.up_s, self.down_s = max(up_s, 1e-3), max(down_s, 1e-3)
        self.motor_on = False
        self.inlet_share = 1.0
        self._from, self._since_s = 0.0, 0.0

    def speed(self, now_s: float) -> float:
        """Share of full speed."""
        passed = now_s - self._since_s
        if self.motor_on:
            return min(1.0, self._from + passed / self.up_s)
        return max(0.0, self._from - passed / self.down_s)

    def flow(self, now_s: float) -> float:
        """Share of full airflow."""
        return self.speed(now_s) * self.inlet_share

    def turning(self, now_s: float) -> bool:
        """True while the speed changes."""
        return self.speed(now_s) != (1.0 if self.motor_on else 0.0)

    def proven(self, now_s: float) -> bool:
        """What an honest airflow switch says."""
        return self.flow(now_s) >= PROOF_SHARE - 1e-9

    def switch(self, on: bool, now_s: float) -> float | None:
        """Motor on or off; returns the time at which the airflow switch may change, if it can."""
        if on == self.motor_on:
            return None
        self._from, self._since_s, self.motor_on = self.speed(now_s), now_s, on
        edge = PROOF_SHARE / self.inlet_share if self.inlet_share else 2.0
        if on and self._from < edge <= 1.0:
            return now_s + (edge - self._from) * self.up_s
        if not on and self._from >= edge:
            return now_s + (self._from - edge) * self.down_s + 1e-6
        return None
