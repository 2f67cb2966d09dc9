"""The resistors of a unit and what switches them: contactors ordered one by one, or a set point.

`order` is what stands in the unit's order register, `feedback` what it reads back, `closed` what is really in
(bit mask of stages, or steps of the set point). `conductance` is in kW/V², `power_kw` what it draws at the
source's rated running volts (per unit 1), set by the bench through `volts`.
"""

from collections.abc import Callable
from functools import partial
from random import Random
from typing import Protocol

from benchctl.core.profile import Profile, SetPoint, Simulated, Stage
from simulator.network import EMPTY, Phasors, Six, add, power_kw, scaled, stage_conductances
from simulator.troubles import Troubles

ACCEPT_S = 0.5  # a set point needs this to be in force (never more than half of the profile's drop_s)
TICK_S = 0.25
LOST_PU = 0.5  # below these volts a unit that holds kW gives up correcting


class Firmware(Protocol):
    """What elements need of their unit."""

    now_s: float
    version: int
    busy: bool
    trouble: Troubles

    @property
    def may_stay_in(self) -> bool: ...
    @property
    def may_pull_in(self) -> bool: ...
    @property
    def at(self) -> Callable[[float, Callable[[], None]], None]: ...


class Elements:
    """Common to both kinds."""

    def __init__(self, profile: Profile, physics: Simulated, neutral: bool, rng: Random, firmware: Firmware) -> None:
        self.profile, self.physics, self.neutral, self.firmware = profile, physics, neutral, firmware
        self.rng = rng
        self.order = 0
        self.closed = 0
        self.conductance: Six = EMPTY
        self.power_kw = 0.0
        self._volts: Phasors = (0j, 0j, 0j)

    @property
    def feedback(self) -> int:
        """What the unit reads back."""
        return self.closed

    @property
    def astray(self) -> bool:
        """True when a contactor does not do what its coil says."""
        return False

    def act(self) -> None:
        """Make what is ordered and allowed come true, in the unit's own time."""
        raise NotImplementedError

    def volts(self, phasors: Phasors) -> None:
        """The source's phasors at per unit 1 changed (a phase was lost or came back)."""
        self._volts = phasors
        self.power_kw = power_kw(self.conductance, phasors)

    def nearest(self, power_kw_wanted: float) -> int:
        """The load that comes near that many kW at rated volts, largest stages first."""
        raise NotImplementedError

    def _load(self, conductance: Six) -> None:
        self.conductance = conductance
        self.power_kw = power_kw(conductance, self._volts)
        self.firmware.version += 1
        self.firmware.busy = True


class StagedElements(Elements):
    """Contactors that we order one by one.

    Each has a delay of its own, drawn once from the spread of the profile.
    """

    def __init__(self, profile: Profile, physics: Simulated, neutral: bool, rng: Random, firmware: Firmware) -> None:
        super().__init__(profile, physics, neutral, rng, firmware)
        self.pending = 0
        self._delays = [physics.contactor_s + physics.contactor_spread_s * rng.random() for _ in profile.stages]

    @property
    def feedback(self) -> int:
        """Bit mask as read back."""
        wrong = self.firmware.trouble.feedback_wrong
        return self.closed ^ sum(1 << i for i in wrong) if wrong else self.closed

    @property
    def astray(self) -> bool:
        """A contactor that hangs, or whose feedback says so."""
        trouble = self.firmware.trouble
        hangs = sum(1 << i for i in trouble.will_not_open | trouble.will_not_close)
        return bool((self.closed ^ self.pending) & hangs or trouble.feedback_wrong)

    def act(self) -> None:
        """Start each contactor whose coil changes."""
        unit = self.firmware
        wanted = 0
        if unit.may_pull_in:
            wanted = self.order
        elif unit.may_stay_in:
            wanted = self.order & self.pending
        changed = wanted ^ self.pending
        self.pending = wanted
        for i in range(len(self.profile.stages)):
            if changed >> i & 1:
                unit.at(unit.now_s + self._delays[i], partial(self.move, i))
        if unit.trouble.will_not_open or unit.trouble.blown or unit.trouble.will_not_close:
            self.reload()

    def move(self, stage: int) -> None:
        """The contactor of that stage reaches where its coil sends it, if it can."""
        bit = 1 << stage
        wanted, is_in = bool(self.pending & bit), bool(self.closed & bit)
        trouble = self.firmware.trouble
        if wanted == is_in or stage in (trouble.will_not_close if wanted else trouble.will_not_open):
            return
        self.closed ^= bit
        self.reload()

    def settle(self) -> None:
        """After a repair: contactors go where their coils send them."""
        for i in range(len(self.profile.stages)):
            self.move(i)
        self.reload()

    def reload(self) -> None:
        """Work out the conductances again."""
        blown = self.firmware.trouble.blown
        total = EMPTY
        for i, stage in enumerate(self.profile.stages):
            if self.closed >> i & 1:
                gone = frozenset(phase for s, phase in blown if s == i)
                total = add(total, stage_conductances(stage, self.profile, self.neutral, gone))
        if total != self.conductance:
            self._load(total)
        else:
            self.firmware.version += 1

    def nearest(self, power_kw_wanted: float) -> int:
        """Largest stages first."""
        mask, left = 0, power_kw_wanted
        for i in sorted(range(len(self.profile.stages)), key=lambda i: -self.profile.stages[i].power_kw):
            if self.profile.stages[i].power_kw <= left + 1e-9:
                mask |= 1 << i
                left -= self.profile.stages[i].power_kw
        return mask


