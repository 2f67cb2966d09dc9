"""Sums of weights against plain enumeration."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.core.sums import at_least, at_most, doublings, nearest, sums_of

PIECES = st.dictionaries(st.integers(1, 40), st.integers(1, 6), max_size=4)


def enumerated(pieces: dict[int, int]) -> set[int]:
    ways = itertools.product(*(range(n + 1) for n in pieces.values()))
    return {sum(w * n for w, n in zip(pieces, counts, strict=True)) for counts in ways}


@given(PIECES)
def test_the_bits_are_exactly_the_sums_that_can_be_made(pieces):
    bits = sums_of(pieces.items()).bits
    assert {k for k in range(bits.bit_length()) if bits >> k & 1} == enumerated(pieces)


@given(PIECES, st.integers(0, 300))
def test_a_limit_leaves_out_what_is_above_it_and_nothing_else(pieces, limit):
    bits = sums_of(pieces.items(), limit=limit).bits
    assert {k for k in range(limit + 2) if bits >> k & 1} == {k for k in enumerated(pieces) if k <= limit}


@given(PIECES)
def test_the_parts_of_every_sum_make_it_and_are_at_hand(pieces):
    sums = sums_of(pieces.items())
    for total in enumerated(pieces):
        parts = sums.parts(total)
        assert sum(w * n for w, n in parts.items()) == total
        assert all(0 < n <= pieces[w] for w, n in parts.items())


@given(PIECES, st.integers(0, 400))
def test_the_parts_of_anything_else_are_refused(pieces, total):
    if total not in enumerated(pieces):
        with pytest.raises(ValueError, match="not among the sums"):
            sums_of(pieces.items()).parts(total)


@given(PIECES, st.floats(0.0, 400.0), st.integers(0, 400), st.integers(0, 400))
def test_the_nearest_member_is_the_nearest_within_bounds_and_of_two_the_lower(pieces, aim, low, high):
    bits, members = sums_of(pieces.items()).bits, sorted(enumerated(pieces))
    inside = [k for k in members if low <= k <= high]
    expected = min(inside, key=lambda k: (abs(k - aim), k)) if inside else None
    assert nearest(bits, aim, low, high) == expected
    assert at_most(bits, high) == max(k for k in members if k <= high)
    assert at_least(bits, low) == min((k for k in members if k >= low), default=None)


@given(st.integers(0, 300))
def test_subsets_of_doublings_make_every_number_up_to_the_count(count):
    shares = doublings(count)
    assert enumerated_subsets(shares) == set(range(count + 1))


def enumerated_subsets(shares: list[int]) -> set[int]:
    found = {0}
    for share in shares:
        found |= {k + share for k in found}
    return found


def test_nothing_makes_only_nothing():
    assert sums_of([]).bits == 1
    assert doublings(0) == []
    assert at_most(1, -1) is None
