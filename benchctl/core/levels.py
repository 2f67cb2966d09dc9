"""What a unit's load means, what units offer, and the best level of a chain for a target.

Theory. A unit's load is one integer: a bit mask of closed stages (bit i = stages[i]) or a set point in steps
of `setpoint.resolution_kw`. Resistors follow the square of the volts: a stage, or a set point counted at
rated volts, gives (U / rated U)² of its kW; a set point of a unit that corrects for volts itself gives what
it says.

An *offer* is what one unit can give now. The offers of a chain have a common measure (`core/measure.py`), so
the chain's levels are whole numbers and their set is known exactly (`core/sums.py`). Where the pieces of a
chain have no common divisor, they are rounded: to 1 W up to 100 kW in all, 10 W up to 1000 kW, 0.1 kW above. A
level nearer than half of that for each piece to a ceiling, or to the wrong side of a target, is then left out,
though it might just do; none is ever taken that might not.

The level for a target depends on nothing but offers, target, rounding and ceiling: history has no say. Which
stages make it up is decided in `core/choose.py`.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

from benchctl.core.measure import Measure, measure
from benchctl.core.offer import Health, Offer
from benchctl.core.profile import Profile, SetPoint
from benchctl.core.program import Rounding
from benchctl.core.sums import at_most, nearest

__all__ = [
    "Health",
    "Level",
    "Offer",
    "best_level",
    "best_level_kw",
    "join",
    "level_count",
    "level_on",
    "load_kw",
    "lowers",
    "meet",
    "offer",
    "offers_kw",
    "phase_kw",
    "smallest_kw",
    "stage_kws",
]

WHOLE = (1.0, 1.0, 1.0)
MOST_KNOWN = 1 << 12  # loads, and offers, remembered of one profile
_FUZZ = 1e-6  # kW: a milliwatt is no load; of a step: noise of a rated value over its resolution
_NOISE = 1e-9  # of one measure: floating point noise of a division


# The algebra of one unit's load


def join(profile: Profile, a: int, b: int) -> int:
    """The load when either may be in force: every stage closed in one of them; the larger set point."""
    return max(a, b) if profile.setpoint else a | b


def meet(profile: Profile, a: int, b: int) -> int:
    """The load that is certain when either may be in force: stages closed in both; the smaller set point."""
    return min(a, b) if profile.setpoint else a & b


def lowers(profile: Profile, new: int, old: int) -> bool:
    """True when new closes nothing that old has not (equal loads included)."""
    return new <= old if profile.setpoint else not new & ~old


def stage_kws(profile: Profile, volts_ratio: float = 1.0, health: Health | None = None) -> tuple[float, ...]:
    """kW of every stage at volts_ratio = present volts / rated volts; empty for a set-point unit."""
    return tuple(sum(p) for p in _stage_phases(profile, volts_ratio, health))


def smallest_kw(profile: Profile, volts_ratio: float = 1.0) -> float:
    """The smallest change of load in kW: the smallest stage, or one step of the set point."""
    if profile.setpoint:
        return profile.setpoint.resolution_kw * _scale(profile, volts_ratio)
    return min((kw for kw in stage_kws(profile, volts_ratio) if kw > 0.0), default=0.0)


def load_kw(profile: Profile, load: int, volts_ratio: float = 1.0, health: Health | None = None) -> float:
    """kW that a load draws. Raises ValueError for a load outside 0 .. profile.full_load."""
    if load == 0:
        return 0.0
    if health is None:
        rated_kw = (profile.known_kw.get(load) or _rated(profile, load))[3]
        if 0.0 <= volts_ratio < math.inf and not profile.corrects_volts:  # mostly so: no call for it
            return rated_kw * (volts_ratio * volts_ratio)
        return rated_kw * _scale(profile, volts_ratio)
    a, b, c = phase_kw(profile, load, volts_ratio, health)
    return a + b + c


def phase_kw(
    profile: Profile, load: int, volts_ratio: float = 1.0, health: Health | None = None
) -> tuple[float, float, float]:
    """kW that a load draws from phases A, B, C. Raises ValueError for a load outside 0 .. profile.full_load."""
    scale = _scale(profile, volts_ratio)
    if health is None or profile.setpoint:
        a, b, c, _ = profile.known_kw.get(load) or _rated(profile, load)
    else:
        _check(profile, load)
        a, b, c = _of_stages(profile, load, health)
    return a * scale, b * scale, c * scale


def _check(profile: Profile, load: int) -> None:
    if not 0 <= load <= profile.full_load:
        raise ValueError(f"load {load} of {profile.name!r} is not within 0 to {profile.full_load}")


def _rated(profile: Profile, load: int) -> tuple[float, float, float, float]:
    """kW of phases A, B, C and of all at rated volts, remembered: the same few loads are asked for in every scan."""
    _check(profile, load)
    if profile.setpoint:
        power = load * profile.setpoint.resolution_kw
        a, b, c = [share * power for share in _setpoint_share(profile)]
    else:
        power = None
        a, b, c = _of_stages(profile, load, None)
    if len(profile.known_kw) >= MOST_KNOWN:
        profile.known_kw.clear()
    found = profile.known_kw[load] = (a, b, c, a + b + c if power is None else power)
    return found


def _of_stages(profile: Profile, load: int, health: Health | None) -> tuple[float, float, float]:
    a = b = c = 0.0
    for i, stage in enumerate(profile.stages):
        if load >> i & 1:
            kw, share = stage.phase_kw, health[i] if health is not None else WHOLE
            a += kw[0] * share[0]
            b += kw[1] * share[1]
            c += kw[2] * share[2]
    return a, b, c


def _scale(profile: Profile, volts_ratio: float) -> float:
    if not 0.0 <= volts_ratio < math.inf:
        raise ValueError(f"volts ratio {volts_ratio} is not a number from 0 up")
    return 1.0 if profile.corrects_volts else volts_ratio * volts_ratio


def _stage_phases(profile: Profile, volts_ratio: float, health: Health | None) -> Health:
    scale = _scale(profile, volts_ratio)
    if health is None:
        return tuple([(a * scale, b * scale, c * scale) for a, b, c in (s.phase_kw for s in profile.stages)])
    return tuple(
        [
            (s.phase_kw[0] * h[0] * scale, s.phase_kw[1] * h[1] * scale, s.phase_kw[2] * h[2] * scale)
            for s, h in zip(profile.stages, health, strict=True)
        ]
    )


def _setpoint_share(profile: Profile) -> tuple[float, float, float]:
    return {1: (1.0, 0.0, 0.0), 2: (0.5, 0.5, 0.0)}.get(profile.phases, (1 / 3, 1 / 3, 1 / 3))


# What a unit can give now


def offer(profile: Profile, usable: int, volts_ratio: float = 1.0, health: Health | None = None) -> Offer:
    """What a unit can give at the present volts.

    usable: mask of the stages that may be closed, or the largest set point in steps that may be asked. A
    stage that draws nothing, by its health or for want of volts, is not usable. A unit that corrects for
    volts itself cannot give more than its elements do, so below rated volts its largest set point shrinks
    with the square of the volts.
    """
    key = usable, volts_ratio, health
    known = profile.known_offers
    found = known.get(key)
    if found is None:
        if len(known) >= MOST_KNOWN:
            known.clear()
        found = known[key] = _offer(profile, usable, volts_ratio, health)
    return found


def _offer(profile: Profile, usable: int, volts_ratio: float, health: Health | None) -> Offer:
    usable &= profile.full_load if not profile.setpoint else -1
    scale = _scale(profile, volts_ratio)
    if profile.setpoint:
        steps = min(usable, _most_steps(profile, profile.setpoint, volts_ratio))
        step_kw = profile.setpoint.resolution_kw * scale
        return Offer(
            scale=scale, steps=steps if step_kw > 0.0 else 0, step_kw=step_kw, step_share=_setpoint_share(profile)
        )
    phases = _stage_phases(profile, volts_ratio, health)
    kws = tuple([p[0] + p[1] + p[2] for p in phases])
    for i, kw in enumerate(kws):
        if kw <= 0.0:
            usable &= ~(1 << i)
    return Offer(scale=scale, kws=kws, phases=phases, usable=usable)


def _most_steps(profile: Profile, setpoint: SetPoint, volts_ratio: float) -> int:
    if not setpoint.actual or volts_ratio >= 1.0:
        return profile.full_load
    return int(setpoint.maximum_kw * volts_ratio * volts_ratio / setpoint.resolution_kw + _FUZZ)


def offers_kw(offers: tuple[Offer, ...]) -> float:
    """kW of everything that is offered: the chain's available kW."""
    return math.fsum(o.full_kw for o in offers)


