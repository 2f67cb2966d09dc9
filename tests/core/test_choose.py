"""The choice of stages: what is known of every choice, and small chains against plain enumeration of all sets."""

import itertools
import math
import random

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from benchctl.core import measure as measures
from benchctl.core import sums
from benchctl.core.choose import Choice, choose
from benchctl.core.levels import best_level, offer, offers_kw
from benchctl.core.offer import Offer
from benchctl.core.program import Rounding
from benchctl.electrical.unbalance import nema_percent
from tests.core.chains import chains, loads, profile, staged, stepped

NEAREST, AT_LEAST, AT_MOST = Rounding.NEAREST, Rounding.AT_LEAST, Rounding.AT_MOST
DEMO = (4.0, 6.0, 10.0, 10.0, 20.0, 20.0, 40.0, 40.0)


def smallest_kw(offers: tuple[Offer, ...]) -> float:
    stages = [kw for o in offers for i, kw in enumerate(o.kws) if o.usable >> i & 1]
    return min([*stages, *(o.step_kw for o in offers if o.steps)], default=0.0)


def kw_of(offers: tuple[Offer, ...], found: tuple[int, ...]) -> float:
    return sum(sum(o.phase_kw(load)) for o, load in zip(offers, found, strict=True))


def only_closes(offers: tuple[Offer, ...], old: tuple[int, ...], new: tuple[int, ...]) -> bool:
    return all(not o.clip(a) & ~b if o.kws else a <= b for o, a, b in zip(offers, old, new, strict=True))


def only_opens(offers: tuple[Offer, ...], old: tuple[int, ...], new: tuple[int, ...]) -> bool:
    return only_closes(offers, new, tuple(o.clip(a) for o, a in zip(offers, old, strict=True)))


def all_sets(offers: tuple[Offer, ...]) -> list[tuple[int, ...]]:
    own = [
        [m for m in range(1 << len(o.kws)) if not m & ~o.usable] if o.kws else list(range(o.steps + 1)) for o in offers
    ]
    return list(itertools.product(*own))


# What holds for every choice


@settings(max_examples=200, deadline=None)
@given(st.data(), st.floats(0.0, 1.3), st.floats(0.2, 1.3), st.sampled_from(list(Rounding)), st.booleans())
def test_every_choice_keeps_the_level_the_side_the_ceiling_and_the_offers(data, share, ceiling, rounding, single):
    offers = data.draw(chains(single_phase=single))
    present = data.draw(loads(offers))
    target_kw, ceiling_kw = share * offers_kw(offers), ceiling * offers_kw(offers)
    found = choose(offers, present, target_kw, rounding, ceiling_kw=ceiling_kw)
    best = best_level(offers, target_kw, rounding, ceiling_kw)

    assert all(load == o.clip(load) for o, load in zip(offers, found.loads, strict=True))
    assert found.level_kw == pytest.approx(kw_of(offers, found.loads), abs=1e-9)
    assert abs(found.level_kw - best.kw) <= smallest_kw(offers) / 2 + 0.3 * (len({o.scale for o in offers}) > 1)
    assert found.level_kw <= ceiling_kw + 1e-6
    if rounding is AT_MOST:
        assert found.level_kw <= target_kw + 1e-6
    if rounding is AT_LEAST and not found.short:
        assert found.level_kw >= target_kw - 1e-6
    assert best.short or not found.short
    assert found.error_kw == pytest.approx(found.level_kw - target_kw)


@settings(max_examples=150, deadline=None)
@given(st.data(), st.floats(0.0, 1.2), st.sampled_from(list(Rounding)), st.booleans())
def test_asked_again_for_the_same_target_nothing_moves(data, share, rounding, single):
    offers = data.draw(chains(single_phase=single))
    first = choose(offers, data.draw(loads(offers)), share * offers_kw(offers), rounding)
    again = choose(offers, first.loads, share * offers_kw(offers), rounding)
    assert again.loads == first.loads
    assert again.moves == 0


@settings(max_examples=60, deadline=None)
@given(st.data(), st.floats(0.0, 1.2), st.sampled_from(list(Rounding)))
def test_the_same_question_has_the_same_answer_with_and_without_what_is_remembered(data, share, rounding):
    offers = data.draw(chains(single_phase=True))
    present = data.draw(loads(offers))
    first = choose(offers, present, share * offers_kw(offers), rounding)
    measures.measure.cache_clear()
    sums.all_sums.cache_clear()
    assert choose(offers, present, share * offers_kw(offers), rounding) == first


