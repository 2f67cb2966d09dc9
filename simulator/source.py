"""The source under test: an engine with governor, turbocharger and regulator, or a stiff source.

Generating set, all in per unit of nameplate kW and rated speed, explicit Euler at 1 ms in this order:

1. the regulator's error dies away, `ev -= dt ev / tavr`; a load change dp adds `-k dp` to it at its instant;
2. volts `v = vref + ev - s max(0, 0.97 - w)` (s: under-frequency roll-off);
3. resistive load unloads the engine when volts dip: `Pe = p v²`;
4. governor (PI with droop R on actuator position): `e = wref - R (act - fr) - w`, `u = kp e + xi` within
   0..umax, and the integral stands still where it would only saturate further;
5. actuator `act += dt (u - act) / tact`; 6. fuel is act delayed by tdead;
7. what air allows: `limit = pna + (umax - pna) boost / umax`, `Pg = min(fuel, limit)`;
8. `boost += dt (Pg - boost) / tturbo`; 9. swing equation `w += dt (Pg - fr - Pe) / (2 H)`.

The structure is that of published governor models with a first-order actuator, a dead time and a turbocharger
limit (swing equation: any power system text); the parameters of `SetModel` are typical of a turbocharged 1500
rpm set of up to about 2 MW: common practice, no source. Below 0.6 of rated speed a real engine stalls: fuel
is cut and the set runs down.
"""

from dataclasses import dataclass

DT_S = 0.001
ROLL_OFF_PU = 0.97  # of rated speed; below, volts go down with it where a model says so
LOOK_STEPS = 100  # how often it is looked whether the set stands still, on a grid of its own
RUN_UP_S = 8.0
VOLTS_BUILD_S = 0.5


@dataclass(frozen=True, slots=True)
class SetModel:
    """Parameters of a generating set; per unit of nameplate kW and rated speed, times in seconds."""

    h_s: float = 0.8
    kp: float = 10.0
    ki: float = 15.0
    tact_s: float = 0.08
    tdead_s: float = 0.03
    pna: float = 0.6
    tturbo_s: float = 1.5
    fr: float = 0.10
    umax: float = 1.2
    k: float = 0.15
    tavr_s: float = 0.25
    roll_off: float = 0.0
    droop: float = 0.0
    stall_pu: float = 0.6


class StiffSource:
    """A source that load does not move.

    UPS, switchboard, supply. volts_pu, speed_pu: present volts and frequency.
    """

    running = True
    stalled = False
    moving = False

    def __init__(self) -> None:
        self.volts_pu = 1.0
        self.speed_pu = 1.0
        self._volts_ref = 1.0
        self._speed_ref = 1.0

    def demand(self, load_pu: float) -> None:
        """Load at 1 pu volts; a stiff source does not care."""

    def set_volts(self, volts_pu: float) -> None:
        """Move the volts."""
        self._volts_ref = volts_pu
        self.volts_pu = volts_pu if self.running else 0.0

    def set_speed(self, speed_pu: float) -> None:
        """Move the frequency."""
        self._speed_ref = speed_pu
        self.speed_pu = speed_pu if self.running else 0.0

    def limit(self, share: float | None) -> None:
        """A stiff source has no fuel to be short of."""

    def stop(self) -> None:
        """Supply gone at once."""
        self.running = False
        self.volts_pu = self.speed_pu = 0.0

    def start(self) -> None:
        """Supply back at once."""
        self.running = True
        self.volts_pu, self.speed_pu = self._volts_ref, self._speed_ref

    def advance(self, _: float) -> float:
        """Go to that time; returns the mean of volts_pu² since the call before."""
        return self.volts_pu * self.volts_pu