# The level of a chain


@dataclass(frozen=True, slots=True)
class Level:
    """The best level for a target.

    error_kw = kw - target. short: a minimum that cannot be reached. In whole numbers of the chain's measure:
    step is kw, and every level from low to high is on the allowed side and less than half a smallest stage
    away.
    """

    kw: float
    error_kw: float
    short: bool
    step: int
    low: int
    high: int


def best_level(offers: tuple[Offer, ...], target_kw: float, rounding: Rounding, ceiling_kw: float = math.inf) -> Level:
    """The level with the smallest error on the allowed side of the target, never above ceiling_kw.

    NEAREST breaks ties downward; AT_LEAST falls back to the largest level if none reaches the target (short
    is then True); AT_MOST can always fall back to 0. Raises ValueError when target or ceiling is not a
    number.
    """
    return level_on(measure(offers), target_kw, rounding, ceiling_kw)


def level_on(m: Measure, target_kw: float, rounding: Rounding, ceiling_kw: float) -> Level:
    """`best_level` for a chain whose measure is at hand."""
    if math.isnan(target_kw) or math.isnan(ceiling_kw):
        raise ValueError("target and ceiling must be numbers")
    target_kw = target_kw if target_kw > _FUZZ else 0.0  # a milliwatt is no load
    low, high = _allowed(m, target_kw, rounding, ceiling_kw)
    return _level(m, target_kw, rounding, low, high)


