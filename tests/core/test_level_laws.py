"""Laws of levels: plain enumeration and a general-purpose solver (HiGHS, through scipy.optimize.milp) as reference."""

import math
import random

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from benchctl.core.levels import best_level, best_level_kw, level_count, offer, offers_kw
from benchctl.core.offer import Offer
from benchctl.core.program import Rounding
from tests.core.chains import all_kws, chains, loads, profile, staged, stepped

NEAREST, AT_LEAST, AT_MOST = Rounding.NEAREST, Rounding.AT_LEAST, Rounding.AT_MOST


def rounding_kw(offers: tuple[Offer, ...]) -> float:
    """The largest distance between a level and its rounded sum, as `core/measure.py` states it: 0 at common volts."""
    if len({o.scale for o in offers}) == 1:
        return 0.0
    total_kw = offers_kw(offers)
    step_kw = 0.001 if total_kw <= 100.0 else 0.01 if total_kw <= 1000.0 else 0.1
    stages = sum(o.usable.bit_count() for o in offers)
    steps = [o.steps.bit_length() for o in offers if o.steps]  # pieces of a set point: 1, 2, 4, ... and a rest
    return step_kw * (0.5 * (stages + sum(steps)) + sum(n + 1 for n in steps))


def hold_to_enumeration(
    offers: tuple[Offer, ...], target: float, rounding: Rounding, ceiling: float, rounded_kw: float
) -> None:
    """The level is allowed, and as near as every level that is allowed by more than rounded_kw."""
    target = target if target > 1e-6 else 0.0  # a milliwatt is no load
    found = best_level(offers, target, rounding, ceiling)
    assert found.kw <= ceiling + 1e-6
    assert rounding is not AT_MOST or found.kw <= target + 1e-6
    assert rounding is not AT_LEAST or found.short or found.kw >= target - 1e-6

    below = [kw for kw in all_kws(offers) if kw <= max(0.0, ceiling - rounded_kw) + 1e-9]
    if rounding is AT_MOST:
        below = [kw for kw in below if kw <= max(0.0, target - rounded_kw) + 1e-9]
    good = [kw for kw in below if kw >= target + rounded_kw - 1e-9] if rounding is AT_LEAST else below
    if found.short:
        assert not good
        good = below[-1:]
    assert good or rounded_kw
    best = min((abs(kw - target) for kw in good), default=math.inf)
    assert abs(found.error_kw) <= best + 2.0 * rounded_kw + 1e-6  # two sums are compared, each off by that much


JUST_BELOW = (  # 16.2 + 8.04825 kW are 0.35 W below the ceiling, and their rounded sum is above it
    offer(profile((20.0, 4.0)), -1, 0.9),
    offer(profile((2.0, 7.3, 33.3, 40.0)), -1, 1.05),
    staged((2.0,)),
)


@settings(max_examples=100, deadline=None)
@given(chains(most_units=3), st.floats(0.0, 1.2), st.floats(0.1, 1.3), st.sampled_from(list(Rounding)))
@example(JUST_BELOW, 1.0, 0.21553053204029535, NEAREST)
def test_the_level_is_the_best_of_all_that_enumeration_finds(offers, share, ceiling_share, rounding):
    assume(sum(len(o.kws) for o in offers) <= 14)
    most = offers_kw(offers)
    hold_to_enumeration(offers, share * most, rounding, ceiling_share * most, rounding_kw(offers))


@st.composite
def rated_apart(draw) -> tuple[Offer, ...]:
    """Units rated for different volts, some with a set point at rated volts, on the same volts, whatever these are."""
    volts, offers = draw(st.floats(330.0, 440.0)), []
    for rated_v in draw(st.sampled_from([(400.0, 480.0), (480.0, 380.0), (400.0, 480.0, 480.0), (380.0, 400.0)])):
        if draw(st.integers(0, 3)) == 0:
            offers.append(stepped(draw(st.integers(1, 20)) * 5.0, 5.0, volts / rated_v, actual=False))
        else:
            kws = draw(st.lists(st.sampled_from([5.0, 10.0, 15.0, 20.0, 40.0]), min_size=1, max_size=4))
            offers.append(staged(tuple(kws), volts / rated_v))
    return tuple(offers)