class GeneratingSet:
    """An engine-driven set.

    It starts at rated speed without load; `moving` is False while it stands in steady state.
    """

    def __init__(self, model: SetModel | None = None) -> None:
        self.model = model or SetModel()
        self.volts_pu = 1.0
        self.speed_pu = 1.0
        self.running = True
        self.stalled = False
        self.moving = False
        self._starting = False
        self._load = 0.0
        self._share: float | None = None
        self._volts_ref = 1.0
        self._speed_ref = 1.0
        self._error = 0.0
        self._step = 0
        self._delay: list[float] = []  # what the actuator gave in the last tdead_s, oldest first
        self._stand_at(0.0)

    def _stand_at(self, load_pu: float) -> None:
        """Every state at its steady value for that load."""
        self._act = self._boost = self._integral = load_pu + self.model.fr
        self._delay = [self._act] * max(1, round(self.model.tdead_s / DT_S))

    def demand(self, load_pu: float) -> None:
        """Load at 1 pu volts, in per unit of nameplate kW; the regulator's dip starts at once."""
        if load_pu != self._load:
            self._error -= self.model.k * (load_pu - self._load)
            self._load = load_pu
            self.moving = True

    def set_volts(self, volts_pu: float) -> None:
        """Move the regulator's reference; volts follow with its time constant."""
        self._error += self._volts_ref - volts_pu
        self._volts_ref = volts_pu
        self.moving = True

    def set_speed(self, speed_pu: float) -> None:
        """Move the governor's reference."""
        self._speed_ref = speed_pu
        self.moving = True

    def limit(self, share: float | None) -> None:
        """Fuel or air for that share of nameplate kW only; None = all of it."""
        self._share = share
        self.moving = True

    def stop(self) -> None:
        """Fuel off; speed runs down, volts die with the regulator's time constant."""
        self.running = self._starting = False
        self.moving = True

    def start(self) -> None:
        """Run up to rated speed; a stalled set stays where it is until somebody goes there."""
        if not self.running and not self.stalled:
            self._starting = self.moving = True

    def advance(self, to_s: float) -> float:
        """Go to that time in whole milliseconds; returns the mean of volts_pu² on the way."""
        end = int(to_s / DT_S + 1e-6)
        steps, self._step = end - self._step, max(end, self._step)
        if steps <= 0 or not self.moving:
            return self.volts_pu * self.volts_pu
        if self._starting:
            return self._run_up(steps) / steps
        squares, left, place = 0.0, steps, end - steps
        while left and self.running and self.moving:
            made = min(left, LOOK_STEPS - place % LOOK_STEPS)
            some, made = self._run(made)
            squares, left, place = squares + some, left - made, place + made
            if self.running and place % LOOK_STEPS == 0:
                self._settle()
        if self.running:
            return (squares + left * self.volts_pu * self.volts_pu) / steps
        return (squares + self._run_down(left)) / steps

    def _run(self, steps: int) -> tuple[float, int]:
        """Normal running; ends early on a stall. Returns the sum of volts_pu² and the steps made.

        What the engine gets in the next tdead_s has left the actuator already, so the steps go in runs of that length.
        """
        m = self.model
        act, boost, xi, w, ev, delay = self._act, self._boost, self._integral, self.speed_pu, self._error, self._delay
        p, fr, umax, droop, roll, kp = self._load, m.fr, m.umax, m.droop, m.roll_off, m.kp
        air_rise = (umax - m.pna) / umax if m.pna < umax else 0.0
        air_base = min(umax, m.pna)
        cap = umax if self._share is None else self._share + fr
        vref, base, stall, dki = self._volts_ref, self._speed_ref + droop * fr, m.stall_pu, DT_S * m.ki
        keep, dact, dturbo, dspeed = 1.0 - DT_S / m.tavr_s, DT_S / m.tact_s, DT_S / m.tturbo_s, DT_S / (2 * m.h_s)
        squares, v, left = 0.0, self.volts_pu, steps
        while left and self.running:
            given: list[float] = []
            for fuel in delay[:left]:
                ev *= keep
                v = vref + ev
                if w < ROLL_OFF_PU and roll:
                    v -= roll * (ROLL_OFF_PU - w)
                v2 = v * v if v > 0.0 else 0.0
                squares += v2
                e = base - droop * act - w
                u = kp * e + xi
                if 0.0 <= u <= umax:
                    xi += dki * e
                else:
                    xi += dki * e if (e < 0.0) == (u > umax) else 0.0
                    u = 0.0 if u < 0.0 else umax
                act += dact * (u - act)
                given.append(act)
                limit = air_base + air_rise * boost
                if limit > cap:  # noqa: PLR1730 - twice as quick as min, and so is the next line
                    limit = cap
                made = fuel if fuel < limit else limit  # noqa: FURB136
                boost += dturbo * (made - boost)
                w += dspeed * (made - fr - p * v2)
                if w < stall:
                    self.running, self.stalled = False, True
                    break
            left -= len(given)
            delay = delay[len(given) :] + given
        self._act, self._boost, self._integral, self.speed_pu, self._error = act, boost, xi, w, ev
        self._delay, self.volts_pu = delay, max(v, 0.0)
        return squares, steps - left

    def _settle(self) -> None:
        """Stand still, exactly at the steady state, once so near it that no instrument could tell."""
        volts = self._volts_ref
        for _ in range(3 if self.model.roll_off else 0):
            speed = self._speed_ref - self.model.droop * self._load * volts * volts
            volts = self._volts_ref - self.model.roll_off * max(0.0, ROLL_OFF_PU - speed)
        made = self._load * volts * volts
        goal = made + self.model.fr
        speed = self._speed_ref - self.model.droop * made
        most = self.model.umax if self._share is None else self._share + self.model.fr
        if (
            abs(self.speed_pu - speed) < 5e-5
            and abs(self._error) < 5e-5
            and abs(self._act - goal) < 1e-3
            and abs(self._integral - goal) < 1e-3
            and abs(self._boost - goal) < 0.01
            and goal <= most
        ):
            self.speed_pu, self.volts_pu, self._error = speed, volts, 0.0
            self._stand_at(made)
            self.moving = False

    def _run_down(self, steps: int) -> float:
        """No fuel: friction and load brake the set."""
        m, squares = self.model, 0.0
        for _ in range(steps):
            self.volts_pu -= DT_S / m.tavr_s * self.volts_pu
            squares += self.volts_pu * self.volts_pu
            self.speed_pu -= DT_S * (m.fr + self._load * self.volts_pu * self.volts_pu) / (2 * m.h_s)
            if self.volts_pu < 1e-3:
                self.volts_pu = 0.0
            if self.speed_pu <= 0.0:
                self.speed_pu = self.volts_pu = 0.0
                self.moving = False
                break
        return squares

    def _run_up(self, steps: int) -> float:
        """From standstill to rated speed in 8 s, volts from 0.9 of it on (common practice, no source)."""
        squares = 0.0
        for _ in range(steps):
            self.speed_pu = min(self._speed_ref, self.speed_pu + DT_S / RUN_UP_S)
            if self.speed_pu > 0.9 * self._speed_ref:
                self.volts_pu += DT_S / VOLTS_BUILD_S * (self._volts_ref - self.volts_pu)
            squares += self.volts_pu * self.volts_pu
        if self.speed_pu >= self._speed_ref and abs(self.volts_pu - self._volts_ref) < 1e-3:
            self._starting, self.running = False, True
            self._error = self.volts_pu - self._volts_ref
            self._stand_at(self._load)
        return squares


Source = GeneratingSet | StiffSource