@lru_cache(maxsize=16)
def _level(m: Measure, target_kw: float, rounding: Rounding, low: int, high: int) -> Level:
    """The level within those that are allowed, remembered: through a hold the same question comes in every scan."""
    found = nearest(m.sums.bits, min(target_kw / m.unit_kw, 2.0 * m.total), low, high)
    short = found is None and rounding is Rounding.AT_LEAST
    if found is None:
        low = high = found = at_most(m.sums.bits, high) or 0
    kw, half = m.kw(found), max(0, m.smallest - 1) // 2 if target_kw else 0
    return Level(kw, kw - target_kw, short, found, max(low, found - half), min(high, found + half))


def best_level_kw(
    offers: tuple[Offer, ...], target_kw: float, rounding: Rounding, ceiling_kw: float = math.inf
) -> float:
    """`best_level(...).kw`."""
    return best_level(offers, target_kw, rounding, ceiling_kw).kw


def level_count(offers: tuple[Offer, ...]) -> int:
    """How many different levels the chain has, no load and full load included."""
    return measure(offers).sums.bits.bit_count()


def _allowed(m: Measure, target_kw: float, rounding: Rounding, ceiling_kw: float) -> tuple[int, int]:
    """The lowest and highest level that rounding and ceiling allow; the lowest may be above the highest."""
    high = _floor(m, ceiling_kw)
    if target_kw == 0.0:
        return 0, 0
    if rounding is Rounding.AT_MOST:
        return 0, min(high, _floor(m, target_kw))
    if rounding is Rounding.NEAREST:
        return 0, high
    if m.total_kw - _FUZZ <= target_kw <= m.total_kw + _FUZZ:
        return m.total, high
    return math.ceil(min((target_kw + m.excess_kw) / m.unit_kw, m.total + 1.0) - _NOISE), high


def _floor(m: Measure, kw: float) -> int:
    """The highest level that is truly at or below kw."""
    return m.total if kw >= m.total_kw - _FUZZ else max(0, math.floor((kw - m.hidden_kw) / m.unit_kw + _NOISE))
