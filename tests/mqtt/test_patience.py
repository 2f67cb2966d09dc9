"""When a broker is tried again: soon, not all at once, and not for ever as often. The times are common practice."""

from hypothesis import given
from hypothesis import strategies as st

from benchctl.mqtt.patience import LONGEST_S, THROWN_OUT_S, Patience

CHANCE = st.floats(0.0, 1.0)


@given(st.integers(0, 10_000), CHANCE)
def test_a_broker_that_comes_back_is_found_within_ten_seconds_however_long_it_was_gone(failures, chance):
    patience = Patience()
    for _ in range(min(failures, 50)):
        patience.failed()
    patience.failures = max(patience.failures, failures)
    assert 0.5 <= patience.wait_s(chance) <= LONGEST_S < 10.0


def test_waits_double_and_are_drawn_from_their_upper_half():
    patience, longest, shortest = Patience(), [], []
    for _ in range(6):
        longest.append(patience.wait_s(1.0))
        shortest.append(patience.wait_s(0.0))
        patience.failed()
    assert longest == [1.0, 2.0, 4.0, 8.0, 8.0, 8.0]
    assert shortest == [w / 2.0 for w in longest]


def test_failures_are_told_at_first_and_each_time_there_are_twice_as_many():
    patience = Patience()
    assert [n for n in range(1, 40) if patience.failed()] == [1, 2, 4, 8, 16, 32]


def test_three_losses_in_a_minute_are_told_once_and_make_the_wait_longer():
    patience, told = Patience(), []
    for k in range(10):
        patience.connected()
        told.append(patience.lost(10.0 * k, 1.0))
    assert [k for k, one in enumerate(told) if one] == [2]
    assert patience.wait_s(1.0) == THROWN_OUT_S
    assert not patience.lost(1000.0, 300.0)
    assert patience.wait_s(1.0) == 1.0, "a connection that lasted begins anew"


def test_three_losses_spread_over_an_hour_are_bad_luck():
    patience = Patience()
    assert not any(patience.lost(1200.0 * k, 1190.0) for k in range(3))
    assert patience.wait_s(1.0) == 1.0
