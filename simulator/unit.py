"""One load bank: its firmware, fan, contactors and heat. `elements` has what the two ways of loading do
differently.

What the firmware does by itself, as real units do (common practice, no source):

- contactors are wired through the fan contactor: with the fan off they cannot stay in; they pull in only once
  airflow is proven, and an order that stands meanwhile pulls in when it is;
- loss of airflow proof under load for 5 s, and the exhaust above the unit's own limit, trip: the order is
  cleared and stays cleared. The over-temperature trip resets when the exhaust has fallen by 50 K;
- the watchdog runs from the first feed on; when it expires the load goes, fans keep running; on return the
  unit stays off or resumes as its profile says;
- local control and the emergency stop clear the load order; the emergency stop stops the fans too;
- a restart clears every order, and the unit answers nothing for 3 s.
"""

from collections.abc import Callable
from random import Random

from benchctl.core.profile import FanSupply, Simulated
from benchctl.core.site import Unit
from simulator.elements import Elements, SetPointElements, StagedElements
from simulator.fan import Fan
from simulator.heat import Heat
from simulator.troubles import Troubles

AIR_TRIP_S = 5.0
BOOT_S = 3.0
OVERHEAT_RESET_K = 50.0
MIX_S = 0.25  # heat may take the mean of the volts over this

_FEEDS = {
    "any request": ("request", "write", "register"),
    "any write": ("write", "register"),
    "register": ("register",),
}

Schedule = Callable[[float, Callable[[], None]], None]