@settings(max_examples=100, deadline=None)
@given(st.data(), st.floats(0.05, 1.1), st.sampled_from(list(Rounding)))
def test_closings_alone_are_used_whenever_closings_alone_will_do(data, share, rounding):
    offers = data.draw(chains(most_units=2))
    assume(len({o.scale for o in offers}) == 1)
    assume(math.prod(2 ** len(o.kws) * (o.steps + 1) for o in offers) < 5000)
    present = tuple(o.clip(a) for o, a in zip(offers, data.draw(loads(offers)), strict=True))
    target_kw = share * offers_kw(offers)
    found = choose(offers, present, target_kw, rounding)
    level = best_level(offers, target_kw, rounding)

    def good(kw: float) -> bool:
        side = (rounding is AT_MOST and kw > target_kw + 1e-6) or (
            rounding is AT_LEAST and not level.short and kw < target_kw - 1e-6
        )
        return not side and abs(kw - level.kw) < smallest_kw(offers) / 2 - 0.001

    good_sets = [s for s in all_sets(offers) if good(kw_of(offers, s))]
    if any(only_closes(offers, present, s) for s in good_sets):
        assert only_closes(offers, present, found.loads)
    elif any(only_opens(offers, present, s) for s in good_sets):
        assert only_opens(offers, present, found.loads)


def test_a_ramp_up_closes_only_and_a_ramp_down_opens_only_where_stages_are_many_and_small():
    chain = (staged((5.0,) * 10), staged((5.0,) * 10))
    present: tuple[int, ...] = (0, 0)
    for target_kw in [*range(101), *range(100, -1, -1)]:
        found = choose(chain, present, float(target_kw), NEAREST)
        rising = found.level_kw >= kw_of(chain, present)
        assert (only_closes if rising else only_opens)(chain, present, found.loads)
        present = found.loads
    assert present == (0, 0)


def test_B3_the_ramp_has_21_levels_and_ends_exactly():
    chain = (staged((5.0,) * 12), staged((5.0,) * 8))
    for rounding in (AT_MOST, NEAREST):
        present: tuple[int, ...] = (0, 0)
        reached = []
        for t in range(61):
            found = choose(chain, present, 100.0 * t / 60.0, rounding)
            assert only_closes(chain, present, found.loads)
            present = found.loads
            reached.append(found.level_kw)
        assert reached == sorted(reached)
        assert reached[-1] == pytest.approx(100.0)
        assert len({round(kw, 6) for kw in reached}) == 21
    assert choose((stepped(500.0, 25.0),), (0,), 333.0, AT_MOST).level_kw == pytest.approx(325.0)
    assert choose((stepped(500.0, 25.0),), (0,), 333.0, AT_LEAST).level_kw == pytest.approx(350.0)


# Which set


def test_a_swap_opens_one_stage_where_closings_alone_cannot_reach_the_level():
    chain = (staged((4.0, 10.0, 30.0)),)
    found = choose(chain, (0b001,), 10.0, NEAREST)
    assert found.loads == (0b010,)
    assert found.moves == 2


def test_within_half_a_smallest_stage_nothing_is_swapped():
    chain = (staged((10.0, 13.0)), staged((10.0, 9.0)))
    assert choose(chain, (0b01, 0b00), 12.0, NEAREST).loads == (0b01, 0b00)  # 13 would be 1 kW nearer: not worth a swap


def test_a_big_rearrangement_reaches_the_level_exactly():
    chain = (staged((10.0, 10.0, 11.0, 11.0, 11.0)),)
    found = choose(chain, (0b00011,), 33.0, AT_LEAST)  # neither closings alone nor one opening will do
    assert found.loads == (0b11100,)
    assert found.moves == 5


def test_two_small_contactors_move_rather_than_a_large_one_for_a_large_one():
    chain = (staged((6.0, 4.0, 10.0, 100.0, 108.0)),)
    found = choose(chain, (0b01001,), 114.0, NEAREST)  # 106 kW are on: 6 off for 14, not 100 off for 108
    assert found.loads == (0b01110,)


@settings(max_examples=60, deadline=None)
@given(st.data(), st.floats(0.05, 1.0), st.sampled_from(list(Rounding)))
def test_the_load_swings_by_as_little_as_any_set_allows(data, share, rounding):
    kws = st.lists(st.sampled_from(DEMO), min_size=1, max_size=5)
    offers = tuple(staged(tuple(data.draw(kws))) for _ in range(2))
    present = data.draw(loads(offers))
    target_kw = share * offers_kw(offers)
    held_kw = kw_of(offers, present)
    found = choose(offers, present, target_kw, rounding)
    assume(found.moves and abs(found.level_kw - held_kw) > 1e-9)

    def swing_kw(loads: tuple[int, ...]) -> float:
        """kW that go the other way."""
        away = [(o, old & ~new if found.level_kw > held_kw else new & ~old)
                for o, old, new in zip(offers, present, loads, strict=True)]  # fmt: skip
        return sum(sum(o.phase_kw(load)) for o, load in away)

    as_good = [each for each in all_sets(offers) if abs(kw_of(offers, each) - found.level_kw) < 1e-9]
    assert swing_kw(found.loads) == pytest.approx(min(swing_kw(each) for each in as_good))


