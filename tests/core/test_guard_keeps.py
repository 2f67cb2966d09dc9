"""What the guard leaves to the next scan beside its orders: the closing sent, the times that a move begins, feeds."""

from dataclasses import replace

import pytest

from benchctl.core.guard import BLOCK_PERCENT
from tests.core.guarded import Case, fine

FEED_EVERY_S = 5.0


def again(case: Case) -> Case:
    """The scan after: what was ordered is read back."""
    for u, s in zip(case.state.units, case.seen.units, strict=True):
        u.possible, s.load = u.wanted, u.wanted
    return case


@pytest.mark.parametrize(("load", "wish", "sent"), [(0, 3, 3), (3, 1, None), (3, 3, None), (1, 2, 2)])
def test_a_closing_is_remembered_as_sent_and_nothing_else_is(load, wish, sent):
    case = fine(load)
    case.wish = [wish, load]
    case.orders()
    assert [u.sent for u in case.state.units] == [sent, None]


@pytest.mark.parametrize("wish", [0, 3, 7])
def test_a_move_begins_the_settling_time_and_the_time_that_the_load_is_steady(wish):
    case = fine(3)
    case.state.units[0].steady_s = case.state.units[1].steady_s = 60.0
    case.wish = [wish, 3]
    case.orders()
    profile = case.profiles[0]
    slowest_s = profile.follow_s + profile.meter_refresh_s
    assert case.state.settle_s == (0.0 if wish == 3 else slowest_s)
    assert [u.steady_s for u in case.state.units] == [60.0 if wish == 3 else 0.0, 60.0]


@pytest.mark.parametrize(("load", "wish"), [(0, 7), (7, 0), (0, 1), (0, 0)])
def test_a_tenth_of_the_source_in_one_scan_begins_the_window_after_a_block_up_or_down(load, wish):
    """100 of 1000 kW are a block, 20 are not; closings of a block belong together, openings go out as they are."""
    case = fine(load)
    case.wish = [wish, min(load, 5)]
    orders = case.orders()
    block = {load, wish} == {0, 7}
    assert BLOCK_PERCENT == 10.0
    assert (case.state.block_s > 0.0) is block
    assert orders.block is (block and wish > load)


@pytest.mark.parametrize("joined", [True, False])
def test_a_watchdog_is_fed_at_its_interval_and_only_of_a_unit_that_has_joined(joined):
    case = fine()
    case.wish = [0, 0]
    case.state.units[0].joined = joined
    fed = [again(case).orders().units[0].feed for _ in range(30)]
    scans = round(FEED_EVERY_S / case.dt_s)
    assert [n for n, now in enumerate(fed) if now] == (list(range(0, 30, scans)) if joined else [])


@pytest.mark.parametrize("dropped", [False, True])
@pytest.mark.parametrize("why", ["local", "never heard"])
def test_nothing_but_a_drop_is_written_to_a_unit_in_local_or_one_that_was_never_heard(why, dropped):
    case = fine()
    case.state.dropped = dropped
    if why == "local":
        case.seen.units[0].reading = replace(case.seen.units[0].reading, remote=False)
        case.seen.units[0].unable = "not in remote"
    else:
        case.state.units[0].heard = False
        case.seen.units[0].unable = "not heard in this scan"
    orders = case.orders()
    assert [o.silent for o in orders.units] == [not dropped, False]
    assert not orders.units[0].feed or dropped


def test_the_largest_closing_is_taken_back_first_and_the_others_go_out():
    case = fine()
    case.state.room_kw = 20.0
    case.wish = [7, 1]  # 100 and 20 kW
    assert [o.raise_to for o in case.orders().units] == [None, 1]