class SetPointElements(Elements):
    """A unit that takes a kW and chooses its own stages, all equal and balanced, one resolution step each."""

    def __init__(self, profile: Profile, physics: Simulated, neutral: bool, rng: Random, firmware: Firmware) -> None:
        super().__init__(profile, physics, neutral, rng, firmware)
        point = profile.setpoint or SetPoint(0.0, 1.0, actual=False)
        self.setpoint = point
        self.most = round(point.maximum_kw / point.resolution_kw)
        self.accepted = 0
        self._made_kw = 0.0
        self._volts_pu = 1.0
        self._ticking = False
        third = point.resolution_kw / 3.0
        step = Stage("", (third,) * 3 if profile.phases == 3 else self._single(point.resolution_kw))
        self._step_g = stage_conductances(step, profile, neutral)
        self._step_kw = 0.0  # one step at per unit 1 of the source

    @staticmethod
    def _single(kw: float) -> tuple[float, float, float]:
        return kw, 0.0, 0.0

    @property
    def feedback(self) -> int:
        """The set point in force, in steps."""
        return self.accepted

    def volts(self, phasors: Phasors) -> None:
        """Steps make more or less with the source's volts."""
        super().volts(phasors)
        self._step_kw = power_kw(self._step_g, phasors)

    def act(self) -> None:
        """Accept the order after the unit's own reaction time.

        Lose it at once when the contactor circuit opens.
        """
        unit = self.firmware
        if not unit.may_stay_in and (self.accepted or self.closed):
            unit.at(unit.now_s + self.physics.contactor_s, self._open_all)
        if self._goal() != self.accepted:
            unit.at(unit.now_s + min(ACCEPT_S, self.setpoint.drop_s / 2), self._accept)

    def _goal(self) -> int:
        unit = self.firmware
        order = min(self.order, self.most)
        if unit.may_pull_in:
            return order
        return min(order, self.accepted) if unit.may_stay_in else 0

    def _open_all(self) -> None:
        if not self.firmware.may_stay_in:
            self.accepted = 0
            self._made_kw = 0.0
            self._make()

    def _accept(self) -> None:
        self.accepted = self._goal()
        self._climb()

    def _climb(self) -> None:
        """Down at once, up by the unit's own ramp."""
        goal_kw = self.accepted * self.setpoint.resolution_kw
        ramp = self.setpoint.ramp_kw_per_s
        if ramp is None or goal_kw <= self._made_kw:
            self._made_kw = goal_kw
        else:
            self._made_kw = min(goal_kw, self._made_kw + ramp * TICK_S)
        if self._made_kw < goal_kw and not self._ticking:
            self._ticking = True
            self.firmware.at(self.firmware.now_s + TICK_S, self._tick)
        self._make()

    def _tick(self) -> None:
        self._ticking = False
        self._climb()

    def strays(self, volts_pu: float) -> bool:
        """True when a unit that holds actual kW would switch at these volts of the source."""
        return bool(self._made_kw) and volts_pu > LOST_PU and self._steps(volts_pu) != self.closed

    def follow(self, volts_pu: float) -> None:
        """The source's volts have moved: a unit that holds actual kW switches steps if they ask for it."""
        if volts_pu > LOST_PU:
            self._volts_pu = volts_pu
            if self.strays(volts_pu):
                self._make()

    def _steps(self, volts_pu: float) -> int:
        """The steps that make the kW in force."""
        if self.setpoint.actual and self._made_kw:
            one_step_kw = self._step_kw * volts_pu**2
            steps = round(self._made_kw / one_step_kw) if one_step_kw > 0 else 0
        else:
            steps = round(self._made_kw / self.setpoint.resolution_kw)
        return min(steps, self.most)

    def _make(self) -> None:
        steps = self._steps(self._volts_pu)
        if steps != self.closed:
            self.closed = steps
            self._load(scaled(self._step_g, float(steps)))
        else:
            self.firmware.version += 1

    def nearest(self, power_kw_wanted: float) -> int:
        """The nearest step."""
        return min(self.most, round(power_kw_wanted / self.setpoint.resolution_kw))
