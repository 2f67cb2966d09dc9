"""What waits to be told: bounded, in order, nothing given up without a word."""

from hypothesis import given
from hypothesis import strategies as st

from benchctl.mqtt.given import Heard
from benchctl.mqtt.outbox import Outbox
from tests.mqtt.telling import ran, shown, told


def test_only_the_newest_scan_and_run_wait():
    box = Outbox(lambda: 5.0)
    for number in range(100):
        box.show(Heard(shown(number)))
        box.ran(ran(f"run {number}"))
    assert box.latest is not None
    assert (box.latest.heard.shown.number, box.latest.came_s) == (99, 5.0)
    assert box.run is not None
    assert box.run.run == "run 99"


@given(st.integers(1, 30), st.lists(st.sampled_from(["tell", "confirm"]), max_size=200))
def test_events_wait_in_order_and_those_given_up_are_the_oldest_and_counted(most, deeds):
    box, made, confirmed, taken = Outbox(lambda: 0.0, most), 0, 0, set()
    for deed in deeds:
        if deed == "tell":
            made += 1
            box.tell(told(made))
        elif waiting := box.waiting(3):
            box.confirmed(waiting[-1].seq)
            confirmed += len(waiting)
            taken |= {one.seq for one in waiting}
        waiting = box.waiting(most + 1)
        assert [one.seq for one in waiting] == list(range(made - len(waiting) + 1, made + 1))
        assert [one.told.scan for one in waiting] == [one.seq for one in waiting]
        assert len(waiting) <= most
        assert made == confirmed + box.lost + len(waiting)
    assert len(taken) == confirmed


def test_whoever_sleeps_is_woken_by_an_event_and_by_a_run_but_not_by_each_scan():
    woken = []
    box = Outbox(lambda: 0.0)
    box.wake = lambda: woken.append(1)
    box.show(Heard(shown(1)))
    assert not woken
    box.tell(told(1))
    box.ran(ran())
    assert len(woken) == 2
