"""The next larger and the next smaller level of the chain: what a load by hand is raised and lowered to.

Theory. A target that is less than half a smallest stage from what is on moves nothing (`core/choose.py`), so the next
level is the first beyond that. Raised, the load is above what is ordered and what is asked; lowered, below both: a
load that still rises is not raised by lowering it. Units whose fans rest count with what they can give when air is
proven; units that take no orders now keep what they have.

The levels of a chain are remembered (`core/measure.py`), and looked up anew only when an offer changes.
"""

from functools import lru_cache

from benchctl.core.by_hand import not_by_hand
from benchctl.core.decision import Settings
from benchctl.core.dispatch import NOTHING, can_move, chain_target_kw
from benchctl.core.levels import level_on, load_kw, meet, offer
from benchctl.core.limits import ceiling_kw, followed_volts, usable, volts_ratio
from benchctl.core.measure import Measure, measure
from benchctl.core.offer import Offer
from benchctl.core.program import Rounding
from benchctl.core.reading import Maybe
from benchctl.core.seen import Seen
from benchctl.core.state import Mode, State
from benchctl.core.sums import at_most
from benchctl.core.unable import lacks_only_air

VOLTS_GRAIN = 0.001  # share of rated volts: what the volts of a calm source flicker by, common practice, no source


def next_levels_kw(state: State, seen: Seen, settings: Settings) -> tuple[Maybe, Maybe]:
    """Targets in kW that raise and lower the load by the smallest useful amount; None where there is none.

    Both are None where no load by hand is possible now. Neither is above the ceiling; the lowest is 0.
    """
    if not_by_hand(state) or not seen.units:
        return None, None
    offers, present, fixed_kw, elsewhere_kw = _offers(state, seen, settings)
    m = measure(offers)
    limit_kw = ceiling_kw(state, seen, settings)
    roof_kw = max(0.0, limit_kw - elsewhere_kw)
    ordered = asked = _step(m, present)
    if not (state.held or state.by_hand):
        asked_kw = chain_target_kw(state, settings) if state.mode is Mode.IDLE else 0.0
        asked = level_on(m, max(0.0, asked_kw - fixed_kw), Rounding.NEAREST, roof_kw).step
    within = max(0, m.smallest - 1) // 2 + m.slack
    above = level_on(m, (max(ordered, asked) + within + 1) * m.unit_kw, Rounding.AT_LEAST, roof_kw)
    raised_kw = fixed_kw + above.kw if above.step > max(ordered, asked) + within else None
    lowest = min(ordered, asked)
    if not lowest:
        return _within(raised_kw, limit_kw), 0.0 if fixed_kw or state.target_kw else None
    below = at_most(m.sums.bits, lowest - within - 1) or 0
    return _within(raised_kw, limit_kw), fixed_kw + m.kw(below)


def _within(power_kw: Maybe, limit_kw: float) -> Maybe:
    """A load by hand above the limit is refused."""
    return power_kw if power_kw is not None and power_kw <= limit_kw else None


def _offers(state: State, seen: Seen, settings: Settings) -> tuple[tuple[Offer, ...], tuple[int, ...], float, float]:
    """What units can give, what they have of it, kW ordered of those that cannot be moved, kW that may be on there."""
    volts_v = followed_volts(state, seen, settings)
    if volts_v != state.volts_v:  # not those that flicker: every other volt would be another chain
        grain_v = settings.site.nameplate.volts * VOLTS_GRAIN
        volts_v = round(volts_v / grain_v) * grain_v
    ratios: dict[int, float] = {}
    offers, present = [], []
    fixed_kw = elsewhere_kw = 0.0
    for i, (u, s, unit) in enumerate(zip(state.units, seen.units, settings.site.units, strict=True)):
        profile, wanted = unit.profile, 0 if u.out or not u.joined else u.wanted
        if not can_move(state, i, seen):
            fixed_kw += load_kw(profile, wanted, s.ratio)
            elsewhere_kw += s.possible_kw
            offers.append(NOTHING)
            present.append(0)
            continue
        can = usable(u, profile)
        if s.unable and not lacks_only_air(u, s, unit):
            can = meet(profile, can, u.wanted)
        ratio = ratios.get(id(profile))
        if ratio is None:
            ratio = ratios[id(profile)] = volts_ratio(volts_v, settings, profile)
        offers.append(offer(profile, can, ratio, u.health))
        present.append(wanted)
    return tuple(offers), tuple(present), fixed_kw, elsewhere_kw


@lru_cache(maxsize=16)
def _step(m: Measure, present: tuple[int, ...]) -> int:
    """The level of loads, in whole numbers of the measure; what is not offered is left out."""
    return sum([m.weight(u, o.clip(load)) for u, (o, load) in enumerate(zip(m.offers, present, strict=True)) if load])