def test_units_share_the_load_by_their_own_capacity():
    chain = (staged((10.0,) * 12), staged((10.0,) * 6), staged((10.0,) * 6))
    found = choose(chain, (0, 0, 0), 120.0, NEAREST)
    assert [load.bit_count() for load in found.loads] == [6, 3, 3]
    less = choose(chain, found.loads, 40.0, NEAREST)
    assert [load.bit_count() for load in less.loads] == [2, 1, 1]


def test_a_stage_that_is_closed_but_not_offered_is_left_out():
    unit = profile((10.0, 10.0, 10.0))
    found = choose((offer(unit, 0b011),), (0b111,), 20.0, NEAREST)
    assert found.loads == (0b011,)
    assert found.level_kw == pytest.approx(20.0)
    assert found.moves == 0


def test_no_target_opens_everything():
    chain = (staged(DEMO), stepped(100.0, 1.0))
    found = choose(chain, (0b1011, 37), 0.0, AT_LEAST)
    assert found == Choice((0, 0), 0.0, 0.0, False, (0.0, 0.0, 0.0), 0.0, 4)


def test_an_unreachable_minimum_gives_everything_and_says_so():
    chain = (staged((10.0, 10.0)),)
    found = choose(chain, (0,), 25.0, AT_LEAST)
    assert found.loads == (0b11,)
    assert found.short
    assert found.error_kw == pytest.approx(-5.0)
    assert choose(chain, (0,), 20.0, AT_LEAST, ceiling_kw=15.0).short


def test_loads_must_match_the_offers():
    with pytest.raises(ValueError, match="zip"):
        choose((staged((1.0,)),), (0, 0), 1.0, NEAREST)


# Phases


def test_equal_single_phase_stages_are_spread_over_the_phases():
    chain = (staged((4.0,) * 12, across=("a",) * 4 + ("b",) * 4 + ("c",) * 4),)
    present: tuple[int, ...] = (0,)
    for count in range(1, 13):
        found = choose(chain, present, 4.0 * count, NEAREST)
        assert max(found.phase_kw) - min(found.phase_kw) <= 4.0 + 1e-9
        assert only_closes(chain, present, found.loads)
        present = found.loads


def test_phases_left_apart_by_a_lost_stage_are_traded_level():
    across = ("a", "a", "b", "b", "c", "c")
    chain = (staged((10.0,) * 6, across=across),)
    found = choose(chain, (0b000111,), 30.0, NEAREST)  # two on A, one on B: the level is right, the phases are not
    assert found.phase_kw == pytest.approx((10.0, 10.0, 10.0))
    assert found.moves == 2


def test_unbalance_is_reported_where_nothing_can_be_done():
    chain = (staged((10.0, 10.0), across=("a", "b")),)
    assert choose(chain, (0,), 10.0, NEAREST).unbalance_percent == pytest.approx(100.0)  # C has nothing to offer
    assert choose(chain, (0,), 20.0, NEAREST).unbalance_percent == pytest.approx(0.0)


@pytest.mark.parametrize("kinds", [("a", "b", "c"), ("a", "b", "c", "abc")])
def test_small_single_phase_chains_are_balanced_where_any_set_is(kinds):
    rng, possible = random.Random(11), 0
    for _ in range(60):
        kws = tuple(rng.choice([2.0, 4.0, 4.0, 6.0, 10.0]) for _ in range(11))
        chain = (staged(kws, across=tuple(kinds[i % len(kinds)] for i in range(11))),)
        target_kw = rng.uniform(0.4, 0.9) * offers_kw(chain)
        found = choose(chain, (rng.getrandbits(11),), target_kw, NEAREST)
        level_kw, half_kw = best_level(chain, target_kw, NEAREST).kw, smallest_kw(chain) / 2
        as_good = [p for p in map(chain[0].phase_kw, range(1 << 11)) if abs(sum(p) - level_kw) < half_kw - 1e-6]
        if min(nema_percent(p) or 0.0 for p in as_good) <= 10.0:
            possible += 1
            assert found.unbalance_percent <= 10.0 + 1e-6
    assert possible >= 8