@settings(max_examples=100, deadline=None)
@given(st.data(), rated_apart(), st.floats(0.1, 1.3), st.sampled_from(list(Rounding)))
def test_units_of_different_rated_volts_have_exact_levels_at_any_volts(data, offers, ceiling_share, rounding):
    pairs = zip(offers, data.draw(loads(offers)), strict=True)
    target = sum(sum(o.phase_kw(o.clip(load))) for o, load in pairs)  # a level itself: nothing else will do
    hold_to_enumeration(offers, target, rounding, max(target, ceiling_share * offers_kw(offers)), 0.0)
    assert best_level(offers, target, rounding).kw == pytest.approx(target, abs=1e-6)
    hold_to_enumeration(offers, target + 0.7, rounding, ceiling_share * offers_kw(offers), 0.0)


@settings(max_examples=60, deadline=None)
@given(chains(), st.sampled_from(list(Rounding)))
def test_levels_rise_with_the_target(offers, rounding):
    total = offers_kw(offers)
    found = [best_level_kw(offers, total * i / 40, rounding) for i in range(45)]
    assert found == sorted(found)


@settings(max_examples=60, deadline=None)
@given(chains(most_units=2))
def test_the_number_of_levels_is_that_of_enumeration(offers):
    assume(len({o.scale for o in offers}) == 1)
    assume(sum(len(o.kws) for o in offers) <= 12)
    assert level_count(offers) == len({round(kw, 4) for kw in all_kws(offers)})


def solver_error_kw(offers: tuple[Offer, ...], target: float, rounding: Rounding, ceiling: float) -> float | None:
    """Smallest error by mixed-integer programming; None when the allowed side cannot be reached."""
    columns = [kw for o in offers for i, kw in enumerate(o.kws) if o.usable >> i & 1]
    most = [1.0] * len(columns)
    for o in offers:
        if o.steps:
            columns, most = [*columns, o.step_kw], [*most, float(o.steps)]
    n = len(columns)
    row = np.array([*columns, 0.0])
    above, below = row.copy(), row.copy()
    above[-1], below[-1] = -1.0, 1.0  # level - error <= target <= level + error
    rules = [
        LinearConstraint(above, ub=target),
        LinearConstraint(below, lb=target),
        LinearConstraint(
            row,
            lb=target if rounding is AT_LEAST else 0.0,
            ub=min(ceiling, target if rounding is AT_MOST else math.inf),
        ),
    ]
    found = milp(
        np.array([0.0] * n + [1.0]),
        constraints=rules,
        integrality=np.array([1] * n + [0]),
        bounds=Bounds(0.0, [*most, math.inf]),
        options={"mip_rel_gap": 0.0},
    )
    return float(found.fun) if found.success else None


@pytest.mark.parametrize("seed", range(24))
def test_a_general_solver_finds_nothing_better(seed):
    rng = random.Random(seed)
    tenths = [rng.choice([1.0, 400 / 415, 0.95]) for _ in range(4)]
    offers = tuple(
        stepped(rng.randint(10, 60) * 0.5, 0.5, ratio, actual=rng.random() < 0.5)
        if rng.random() < 0.25
        else staged(tuple(rng.choice([4.0, 4.1, 6.3, 9.7, 12.5, 20.2, 31.9]) for _ in range(rng.randint(3, 6))), ratio)
        for ratio in (tenths if seed % 2 else tenths[:1] * 4)
    )
    for rounding in Rounding:
        target, ceiling = rng.uniform(0.05, 1.0) * offers_kw(offers), rng.uniform(0.5, 1.2) * offers_kw(offers)
        found = best_level(offers, target, rounding, ceiling)
        best_kw = solver_error_kw(offers, target, rounding, ceiling)
        if best_kw is None:
            assert rounding is AT_LEAST
            assert found.short
            continue
        # HiGHS holds constraints to 1e-6 of a kW times a few; the measure holds pieces to 5 W where scales are mixed
        pieces = sum(len(o.kws) or 8 for o in offers)
        assert abs(found.error_kw) <= best_kw + (1e-3 if len({o.scale for o in offers}) == 1 else 0.005 * pieces)
        assert abs(found.error_kw) >= best_kw - (1e-3 if len({o.scale for o in offers}) == 1 else 0.005 * pieces)
