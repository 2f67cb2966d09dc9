"""What one unit can give now: the noun that levels, choice and plan share."""

from dataclasses import dataclass
from functools import cached_property

Health = tuple[tuple[float, float, float], ...]  # found kW as a share of rated, per stage and phase


@dataclass(frozen=True)
class Offer:
    """What one unit can give now.

    kws, phases: kW of each stage, and of its phases A, B, C, at present volts, health applied; usable: mask
    of the stages that may be closed. A set-point unit has no stages: steps is the largest set point that may
    be asked, step_kw what one step gives, step_share how it falls on the phases. scale: the voltage factor
    that is contained in all kW.
    """

    scale: float = 1.0
    kws: tuple[float, ...] = ()
    phases: tuple[tuple[float, float, float], ...] = ()
    usable: int = 0
    steps: int = 0
    step_kw: float = 0.0
    step_share: tuple[float, float, float] = (1 / 3, 1 / 3, 1 / 3)

    @cached_property
    def full_kw(self) -> float:
        """kW of everything that is offered."""
        return sum([kw for i, kw in enumerate(self.kws) if self.usable >> i & 1]) + self.steps * self.step_kw

    @cached_property
    def uneven(self) -> bool:
        """True when some usable stage, or the set point, does not load the three phases alike."""
        loads = [p for i, p in enumerate(self.phases) if self.usable >> i & 1]
        loads += [self.step_share] if self.steps else []
        return any(max(p) - min(p) > 1e-9 * max(p) for p in loads)

    def clip(self, load: int) -> int:
        """The part of a load that is within the offer."""
        return load & self.usable if self.kws else max(0, min(load, self.steps))

    def phase_kw(self, load: int) -> tuple[float, float, float]:
        """kW of a load on phases A, B, C; stages that are not usable are left out."""
        if not self.kws:
            kw = self.clip(load) * self.step_kw
            return kw * self.step_share[0], kw * self.step_share[1], kw * self.step_share[2]
        a = b = c = 0.0
        load &= self.usable
        if not load:
            return a, b, c
        for i, phase in enumerate(self.phases):
            if load >> i & 1:
                a, b, c = a + phase[0], b + phase[1], c + phase[2]
        return a, b, c

    @cached_property
    def _hash(self) -> int:
        return hash((self.scale, self.kws, self.usable, self.steps, self.step_kw))

    def __hash__(self) -> int:
        """Computed once: offers are keys of caches in every scan."""
        return self._hash