class Bank:
    """A unit in the simulated world. Times are the bench's; `at(time, what)` schedules for it."""

    def __init__(
        self, unit: Unit, number: int, neutral: bool, ambient_c: float, altitude_m: float, rng: Random, at: Schedule
    ) -> None:
        profile = unit.profile
        physics = profile.simulated or Simulated()
        self.unit, self.profile, self.physics, self.at = unit, profile, physics, at
        self.serial = unit.serial or f"SIM{number + 1:05d}"
        self.now_s = 0.0
        self.started_s = 0.0
        self.supply_ok = True  # volts at a fan that the source feeds
        self.over_volts = False  # above what the profile allows the elements
        self.fan_order = False
        self.fan_on = False
        self.watchdog_expired = False
        self.air_tripped = False
        self.overheat_tripped = False
        self.version = 0
        self.busy = False  # time must pass in small steps: the fan turns up or down, or a trip is in reach
        self._energy_kwh = 0.0
        # What has held since the last change: heat and energy are worked out from it when somebody asks.
        self._worked_s = 0.0
        self._known_version, self._known_square = -1, 0.0
        self._square, self._square_s = 0.0, 0.0  # of the volts: the last mean, and its integral since then
        self._power_kw = 0.0  # at per unit 1
        self._flow = 0.0  # share of full airflow
        self.trouble = Troubles()
        self.fan = Fan(physics.fan_spin_up_s, physics.fan_spin_down_s)
        self._heat = Heat(
            ambient_c,
            physics.flow_m3_s,
            physics.element_tau_s,
            physics.sensor_tau_s,
            physics.still_air_tau_s,
            altitude_m,
        )
        kind = SetPointElements if profile.setpoint else StagedElements
        self.elements: Elements = kind(profile, physics, neutral, rng, self)
        self._air_lost_s: float | None = None
        self._watchdog_at_s: float | None = None
        self._watchdog_armed = False

    # --- what the world reads ----------------------------------------------------------------------

    @property
    def airflow(self) -> bool:
        """What the airflow switch says."""
        stuck = self.trouble.airflow_stuck
        return self.fan.proven(self.now_s) if stuck is None else stuck

    @property
    def heat(self) -> Heat:
        """Temperatures now."""
        self._work()
        return self._heat

    @property
    def energy_kwh(self) -> float:
        """What the elements have drawn so far."""
        self._work()
        return self._energy_kwh

    @property
    def remote(self) -> bool:
        """True when the unit takes orders from the wire."""
        return not self.trouble.local

    @property
    def exhaust_c(self) -> float | None:
        """What the exhaust sensor says, to a tenth of a degree; None = not available."""
        if self.trouble.sensor_lost:
            return None
        frozen = self.trouble.sensor_frozen_c
        if frozen is not None:
            return round(frozen, 1)
        self._work()
        return round(self._heat.exhaust_c, 1)

    @property
    def fan_supply(self) -> bool:
        """The fans' supply is present."""
        return not self.trouble.fan_supply_lost and (self.supply_ok or self.profile.fan.supply is FanSupply.SEPARATE)

    @property
    def answering(self) -> bool:
        """False while mute or starting up."""
        return not self.trouble.mute and (not self.started_s or self.now_s - self.started_s >= BOOT_S)

    @property
    def highest_ln_v(self) -> float:
        """The most volts from line to neutral that the profile allows the elements."""
        return self.profile.highest_v_ratio * self.profile.rated_v / (3**0.5 if self.profile.phases == 3 else 1.0)

    @property
    def fan_kw(self) -> float:
        """kW that the fan takes from the source under test."""
        from_source = self.profile.fan.supply is FanSupply.SOURCE
        return self.profile.fan.power_kw if self.fan.motor_on and from_source else 0.0

    @property
    def serial_now(self) -> str:
        """The serial number of whatever answers."""
        return self.serial if not self.trouble.swapped else f"OTHER-{self.serial}"[: max(len(self.serial), 8)]

    @property
    def may_stay_in(self) -> bool:
        """The contactors' common circuit: closed ones stay in while this holds."""
        t = self.trouble
        return (
            self.fan_on
            and not t.local
            and not t.emergency_stop
            and not self.watchdog_expired
            and not self.air_tripped
            and not self.overheat_tripped
        )

    @property
    def may_pull_in(self) -> bool:
        """Open contactors pull in while this holds."""
        return self.may_stay_in and self.airflow

    # --- what the wire orders ----------------------------------------------------------------------

    def order_load(self, load: int) -> None:
        """Write the load order: bit mask of stages, or set point in steps."""
        tripped = self.trouble.emergency_stop or self.air_tripped or self.overheat_tripped
        if self.remote and not tripped:
            self.elements.order = load
        self.refresh()

    def order_fan(self, on: bool) -> None:
        """Write the fan order."""
        if self.remote and self.profile.fan.controllable and not self.trouble.emergency_stop:
            self.fan_order = on
        self.refresh()

    def heard(self, what: str) -> None:
        """Something came over the wire.

        "request", "write" or "register" (the watchdog's own). Feeds what it feeds.
        """
        dog = self.profile.watchdog
        if dog is None or what not in _FEEDS[dog.fed_by]:
            return
        self._watchdog_at_s = self.now_s + dog.time_s
        if self.watchdog_expired:
            self.watchdog_expired = False
            self.refresh()
        if not self._watchdog_armed:
            self._watchdog_armed = True
            self.at(self._watchdog_at_s, self._watchdog_due)

    # --- what the firmware does --------------------------------------------------------------------

    def _watchdog_due(self) -> None:
        dog, due = self.profile.watchdog, self._watchdog_at_s
        self._watchdog_armed = False
        if dog is None or due is None:
            return
        if self.now_s < due - 1e-9:
            self._watchdog_armed = True
            self.at(due, self._watchdog_due)
        elif not self.trouble.watchdog_dead:
            self.watchdog_expired = True
            if dog.on_return != "resumes":
                self.elements.order = 0
            self.refresh()

    def refresh(self) -> None:
        """Let the firmware look at everything and act. Called after every order, fault and airflow change."""
        self.version += 1
        self.busy = True
        t = self.trouble
        self.overheat_tripped = self.overheat_tripped or t.overheated
        if t.emergency_stop or t.local or self.overheat_tripped or self.air_tripped:
            self.elements.order = 0
        if t.emergency_stop:
            self.fan_order = False
        self.fan_on = (self.fan_order or self._fan_by_itself()) and not t.emergency_stop
        edge_s = self.fan.switch(self.fan_on and self.fan_supply and not t.fan_failed, self.now_s)
        if edge_s is not None:
            self.at(edge_s, self.refresh)
        self._watch_air()
        self.elements.act()

    def _fan_by_itself(self) -> bool:
        """Fans that nobody orders run while there is load, an order for it, or heat."""
        if self.profile.fan.controllable:
            return False
        hot = self.heat.exhaust_c > self.heat.inlet_c + self.profile.cooldown.margin_k
        return bool(self.elements.order or self.elements.closed or hot)

    def _watch_air(self) -> None:
        if self.airflow or not self.elements.closed:
            self._air_lost_s = None
            if self.airflow and self.elements.order == 0:
                self.air_tripped = False
        elif self._air_lost_s is None:
            self._air_lost_s = self.now_s
            self.at(self.now_s + AIR_TRIP_S, self.refresh)
        elif self.now_s - self._air_lost_s >= AIR_TRIP_S - 1e-9 and not self.air_tripped:
            self.air_tripped, self.elements.order = True, 0

    def restart(self) -> None:
        """Power gone and back: every order lost, silence for a while."""
        self.started_s = self.now_s
        self.elements.order, self.fan_order = 0, False
        self.watchdog_expired = self.air_tripped = self.overheat_tripped = False
        self._watchdog_at_s = None
        self.refresh()
        self.at(self.now_s + BOOT_S, self.refresh)

    # --- time --------------------------------------------------------------------------------------

    def elapse(self, to_s: float, mean_square_volts: float) -> None:
        """Let time pass until to_s; mean_square_volts: of the source, per unit squared."""
        if (
            self.busy
            or self.version != self._known_version
            or (mean_square_volts != self._known_square and self.now_s - self._worked_s > MIX_S)
        ):
            self._elapse_anew(to_s, mean_square_volts)
            return
        if mean_square_volts != self._square:
            self._square, self._heat.at_rest = mean_square_volts, False
        self._square_s += mean_square_volts * (to_s - self.now_s)
        self.now_s = to_s
        if (self.overheat_tripped or not self.profile.fan.controllable) and not self._heat.at_rest:
            self._protect()

    def _elapse_anew(self, to_s: float, mean_square_volts: float) -> None:
        """As `elapse`, when something has changed or a fan turns up or down."""
        self._work()
        moved = self.busy or self.version != self._known_version  # not only the volts
        self._known_version, self._known_square = self.version, mean_square_volts
        self._square, self._heat.at_rest = mean_square_volts, False
        self._power_kw = self.elements.power_kw
        if moved:
            self._flow = self.fan.flow(0.5 * (self.now_s + to_s))
        self._square_s = mean_square_volts * (to_s - self.now_s)
        self.now_s = to_s
        self._work()
        if moved:
            self._flow = self.fan.flow(to_s)
        self._protect()
        final_c = self._heat.final_c(self._power_kw * mean_square_volts, self._flow)
        near = self._heat.exhaust_c < self.profile.exhaust_trip_c < final_c
        self.busy = near or (moved and self.fan.turning(to_s))

    def _work(self) -> None:
        """Bring heat and energy up to now."""
        dt_s = self.now_s - self._worked_s
        if dt_s <= 0.0:
            return
        self._energy_kwh += self._power_kw * self._square_s / 3600.0
        if not self._heat.at_rest:
            self._heat.elapse(dt_s, self._power_kw * self._square_s / dt_s, self._flow)
        self._worked_s, self._square_s = self.now_s, 0.0

    def _protect(self) -> None:
        """The unit's own over-temperature trip, and fans that stop by themselves when it is cool."""
        hot, limit = self.heat.exhaust_c, self.profile.exhaust_trip_c
        if not self.overheat_tripped:
            if hot >= limit:
                self.overheat_tripped = True
                self.refresh()
        elif not self.trouble.overheated and hot < limit - OVERHEAT_RESET_K:
            self.overheat_tripped = False
            self.refresh()
        if self.fan_on and not self.profile.fan.controllable and not self._fan_by_itself():
            self.refresh()
