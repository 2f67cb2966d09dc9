"""When a controller ends: idle time, clients, signals, heat that is owed, a chain that is gone."""

from dataclasses import replace

import pytest

from benchctl.controller.ending import Ending
from benchctl.controller.session import GONE_S, chain_gone
from benchctl.controller.terms import IDLE_S
from benchctl.core.command import Command, Verb
from benchctl.core.decision import Frame
from benchctl.core.inputs import Inputs
from benchctl.core.reading import Outcome
from tests.controller.bench import PLACE
from tests.core.worlds import Stepper


def frame(bench: "Kept", *commands: Command) -> Frame:
    """One scan of it."""
    bench.scan(*commands)
    return Frame(bench.scans, 0.0, bench.inputs, bench.last, ())


class Kept(Stepper):
    inputs: Inputs

    def decided(self, inputs):
        self.inputs = inputs
        return super().decided(inputs)


def at_rest() -> Frame:
    bench = Kept(PLACE)
    return frame(bench)


def loaded() -> Kept:
    bench = Kept(PLACE)
    bench.loaded(20.0)
    return bench


def test_a_controller_ends_after_ten_minutes_in_which_nobody_needs_it():
    ending = Ending(PLACE)
    assert IDLE_S == 600.0
    assert ending.over(at_rest(), 0, 100.0) == ""
    assert ending.over(at_rest(), 0, 699.9) == ""
    assert ending.over(at_rest(), 0, 700.0) == "nobody needs it"


@pytest.mark.parametrize("scanned", [True, False], ids=["scanning", "never scanned"])
def test_a_client_keeps_it_and_the_time_begins_anew_when_he_leaves(scanned):
    ending, now = Ending(PLACE, idle_s=60.0), at_rest() if scanned else None
    assert ending.over(now, 0, 0.0) == ""
    assert ending.over(now, 1, 59.0) == ""
    assert ending.over(now, 1, 500.0) == ""
    assert ending.over(now, 0, 501.0) == ""
    assert ending.over(now, 0, 560.0) == ""
    assert ending.over(now, 0, 561.0) == "nobody needs it"


def test_it_never_ends_by_itself_with_load_on():
    ending, bench = Ending(PLACE, idle_s=1.0), loaded()
    for now_s in (0.0, 10.0, 1e6):
        assert ending.over(frame(bench), 0, now_s) == ""


def test_it_never_ends_by_itself_while_heat_is_owed():
    ending, bench = Ending(PLACE, idle_s=1.0), loaded()
    frame(bench, Command(Verb.UNLOAD))
    bench.until(lambda b: not b.last.seen.loaded)
    assert any(u.hot for u in bench.state.units)
    assert ending.over(frame(bench), 0, 0.0) == ""
    assert ending.over(frame(bench), 0, 1e6) == ""
    bench.until(lambda b: b.state.mode.value == "done")
    assert ending.over(frame(bench), 0, 2e6) == ""
    assert ending.over(frame(bench), 0, 2e6 + 1.0) == "nobody needs it"


def test_the_first_signal_unloads_and_the_second_drops():
    ending = Ending(PLACE)
    first, second, third = (ending.signal("SIGTERM") for _ in range(3))
    assert [c.verb for c in (first, second, third)] == [Verb.UNLOAD, Verb.DROP, Verb.DROP]
    assert first.who == "signal SIGTERM"


def test_after_a_signal_it_ends_as_soon_as_the_cool_down_is_paid_whoever_is_attached():
    ending, bench = Ending(PLACE), loaded()
    command = ending.signal("SIGTERM")
    assert ending.over(frame(bench, command), 1, 0.0) == ""
    bench.until(lambda b: not b.last.seen.loaded)
    assert ending.over(frame(bench), 1, 1.0) == ""
    bench.until(lambda b: b.state.mode.value == "done")
    assert ending.over(frame(bench), 1, 2.0) == "asked to end, no load on, cool-down paid"


def test_after_a_second_signal_it_ends_as_soon_as_load_is_read_back_off():
    ending, bench = Ending(PLACE), loaded()
    ending.signal("SIGTERM")
    drop = ending.signal("SIGTERM")
    assert ending.over(frame(bench), 1, 0.0) == ""
    frame(bench, drop)
    assert ending.over(frame(bench), 1, 0.5) == "asked twice to end, load read back off"


def test_after_a_signal_nothing_is_waited_for_from_units_that_are_gone_for_longer_than_their_watchdogs_take():
    ending, bench = Ending(PLACE), loaded()
    ending.signal("SIGTERM")
    for unit in bench.plant.units:
        unit.silent = Outcome.SILENT
    bench.run(40.0)
    assert ending.over(frame(bench), 0, 0.0) == ""
    bench.run(15.0 + GONE_S)
    assert ending.over(frame(bench), 0, 1.0).startswith("asked to end; no unit has answered for longer")
    assert Ending(PLACE).over(frame(bench), 0, 1e6) == ""  # unasked it waits for them


def test_a_chain_is_gone_when_every_unit_that_was_ever_there_is():
    bench = Kept(PLACE)
    bench.plant.units[1].silent = Outcome.DOWN  # never there
    bench.scan(Command(Verb.TAKE_CHARGE))
    assert not chain_gone(frame(bench), PLACE)
    bench.plant.units[0].silent = Outcome.DOWN
    bench.run(14.0)
    assert not chain_gone(frame(bench), PLACE)  # its watchdog takes 15 s
    bench.run(2.0)
    assert chain_gone(frame(bench), PLACE)
    bench.plant.units[0].silent = None
    assert not chain_gone(frame(bench), PLACE)


def test_a_chain_that_nobody_has_charge_of_is_not_lost():
    bench = Kept(PLACE)
    bench.scan()
    for unit in bench.plant.units:
        unit.silent = Outcome.DOWN
    bench.run(120.0)
    last = frame(bench)
    assert not chain_gone(last, PLACE)
    assert not chain_gone(last, replace(PLACE))
